package access

import (
	"context"
	"sync"
	"time"
)

// lookEvery is how long a stream may outlive the right to it.
const lookEvery = 10 * time.Second

// watched are the requests that run on somebody's right: a stream of the page may last for
// days, and ends when whoever reads it may not any more.
type watched struct {
	mu   sync.Mutex
	next uint64
	all  map[uint64]running
}

type running struct {
	still func() bool
	end   context.CancelFunc
}

// add returns a context that ends when still says no, and what to call when the request is over.
func (w *watched) add(ctx context.Context, still func() bool) (context.Context, func()) {
	ctx, end := context.WithCancel(ctx)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.all == nil {
		w.all = make(map[uint64]running)
	}
	n := w.next
	w.next++
	w.all[n] = running{still, end}
	return ctx, func() {
		w.mu.Lock()
		delete(w.all, n)
		w.mu.Unlock()
		end()
	}
}

// look ends the requests that may not go on.
func (w *watched) look() {
	w.mu.Lock()
	all := make([]running, 0, len(w.all))
	for _, r := range w.all {
		all = append(all, r)
	}
	w.mu.Unlock()
	for _, r := range all { // without the lock: it may look at a file
		if !r.still() {
			r.end()
		}
	}
}

// Run ends what may not go on, also where the change was made by the command on the board or
// by time alone, until ctx ends.
func (a *Accounts) Run(ctx context.Context) error {
	ticker := time.NewTicker(lookEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ticker.C:
			a.watched.look()
		case <-ctx.Done():
			return nil
		}
	}
}
