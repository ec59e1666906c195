package mqtt

import (
	"context"
	"errors"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
)

const (
	// readAhead is how many events wait read; mostPacks how many packs of the present do before
	// they are left to be made up for.
	readAhead, mostPacks = maxUnacked, 3
	// missing is how long events of this run wait for those before, which are in a file that
	// cannot be read: longer than a card stalls that has not failed. Meanwhile alarm/<name> tells
	// how things stand.
	missing = time.Minute
	// mostFilled bounds a message that makes up for telemetry, samples: some 12 KB, which a slow
	// line carries while an alarm can wait. mostBlocks is how many pieces of the history are read
	// for one.
	mostFilled, mostBlocks = 300, 36
)

// feed reads the history for one connection.
type feed struct {
	*outbox
	events history.EventPosition // read so far
	sure   int64                 // the event of this run up to which the storage was waited for
	since  map[alarm.Key]time.Time
	gap    time.Time // since when events are missing

	live   int64     // ms of this run up to which telemetry of the present is packed; -1 before the first tick
	before int64     // and before which it is made up for
	next   time.Time // before that nothing more is made up for
}

// run hands on until ctx ends.
func (f *feed) run(ctx context.Context) {
	for ctx.Err() == nil {
		wait := idle
		for _, step := range []func(context.Context) time.Duration{f.tell, f.present, f.fill} {
			if w := step(ctx); w > 0 {
				wait = min(wait, w)
			}
		}
		select {
		case <-ctx.Done():
		case <-f.wake:
		case <-time.After(wait):
		}
	}
}

// waiting counts what was read and is not acknowledged.
func (f *feed) waiting(c class) int {
	f.p.mu.Lock()
	defer f.p.mu.Unlock()
	return len(f.p.queue.past(c))
}

// put puts a message into the queue, unless ctx has ended: then nobody would take it out.
func (f *feed) put(ctx context.Context, m *message) {
	f.p.mu.Lock()
	defer f.p.mu.Unlock()
	if ctx.Err() != nil {
		return
	}
	m.past = true
	f.p.queue.add(m)
	f.p.rouse()
}

// tell reads what has happened. It returns after which time it wants to be called again, zero
// if somebody will wake it, as the next two do.
func (f *feed) tell(ctx context.Context) time.Duration {
	f.thaw(ctx)
	for ctx.Err() == nil {
		room := readAhead - f.waiting(events)
		if room <= 0 {
			return 0
		}
		h, err := f.p.o.Past.FollowEvents(ctx, f.events, room)
		if err != nil {
			f.p.o.Log.Debug("MQTT cannot read what has happened", "error", err)
			return again
		}
		if h.Missed {
			if f.gap.IsZero() {
				f.gap = time.Now()
			}
			if time.Since(f.gap) < f.p.missing {
				return again
			}
			f.freeze()
		} else {
			f.gap = time.Time{}
		}
		f.durable(ctx, &h)
		if len(h.Next) == 0 && h.Upto == f.events {
			return 0
		}
		f.hand(ctx, &h)
		if f.events = h.Upto; len(h.Next) < room {
			return 0
		}
	}
	return 0
}

// durable waits until events of this run, and what else is known of alarms, would outlast a cut
// of the power, or will not in time.
func (f *feed) durable(ctx context.Context, h *history.Happenings) {
	newest := f.sure
	for i := range h.Next {
		if h.Next[i].Position.Identity == f.p.o.BootID {
			newest = max(newest, h.Next[i].No)
		}
	}
	if f.p.o.Durable == nil || newest == f.sure {
		return
	}
	f.sure = newest
	ctx, cancel := context.WithTimeout(ctx, announceWithin)
	defer cancel()
	_ = f.p.o.Durable(ctx) // what is said of it is said where alarms wait
}

// freeze leaves the progress where it is: what comes now is not the next.
func (f *feed) freeze() {
	f.p.mu.Lock()
	defer f.p.mu.Unlock()
	if !f.frozen {
		f.frozen = true
		f.p.o.Log.Warn("events before the present ones cannot be read, and are sent later")
	}
}

// thaw goes back to where the progress is, once it can be read on from there.
func (f *feed) thaw(ctx context.Context) {
	f.p.mu.Lock()
	from, frozen := f.progress.Events, f.frozen
	f.p.mu.Unlock()
	if !frozen {
		return
	}
	if h, err := f.p.o.Past.FollowEvents(ctx, from, 1); err == nil && !h.Missed {
		f.p.mu.Lock()
		f.frozen = false
		f.p.mu.Unlock()
		f.events, f.gap = from, time.Time{}
	}
}

// hand puts events into the queue. Each moves the progress when it is acknowledged, the last
// one over what is not told.
func (f *feed) hand(ctx context.Context, h *history.Happenings) {
	f.p.mu.Lock()
	latest := f.p.latest
	f.p.mu.Unlock()
	var list []*message
	for i := range h.Next {
		e := &h.Next[i]
		if e.Sure && time.Since(e.At) > f.p.o.BackFill && e.Position.Identity != f.p.o.BootID {
			f.count(func(s *Outbox) { s.TooOld++ })
			continue
		}
		body, err := f.p.kept(e, f.since, latest)
		if err != nil {
			f.p.o.Log.Error("cannot write an event", "error", err) // cannot be
		}
		if body == nil {
			continue
		}
		at := e.Position
		list = append(list, &message{
			class: events, topic: f.p.topic("event"), body: func(*status.Status) ([]byte, error) { return body, nil },
			acked: func() { f.toldUpto(at); f.rouse() },
		})
	}
	upto := h.Upto
	if n := len(list); n > 0 {
		list[n-1].acked = func() { f.toldUpto(upto); f.rouse() }
	} else {
		f.pass(upto)
	}
	for _, m := range list {
		f.put(ctx, m)
	}
}

// pass moves the progress over what is not told, once what is on its way is acknowledged.
func (f *feed) pass(upto history.EventPosition) {
	f.p.mu.Lock()
	defer f.p.mu.Unlock()
	if waiting := f.p.queue.past(events); len(waiting) > 0 {
		waiting[len(waiting)-1].acked = func() { f.toldUpto(upto); f.rouse() }
		return
	}
	f.toldUpto(upto)
}

func (f *feed) count(do func(*Outbox)) {
	f.p.mu.Lock()
	defer f.p.mu.Unlock()
	do(&f.stats)
}

// present packs the telemetry of this run as it comes. What was missed before the connection
// came up is left to be made up for.
func (f *feed) present(ctx context.Context) time.Duration {
	every := f.p.o.PackEvery.Milliseconds()
	for ctx.Err() == nil {
		f.p.mu.Lock()
		latest, rows, packs := f.p.latest, f.progress.Rows, len(f.p.queue.past(telemetry))
		f.p.mu.Unlock()
		if latest == nil {
			return again
		}
		now := latest.Frame.At.Milliseconds()
		if f.live < 0 || packs >= mostPacks {
			f.live = now / every * every
			if packs == 0 && rows.Identity == f.p.o.BootID && rows.MS+1 >= f.live-2*every {
				f.live = rows.MS + 1
			}
			f.before = f.live
		}
		end := (f.live/every + 1) * every
		if now < end || packs >= mostPacks {
			return 0
		}
		samples, o, err := f.span(ctx, f.live, end, latest)
		if err != nil {
			f.p.o.Log.Debug("MQTT cannot read telemetry", "error", err)
			return again
		}
		from := f.live
		f.live = end
		took := func() {
			f.progress.took(stretch{f.p.o.BootID, from, end})
			f.rowsMoved()
			f.rouse()
		}
		if len(samples) == 0 {
			f.p.mu.Lock()
			took()
			f.p.mu.Unlock()
			continue
		}
		body, err := pack(f.p.topic(""), o, f.p.mean, samples)
		if err != nil {
			f.p.o.Log.Error("cannot write telemetry", "error", err) // cannot be
			continue
		}
		f.put(ctx, &message{
			class: telemetry, topic: f.p.topic("telemetry"), acked: took,
			body: func(*status.Status) ([]byte, error) { return body, nil },
		})
	}
	return 0
}

// span reads this run from one moment to before another.
func (f *feed) span(ctx context.Context, from, to int64, latest *status.Status) (all []sample, o origin, err error) {
	at := history.Position{Identity: f.p.o.BootID, MS: from - 1}
	t := thinning{every: f.p.o.SampleEvery.Milliseconds(), before: at.MS, mean: f.p.mean}
	for {
		rows, _, err := f.p.o.Past.FollowNow(ctx, at)
		if err != nil {
			return nil, o, err
		}
		for i := range rows {
			r := &rows[i]
			if r.Position.MS >= to || r.Position.Identity != at.Identity {
				return t.samples(), t.origin, nil
			}
			t.begin(r, latest.Frame.At)
			t.take(r)
		}
		if len(rows) == 0 {
			return t.samples(), t.origin, nil
		}
		at = rows[len(rows)-1].Position
	}
}

// thinning makes samples of rows that follow one another in one run.
type thinning struct {
	every  int64 // ms
	before int64 // the row before
	mean   time.Duration
	origin origin
	begun  bool
	all    []sample
}

// begin sets the origin at the first row. now is the moment of sending on the clock of its run,
// for a row of which it is not known when that was.
func (t *thinning) begin(r *history.Followed, now time.Duration) {
	if t.begun {
		return
	}
	t.begun = true
	t.origin = origin{boot: r.Position.Identity, at: time.Duration(r.Position.MS) * time.Millisecond, wall: r.At}
	if !r.Sure {
		t.origin.at, t.origin.wall = now, time.Time{}
	}
}

// take takes a row in, if another interval has begun or the mean wants every one.
func (t *thinning) take(r *history.Followed) {
	ms := r.Position.MS
	due := t.mean > 0 || ms/t.every != t.before/t.every || t.before < 0
	t.before = ms
	if !due {
		return
	}
	for _, c := range frame.All() {
		if r.Values.Has(c) {
			t.all = append(t.all, sample{time.Duration(ms) * time.Millisecond, c, frame.Input{Value: r.Values[c], Quality: r.Quality[c]}})
		}
	}
}

func (t *thinning) samples() []sample {
	if t.mean > 0 {
		return means(t.all, t.mean)
	}
	return t.all
}

// fill makes up for telemetry that was missed, oldest first, a message at a time.
func (f *feed) fill(ctx context.Context) time.Duration {
	for ctx.Err() == nil {
		if f.live < 0 || f.waiting(backfill) > 0 {
			return 0
		}
		if wait := time.Until(f.next); wait > 0 {
			return wait
		}
		f.p.mu.Lock()
		from, latest := f.progress, f.p.latest
		from.Ahead = slices.Clone(from.Ahead)
		f.filling = from.Rows.Identity != f.p.o.BootID || from.Rows.MS+1 < f.before
		behind := f.filling
		f.p.mu.Unlock()
		if !behind {
			return 0
		}
		b, err := f.missed(ctx, &from, latest)
		if err != nil {
			f.p.o.Log.Debug("MQTT cannot read telemetry", "error", err)
			return again
		}
		f.count(func(s *Outbox) { s.TooOld += b.tooOld; s.NoTime += b.noTime })
		if samples := b.samples(); len(samples) > 0 {
			return f.send(ctx, b, samples)
		}
		if b.upto == from.Rows {
			return again // there is nothing yet
		}
		f.p.mu.Lock()
		f.filledUpto(b.upto)
		f.p.mu.Unlock()
	}
	return 0
}

func (f *feed) send(ctx context.Context, b *missed, samples []sample) time.Duration {
	body, err := pack(f.p.topic(""), b.origin, f.p.mean, samples)
	if err != nil {
		f.p.o.Log.Error("cannot write telemetry", "error", err) // cannot be
		return idle
	}
	upto := b.upto
	wait := time.Duration(len(body)) * time.Second / time.Duration(f.p.o.FillRate)
	f.next = time.Now().Add(wait)
	f.put(ctx, &message{
		class: backfill, topic: f.p.topic("telemetry"), acked: func() { f.filledUpto(upto); f.rouse() },
		body: func(*status.Status) ([]byte, error) { return body, nil },
	})
	return wait
}

// missed is what goes into one message, and the position up to which the broker then has all.
type missed struct {
	thinning
	upto           history.Position
	tooOld, noTime uint64
}

// missed reads on from where the broker is: rows of one run, a message's worth.
func (f *feed) missed(ctx context.Context, from *progress, latest *status.Status) (*missed, error) {
	b := &missed{upto: from.Rows, thinning: thinning{every: f.p.o.SampleEvery.Milliseconds(), before: from.Rows.MS, mean: f.p.mean}}
	oldest := time.Now().Add(-f.p.o.BackFill)
	for range mostBlocks {
		rows, _, err := f.p.o.Past.FollowNow(ctx, b.upto)
		if err != nil {
			return nil, err
		}
		if len(rows) == 0 {
			break
		}
		for i := range rows {
			r := &rows[i]
			own := r.Position.Identity == f.p.o.BootID
			if own && r.Position.MS >= f.before {
				b.reach(f.p.o.BootID, f.before)
				return b, nil
			}
			if r.Position.Identity != b.upto.Identity {
				if b.begun {
					return b, nil // one run a message
				}
				b.before = -1
			}
			switch {
			case !own && !r.Sure && !r.Unsettled:
				b.noTime++
				b.before = r.Position.MS
			case r.Sure && r.At.Before(oldest):
				b.tooOld++
				b.before = r.Position.MS
			case from.has(r.Position):
				if b.begun {
					return b, nil // a message has no hole of which it does not know
				}
				b.before = r.Position.MS
			default:
				if len(b.all) > 0 && b.mean == 0 && len(b.all)+int(frame.Count) > mostFilled {
					return b, nil
				}
				now := latest.Frame.At
				if !own && !r.Sure && !b.begun {
					if now, err = f.nowOf(ctx, r, latest); err != nil {
						return nil, err
					}
				}
				b.begin(r, now)
				b.take(r)
			}
			b.upto = r.Position
		}
		if b.begun && b.mean == 0 {
			break
		}
		b.all = b.samples() // no mean is over more than a piece of the history
	}
	if !b.begun && b.upto == from.Rows && b.upto.Identity == f.p.o.BootID {
		b.reach(f.p.o.BootID, f.before) // there is nothing in between
	}
	return b, nil
}

var errNoRow = errors.New("this run has no row yet")

// nowOf is the present moment on the clock of an earlier run, from which it is known how long
// ago that was, though not when: the computer has not been started again meanwhile.
func (f *feed) nowOf(ctx context.Context, r *history.Followed, latest *status.Status) (time.Duration, error) {
	now := latest.Frame.At.Milliseconds()
	own, _, err := f.p.o.Past.FollowNow(ctx, history.Position{Identity: f.p.o.BootID, MS: max(now-time.Minute.Milliseconds(), -1)})
	if err != nil {
		return 0, err
	}
	if len(own) == 0 {
		return 0, errNoRow
	}
	last := &own[len(own)-1]
	ago := last.At.Sub(r.At) + time.Duration(now-last.Position.MS)*time.Millisecond
	return time.Duration(r.Position.MS)*time.Millisecond + ago, nil
}

// reach notes that there is nothing more before a moment of a run.
func (b *missed) reach(identity string, ms int64) {
	if b.upto.Identity == identity || !b.begun {
		b.upto = history.Position{Run: b.upto.Run, Identity: identity, MS: ms - 1}
	}
}
