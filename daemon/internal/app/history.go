package app

import (
	"cmp"
	"context"
	"errors"
	"time"

	"fluewright/daemon/internal/handout"
	"fluewright/daemon/internal/history"
	"fluewright/sensors"
)

// closeGrace is how long the end of the program waits for the last rows to be written.
const closeGrace = 3 * time.Second

// keepHistory keeps what happens, where the configuration and the installation let it. It
// returns nil where nothing is kept.
func (h *house) keepHistory(l *loop) *history.Store {
	c := h.cfg.History
	dir := cmp.Or(c.Directory, h.options.History, h.options.State)
	if c.Off || dir == "" {
		return nil
	}
	o := history.Options{
		Dir: dir, Period: c.Period, Identity: h.boot,
		Software: h.options.Version, Configuration: h.options.Configuration,
		Units: h.cfg.Site.Units,
		Keep:  history.Keep{FullRate: c.FullRate, Minutes: c.Minutes, Ceiling: c.Ceiling},
		Log:   h.log,
	}
	if _, own := h.options.Clock.(sensors.SystemClock); own {
		o.Kernel, o.Uptime = h.world().boot()
		l.frames.begin(l.clock.Now())
	}
	store := history.New(o)
	h.past = store
	h.bundles = handout.New(handout.Dir(dir), store, h.log)
	h.tasks = append(h.tasks, task{"bundles", h.bundles.Run})
	l.after = append(l.after, store.Offer)
	h.tasks = append(h.tasks, task{"history", store.Run})
	h.ends = append(h.ends, func() error {
		ctx, cancel := context.WithTimeout(context.Background(), closeGrace)
		defer cancel()
		if err := store.Close(ctx); err != nil {
			// Said and no failure: whoever ends the program has done nothing wrong.
			h.log.Error("the end of the history is not written", "error", err)
		}
		return nil
	})
	return store
}

// durable waits until what is known of the alarms is in the history and among what outlives
// a restart, or cannot be. A storage that takes too long is told to the watchman. Either may
// be nil.
func durable(store *history.Store, k *keeper, w *watchman) func(context.Context) error {
	if store == nil && k == nil {
		return nil
	}
	return func(ctx context.Context) error {
		var errs [2]error
		if store != nil {
			errs[0] = store.Commit(ctx)
		}
		if k != nil {
			errs[1] = k.wait(ctx)
		}
		err := errors.Join(errs[:]...)
		if errors.Is(err, context.DeadlineExceeded) {
			w.late.Store(true)
		}
		return err
	}
}
