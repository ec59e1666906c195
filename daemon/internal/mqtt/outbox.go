package mqtt

import (
	"context"
	"sync"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/history"
)

// Past is the history as the publisher reads it; see [history.Store].
type Past interface {
	FollowEvents(ctx context.Context, after history.EventPosition, most int) (history.Happenings, error)
	FollowNow(ctx context.Context, after history.Position) ([]history.Followed, int64, error)
}

// Outbox is what the broker lacks of the history.
type Outbox struct {
	// Events and Rows are at most how many wait, Oldest when the first of them was; zero if
	// none waits or its time is not known.
	Events, Rows int64
	Oldest       time.Time
	// TooOld and NoTime count events and rows that will never be sent: they are older than
	// what comes late may be, or nobody knows of when they are.
	TooOld, NoTime uint64
}

const (
	// keptEvery is how often it is kept how far telemetry has come, filledEvery while much of it
	// is made up for: what is sent twice after a kill costs less than flash. For events that is
	// done at once, but not more often than toldEvery.
	keptEvery   = 10 * time.Minute
	filledEvery = time.Minute
	toldEvery   = 2 * time.Second
	// lookEvery is how often it is counted what waits.
	lookEvery = 30 * time.Second
	// idle is after how long the outbox looks for itself whether there is something.
	idle = 15 * time.Second
	// again is after how long a history that could not be read is tried anew.
	again = 500 * time.Millisecond
)

// outbox hands on what comes out of the history, and remembers what of it was acknowledged.
// It holds no copies: what is not acknowledged when a connection ends is read again.
type outbox struct {
	p     *Publisher
	wake  chan struct{} // something has happened, or was acknowledged
	moved chan struct{} // there is something to keep

	// What follows is guarded by the publisher's lock.
	progress progress
	frozen   bool // events are sent that are not the next: progress stands still
	minute   int64
	stats    Outbox
	// dirty says since when what was acknowledged is not kept: events, rows.
	dirtyEvents, dirtyRows time.Time
	keptAt                 time.Time // last
	unkept                 bool      // the last time it failed
	filling                bool
}

func newOutbox(p *Publisher) *outbox {
	o := &outbox{p: p, wake: make(chan struct{}, 1), moved: make(chan struct{}, 1), minute: -1}
	var err error
	var fresh bool
	if o.progress, fresh, err = loadProgress(p.o.Dir, p.o.BootID); err != nil {
		p.o.Log.Error("MQTT begins with this run of the program", "error", err)
	}
	if fresh {
		// At once, so that the next run knows where this one began.
		if err := o.progress.save(p.o.Dir); err != nil {
			p.o.Log.Error("after a restart some would not be sent", "error", err)
		}
	}
	return o
}

// rouse has the history read.
func (o *outbox) rouse() {
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// tick is told of the time, and wakes whoever reads when a pack is over.
func (o *outbox) tick(at time.Duration) {
	if m := int64(at / o.p.o.PackEvery); m != o.minute {
		o.minute = m
		o.rouse()
	}
}

// run keeps what is acknowledged and counts what waits, until ctx ends.
func (o *outbox) run(ctx context.Context) {
	o.look(ctx)
	looked := time.Now()
	ticks := time.NewTicker(toldEvery)
	defer ticks.Stop()
	for {
		select {
		case <-ctx.Done():
			o.keep(true)
			return
		case <-ticks.C:
		case <-o.moved:
		}
		o.keep(false)
		if time.Since(looked) >= lookEvery {
			o.look(ctx)
			looked = time.Now()
		}
	}
}

// keep writes down how far the broker has come, if that is due.
func (o *outbox) keep(all bool) {
	o.p.mu.Lock()
	every := keptEvery
	if o.filling {
		every = filledEvery
	}
	told := !o.dirtyEvents.IsZero() && (all || time.Since(o.keptAt) >= toldEvery)
	filled := !o.dirtyRows.IsZero() && (all || time.Since(o.dirtyRows) >= every)
	if o.p.o.Dir == "" || !told && !filled {
		o.p.mu.Unlock()
		return
	}
	now := o.progress
	now.Ahead = append([]stretch(nil), now.Ahead...)
	o.dirtyEvents, o.dirtyRows, o.keptAt = time.Time{}, time.Time{}, time.Now()
	o.p.mu.Unlock()
	err := now.save(o.p.o.Dir)
	o.p.mu.Lock()
	defer o.p.mu.Unlock()
	switch {
	case err != nil && !o.unkept: // a card that is read-only stays so
		o.p.o.Log.Error("after a restart some would be sent again", "error", err)
	case err == nil && o.unkept:
		o.p.o.Log.Info("after a restart nothing would be sent again")
	}
	if o.unkept = err != nil; o.unkept {
		o.dirtyEvents = time.Now()
	}
}

// look counts what waits.
func (o *outbox) look(ctx context.Context) {
	o.p.mu.Lock()
	from := o.progress
	o.p.mu.Unlock()
	var oldest time.Time
	first := func(at time.Time, sure bool) {
		if sure && (oldest.IsZero() || at.Before(oldest)) {
			oldest = at
		}
	}
	h, err := o.p.o.Past.FollowEvents(ctx, from.Events, 1)
	if err != nil {
		return
	}
	if len(h.Next) > 0 {
		first(h.Next[0].At, h.Next[0].Sure)
	}
	rows, behind, err := o.p.o.Past.FollowNow(ctx, from.Rows)
	if err != nil {
		return
	}
	if len(rows) > 0 {
		first(rows[0].At, rows[0].Sure)
	}
	o.p.mu.Lock()
	defer o.p.mu.Unlock()
	o.stats.Events, o.stats.Rows, o.stats.Oldest = h.Behind, behind, oldest
}

// toldUpto notes that the broker has all events up to a position. The publisher's lock is held,
// as in the next two.
func (o *outbox) toldUpto(at history.EventPosition) {
	if o.frozen || o.progress.Events == at {
		return
	}
	o.progress.Events = at
	if o.dirtyEvents.IsZero() {
		o.dirtyEvents = time.Now()
	}
	select {
	case o.moved <- struct{}{}:
	default:
	}
}

// filledUpto notes that the broker has all rows up to a position, or will not get them.
func (o *outbox) filledUpto(at history.Position) {
	o.progress.reach(at)
	o.rowsMoved()
}

func (o *outbox) rowsMoved() {
	if o.dirtyRows.IsZero() {
		o.dirtyRows = time.Now()
	}
}

// begin starts to hand on what there is over a new connection; what it returns ends that.
func (o *outbox) begin(ctx context.Context) (end func()) {
	ctx, cancel := context.WithCancel(ctx)
	f := &feed{outbox: o, since: make(map[alarm.Key]time.Time), sure: -1, live: -1}
	o.p.mu.Lock()
	o.frozen = false
	f.events = o.progress.Events
	o.p.mu.Unlock()
	var wg sync.WaitGroup
	wg.Go(func() { f.run(ctx) })
	return func() {
		cancel()
		wg.Wait()
	}
}
