package app

import (
	"context"
	"slices"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// loop is the one loop that owns time: at each tick it takes what the bus loops have
// read, judges it, and hands the result to whoever publishes it. It waits for nobody.
type loop struct {
	site    string
	period  time.Duration
	clock   sensors.Clock
	frames  *assembler
	engine  *analysis.Engine
	sensors func() []status.Sensor
	trusted func(time.Time) bool
	feed    *status.Feed
	// after is called with each tick's status, in order. It must not block.
	after []func(*status.Status)

	seq uint64
}

// run ticks until ctx ends. Ticks keep to a grid, so that a slow one does not shift
// those after it; ones that were missed are left out.
func (l *loop) run(ctx context.Context) {
	next := l.clock.Now()
	for {
		l.tick(l.clock.Now())
		next = next.Add(l.period)
		now := l.clock.Now()
		if late := now.Sub(next); late > 0 {
			next = next.Add(late.Truncate(l.period))
		}
		if err := l.clock.Sleep(ctx, next.Sub(now)); err != nil {
			return // ctx has ended
		}
	}
}

func (l *loop) tick(now time.Time) {
	f, taken := l.frames.frame(now)
	a := l.engine.Step(f)
	a.Alarms = slices.Clone(a.Alarms)
	a.Events = slices.Clone(a.Events)
	l.seq++
	s := &status.Status{
		Site:         l.site,
		Seq:          l.seq,
		Wall:         now.Round(0).Truncate(time.Millisecond),
		ClockTrusted: l.trusted(now),
		Frame:        f,
		Taken:        wallTimes(taken),
		Assessment:   a,
		Sensors:      l.sensors(),
	}
	l.feed.Publish(s)
	for _, do := range l.after {
		do(s)
	}
}

// wallTimes drops the monotonic readings, which mean nothing outside the process.
func wallTimes(taken [frame.Count]time.Time) [frame.Count]time.Time {
	for c := range taken {
		taken[c] = taken[c].Round(0)
	}
	return taken
}
