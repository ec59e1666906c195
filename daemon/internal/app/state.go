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
		for well := time.Duration(0); well < provenAfter; well += provenEvery {
			select {
			case <-ctx.Done():
				return nil
			case <-time.After(provenEvery):
			}
			if found := w.found.Load(); found == nil || found.history != "" || found.memory != "" {
				well = 0
			}
		}
		if err := statedir.Prove(dir); err != nil {
			h.log.Warn("the copies for a former program cannot be removed", "error", err)
			return nil
		}
		h.log.Info("the copies for a former program are removed: this one has worked for a day")
		return nil
	}})
}
