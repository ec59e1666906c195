package app

import (
	"context"
	"os"
	"time"

	"fluewright/daemon/internal/statedir"
)

// takeState finds out where in the state directory this program may keep things. It never
// fails: a monitor without its memory still watches.
func (h *house) takeState() {
	dir := h.options.State
	place, err := statedir.Enter(dir, h.options.Version)
	if err != nil {
		h.log.Error("the state directory is not as it should be", "directory", dir, "error", err)
	}
	switch {
	case place.Refused():
		h.refused = true
		h.log.Error("the state directory is of a newer program and is left as it is; alarms and history of this run are kept apart",
			"directory", dir, "format", place.NewerFormat, "written by", place.Newer, "known here", statedir.Format(), "apart", place.Dir)
	case place.Former > 0:
		h.log.Info("the state directory is taken over from a former program, for which copies are left", "directory", dir,
			"its format", place.Former, "now", statedir.Format())
	}
	h.options.State = place.Dir
	if _, err := os.Stat(place.Dir); err != nil {
		h.log.Error("nothing of this run is kept", "error", err)
		h.options.State = ""
	}
}

// A program has worked, so that no copies are kept for its predecessor, when it has kept what
// it should for so long. Both are judgement: a day has a fire in it, in winter.
const (
	provenAfter = 24 * time.Hour
	provenEvery = time.Minute
)

// proveState removes the copies for a former program when this one has worked.
func (h *house) proveState(w *watchman) {
	dir := h.options.State
	if dir == "" || h.refused || !statedir.Copies(dir) {
		return
	}
	h.tasks = append(h.tasks, task{"former state", func(ctx context.Context) error {
		if !worked(ctx, w) {
			return nil
		}
		if err := statedir.Prove(dir); err != nil {
			h.log.Warn("the copies for a former program cannot be removed", "error", err)
			return nil
		}
		h.log.Info("the copies for a former program are removed: this one has worked for a day")
		return nil
	}})
}

// worked waits until all that should be kept was kept for a while; it returns false if ctx ends
// before.
func worked(ctx context.Context, w *watchman) bool {
	for well := time.Duration(0); well < provenAfter; {
		select {
		case <-ctx.Done():
			return false
		case <-time.After(provenEvery):
		}
		well += provenEvery
		if found := w.found.Load(); found == nil || found.history != "" || found.memory != "" {
			well = 0
		}
	}
	return true
}
