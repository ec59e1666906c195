package alarm

import (
	"math"
	"time"
)

// longestStep is the most time that one frame can add: nothing here looks further, and
// one absurd frame must not use up the clock.
const longestStep = 48 * time.Hour

// clock is time on the panel. It begins at zero, never runs backwards, and goes on
// whatever the frames' clock does.
type clock struct {
	at      time.Duration // the frames' clock
	now     time.Duration
	started bool
}

// advance takes a frame's time. A frame that comes a little late counts as no time; one
// from far back says that the frames' clock was set, and time goes on from there.
func (c *clock) advance(at time.Duration) {
	switch step := span(c.at, at); {
	case !c.started:
		c.started = true
	case step >= 0:
		c.now += min(step, longestStep, math.MaxInt64-c.now)
	case step >= -maxPause:
		return
	}
	c.at = at
}

// frames turns a moment of the panel's clock into the frames'.
func (c *clock) frames(t time.Duration) time.Duration {
	ahead := t - c.now
	if at := c.at + ahead; (at > c.at) == (ahead > 0) {
		return at
	}
	return c.at // out of the clock's range
}

// span is b - a, as far as there are numbers for it.
func span(a, b time.Duration) time.Duration {
	switch d := b - a; {
	case b >= a && d < 0:
		return math.MaxInt64
	case b < a && d > 0:
		return math.MinInt64
	default:
		return d
	}
}
