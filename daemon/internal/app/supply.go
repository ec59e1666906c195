package app

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"fluewright/daemon/internal/status"
	"fluewright/sensors"
	"fluewright/sensors/supply"
)

const (
	supplyEvery = time.Second
	// dipMemory is how long before a chip's loss of its settings a dip explains it.
	dipMemory = 10 * time.Second
)

// supplyWatch looks at the board's supply in a task of its own.
type supplyWatch struct {
	monitor *supply.Monitor // nil on a board that cannot tell
	clock   sensors.Clock
	log     *slog.Logger

	mu  sync.Mutex
	now status.Supply
}

// newSupplyWatch looks for the board's monitor below root.
func newSupplyWatch(root string, clock sensors.Clock, log *slog.Logger) *supplyWatch {
	w := &supplyWatch{clock: clock, log: log}
	m, err := supply.Find(root)
	switch {
	case err == nil:
		w.monitor = m
		w.now.Watched = true
	case !errors.Is(err, supply.ErrNone):
		log.Warn("the board's supply is not watched", "error", err)
	}
	return w
}

// run looks until ctx ends. A look that fails makes the supply unwatched until one
// succeeds: it ends no watch over the fire.
func (w *supplyWatch) run(ctx context.Context) error {
	if w.monitor == nil {
		return nil
	}
	for {
		if low, err := w.monitor.Look(); err != nil {
			w.blind(err)
		} else {
			w.saw(low)
		}
		if w.clock.Sleep(ctx, supplyEvery) != nil {
			return nil
		}
	}
}

// blind is told once.
func (w *supplyWatch) blind(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.now.Watched {
		w.log.Warn("the board's supply is not watched", "error", err)
	}
	w.now.Watched, w.now.Low = false, false
}

func (w *supplyWatch) saw(low bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if dips := w.monitor.Dips(); dips > w.now.Dips {
		w.now.Dips = dips
		f := supply.Fault()
		w.log.Warn("board", "fault", f.Error(), "first", f.Hint())
	}
	w.now.Watched, w.now.Low = true, low
	if low {
		w.now.LastDip = w.clock.Now().Round(0)
	}
}

// status returns how the supply is.
func (w *supplyWatch) status() status.Supply {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.now
}

// blame names the supply in a fault that a dip explains.
func (w *supplyWatch) blame(f *sensors.Fault, at time.Time) *sensors.Fault {
	s := w.status()
	if f == nil || f.Code != sensors.LostConfiguration || s.LastDip.IsZero() || at.Round(0).Sub(s.LastDip).Abs() > dipMemory {
		return f
	}
	g := *f
	g.Advice = "The board's supply voltage dipped at the same time. " + sensors.SupplyDip.Info().Hint
	return &g
}
