package bench

import (
	"container/heap"
	"context"
	"sync"
	"time"
)

// patience is how long the clock waits, in the computer's time, for someone whom it has
// woken to sleep again. One that has ended never will.
const patience = time.Second

// maxDebt is how far the clock may fall behind its pace, in the computer's time.
const maxDebt = 100 * time.Millisecond

// Clock is time that runs faster or slower than the computer's. It starts at the
// computer's time and may be used by many goroutines.
//
// It runs at its speed only while everyone who sleeps by it is asleep. While somebody
// works it runs no faster than the computer's, so that a busy computer slows a
// time-lapse down and does not make its readings look old. What it has lost that way it
// makes up for when all sleep, up to a limit.
type Clock struct {
	speed float64

	mu     sync.Mutex
	at     time.Time // of the computer, when now and pace were right
	now    time.Time
	pace   time.Time // where now would be if nobody had worked
	awake  int       // woken and not asleep again
	woken  time.Time
	asleep sleepers
	timer  *time.Timer // for the first of asleep
}

// NewClock returns a clock that runs speed times as fast as the computer's; speed must
// be above 0, and 1 is real time.
func NewClock(speed float64) *Clock {
	now := time.Now()
	return &Clock{speed: speed, at: now, now: now, pace: now}
}

// Speed returns how many times as fast as the computer's time it runs at most.
func (c *Clock) Speed() float64 { return c.speed }

// Now returns the bench's time, with a monotonic reading.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance()
	return c.now
}

// Sleep waits for d of the bench's time.
func (c *Clock) Sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	c.mu.Lock()
	c.advance()
	s := &sleeper{wake: c.now.Add(d), woken: make(chan struct{})}
	c.awake = max(c.awake-1, 0)
	heap.Push(&c.asleep, s)
	c.schedule()
	c.mu.Unlock()
	select {
	case <-s.woken:
		return nil
	case <-ctx.Done():
		c.mu.Lock()
		defer c.mu.Unlock()
		if s.index >= 0 {
			heap.Remove(&c.asleep, s.index)
			c.schedule()
		}
		return ctx.Err()
	}
}

// advance brings now up to date and wakes who is due.
func (c *Clock) advance() {
	at := time.Now()
	if c.awake > 0 && at.Sub(c.woken) > patience {
		c.awake = 0
	}
	passed := float64(at.Sub(c.at))
	c.pace = c.pace.Add(time.Duration(passed * c.speed))
	next := c.pace
	switch {
	case c.awake > 0:
		if slow := c.now.Add(time.Duration(passed)); slow.Before(next) {
			next = slow
		}
	case len(c.asleep) > 0 && next.After(c.asleep[0].wake):
		next = c.asleep[0].wake // nobody may sleep past the hour
	}
	if debt := time.Duration(float64(maxDebt) * c.speed); c.pace.Sub(next) > debt {
		c.pace = next.Add(debt)
	}
	c.at, c.now = at, next
	for len(c.asleep) > 0 && !c.asleep[0].wake.After(c.now) {
		close(heap.Pop(&c.asleep).(*sleeper).woken)
		c.awake++
		c.woken = at
	}
}

// schedule sets the timer for whoever is due first.
func (c *Clock) schedule() {
	if c.timer != nil {
		c.timer.Stop()
	}
	if len(c.asleep) == 0 {
		return
	}
	wait := time.Duration(float64(c.asleep[0].wake.Sub(c.pace)) / c.speed)
	if c.awake > 0 { // at the computer's pace, and looking whether they have ended
		wait = min(c.asleep[0].wake.Sub(c.now), patience)
	}
	c.timer = time.AfterFunc(wait, func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.advance()
		c.schedule()
	})
}

// sleeper waits for its time. Its index in the heap is negative once it has left it.
type sleeper struct {
	wake  time.Time
	woken chan struct{}
	index int
}

// sleepers is a heap, the first to wake on top.
type sleepers []*sleeper

func (s sleepers) Len() int           { return len(s) }
func (s sleepers) Less(i, j int) bool { return s[i].wake.Before(s[j].wake) }
func (s sleepers) Swap(i, j int) {
	s[i], s[j] = s[j], s[i]
	s[i].index, s[j].index = i, j
}

// Push is heap's.
func (s *sleepers) Push(x any) {
	e := x.(*sleeper)
	e.index = len(*s)
	*s = append(*s, e)
}

// Pop is heap's.
func (s *sleepers) Pop() any {
	old := *s
	last := old[len(old)-1]
	old[len(old)-1] = nil
	*s = old[:len(old)-1]
	last.index = -1
	return last
}
