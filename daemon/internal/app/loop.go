package app

import (
	"context"
	"slices"
	"sync"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/metrics"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// loop is the one loop that owns time: at each tick it takes what the bus loops have
// read, judges it, and hands the result to whoever publishes it. It waits for nobody.
type loop struct {
	site   string
	zone   *time.Location // of the site, for what is said in words
	period time.Duration
	// behind is how far its ticks stand behind the looks of the buses, which begin at the
	// same time: a tick just before them would see everything a period late.
	behind  time.Duration
	clock   sensors.Clock
	frames  *assembler
	engine  *analysis.Engine
	sensors func(time.Time) []status.Sensor
	supply  func() status.Supply
	trusted func(time.Time) bool
	feed    *status.Feed
	// impaired says what is wrong with the monitor itself; nil: nobody looks.
	impaired func(at time.Duration, wall time.Time, trusted bool) string
	// after is called with each tick's status, in order. It must not block.
	after []func(*status.Status)
	// last is called once, when no tick comes any more, with the last status. It must be quick.
	last []func(*status.Status)

	// orders are carried out at the beginning of a tick: the engine is the loop's alone.
	orders chan order

	seq uint64
	// alarms and accounts were published last.
	alarms   []alarm.Status
	accounts []analysis.Account

	mu   sync.Mutex // guards what the metrics read
	late metrics.Loop
}

// run ticks until ctx ends, and then returns nil. Ticks keep to a grid, so that a slow one does not shift
// those after it; ones that were missed are left out.
func (l *loop) run(ctx context.Context) error {
	next := l.clock.Now().Add(l.behind)
	if l.behind > 0 && l.clock.Sleep(ctx, l.behind) != nil {
		return nil
	}
	defer l.end()
	for {
		now := l.clock.Now()
		late := now.Sub(next)
		l.note(late)
		// One that is hardly late counts as on time: a hold time of whole periods would
		// else last for one more, by chance.
		if late > 0 && late < l.period/4 {
			now = now.Add(-late) // not next: its wall clock is that of the beginning
		}
		last := now
		l.tick(now)
		next = next.Add(l.period)
		now = l.clock.Now()
		if late := now.Sub(next); late > 0 {
			l.miss(uint64(late / l.period))
			next = next.Add(late.Truncate(l.period))
		}
		if !next.After(last) { // this tick was so late that it stands for that one too
			l.miss(1)
			next = next.Add(l.period)
		}
		if err := l.clock.Sleep(ctx, next.Sub(now)); err != nil {
			return nil // ctx has ended, which is no failure
		}
	}
}

// end says that the last tick was the last.
func (l *loop) end() {
	if s := l.feed.Latest(); s != nil {
		for _, do := range l.last {
			do(s)
		}
	}
}

// behindLooks is how far ticks stand behind looks that are so far apart: on all but the
// slowest boards a bus is read within that.
func behindLooks(apart time.Duration) time.Duration { return min(apart/4, 100*time.Millisecond) }

// order is something that a person wants done with the engine.
type order struct {
	do   func(*analysis.Engine) error
	done chan error
}

// mostOrders bounds how many wait for a tick, and how many one takes.
const mostOrders = 8

// order has something done at the next tick, and returns what came of it. It may have been
// done though it returns the context's error.
func (l *loop) order(ctx context.Context, do func(*analysis.Engine) error) error {
	o := order{do, make(chan error, 1)}
	select {
	case l.orders <- o:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-o.done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// obey carries out what waits.
func (l *loop) obey() {
	for range mostOrders {
		select {
		case o := <-l.orders:
			o.done <- o.do(l.engine)
		default:
			return
		}
	}
}

func (l *loop) tick(now time.Time) {
	l.obey()
	f, taken := l.frames.frame(now)
	wall, trusted := now.Round(0).Truncate(time.Millisecond).In(l.zone), l.trusted(now)
	if l.impaired != nil {
		l.engine.Impaired(l.impaired(f.At, wall, trusted))
	}
	a := l.engine.Step(f)
	doubt(&f, a.Doubts)
	// The engine's own change with its next step. While nothing stands they seldom differ
	// from what was published before, which never changes.
	if !slices.Equal(l.alarms, a.Alarms) {
		l.alarms = slices.Clone(a.Alarms)
	}
	if !slices.EqualFunc(l.accounts, a.Accounts, analysis.Account.Same) {
		l.accounts = slices.Clone(a.Accounts)
	}
	a.Alarms, a.Accounts, a.Events = l.alarms, l.accounts, slices.Clone(a.Events)
	l.seq++
	s := &status.Status{
		Site:         l.site,
		Seq:          l.seq,
		Wall:         wall,
		ClockTrusted: trusted,
		Frame:        f,
		Taken:        wallTimes(taken),
		Assessment:   a,
		Sensors:      l.sensors(now),
		Supply:       l.supply(),
	}
	l.feed.Publish(s)
	for _, do := range l.after {
		do(s)
	}
}

// doubt marks what the analysis holds for implausible, so that nobody is shown such a
// reading as good.
func doubt(f *frame.Frame, codes [frame.Count]string) {
	for c, code := range codes {
		if in := &f.Inputs[c]; code != "" && in.Usable() {
			in.Quality, in.Fault = frame.Suspect, code
		}
	}
}

// note keeps how late a tick is.
func (l *loop) note(late time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.late.Lateness = max(late, 0)
	if late > l.period {
		l.late.Late++
	}
}

// miss keeps how many ticks were left out.
func (l *loop) miss(n uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.late.Missed += n
}

// punctuality returns how late ticks have been.
func (l *loop) punctuality() metrics.Loop {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.late
}

// wallTimes drops the monotonic readings, which mean nothing outside the process.
func wallTimes(taken [frame.Count]time.Time) [frame.Count]time.Time {
	for c := range taken {
		taken[c] = taken[c].Round(0)
	}
	return taken
}
