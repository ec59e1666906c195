package status

import (
	"context"
	"sync"
	"time"
)

// Feed hands the newest Status to readers. A slow reader misses ticks and never holds
// up the loop; what must not be missed (events) is delivered by the loop itself.
type Feed struct {
	mu     sync.Mutex
	latest *Status
	came   time.Time                           // when latest was published
	subs   map[chan *Status]func(*Status) bool // which ones it wants
}

// NewFeed returns an empty feed.
func NewFeed() *Feed { return &Feed{subs: make(map[chan *Status]func(*Status) bool)} }

// Publish makes s the newest status. s must not be changed afterwards.
func (f *Feed) Publish(s *Status) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.latest, f.came = s, time.Now()
	for ch, wants := range f.subs {
		if !wants(s) {
			continue
		}
		select {
		case ch <- s:
		default: // replace what the reader has not fetched yet
			select {
			case <-ch:
			default:
			}
			ch <- s
		}
	}
}

// Latest returns the newest status, nil before the first tick.
func (f *Feed) Latest() *Status {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.latest
}

// Age returns how long ago the newest status was published, and whether there is one: a
// loop that stands still leaves the same status for ever.
func (f *Feed) Age() (age time.Duration, ok bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return time.Since(f.came), f.latest != nil
}

// Subscribe returns a channel that holds the newest status not yet fetched. It ends
// with ctx.
func (f *Feed) Subscribe(ctx context.Context) <-chan *Status {
	return f.SubscribeTo(ctx, func(*Status) bool { return true })
}

// SubscribeTo is Subscribe for whoever wants only some, so that the others wake nobody. wants
// is asked about the newest and then about each, in order, by one at a time, and must be quick.
func (f *Feed) SubscribeTo(ctx context.Context, wants func(*Status) bool) <-chan *Status {
	ch := make(chan *Status, 1)
	f.mu.Lock()
	f.subs[ch] = wants
	if f.latest != nil && wants(f.latest) {
		ch <- f.latest
	}
	f.mu.Unlock()
	context.AfterFunc(ctx, func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		delete(f.subs, ch)
		close(ch)
	})
	return ch
}
