package cause

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

const (
	lookBack = 60 * time.Minute // how long ago the peak of a standing alarm may be
	before   = 45 * time.Minute // how far before its peak the foot of a rise is looked for
	dip      = 4 * time.Minute  // how long after the door opened the reading may still fall
	fresh    = 0.1              // share of the way to the limit by which a rise is another one
	small    = 0.03             // the same where wood was laid on in between
	lastLap  = 0.35             // share of the way to the limit that counts as the end of a rise
	slack    = 0.25             // share of the steepest slope below which the rise has not begun
)

// rise is the way of a channel from the foot of its rise to the highest reading.
type rise struct {
	channel      frame.Channel
	row          int
	foot, top    time.Duration
	footAt, high float64 // readings there, °C
	span         float64 // from room to limit, K
	speed        float64 // quickest two minutes, shares of the span a minute
	quickAt      time.Duration
	steady       time.Duration // how long the channel had been steady before the foot
	low, up      float64       // within which bounds, °C
}

// findRise looks for the latest rise of a channel. There is none if the channel has no
// readings, or has only cooled.
func (t *Tracker) findRise(c frame.Channel) (rise, bool) {
	r, _ := row(c)
	x := rise{channel: c, row: r, high: math.Inf(-1)}
	end := t.course.n - 1
	if end < 3 {
		return x, false
	}
	newest := t.course.point(end).at
	x.span = t.span(c)
	top := -1
	low := math.Inf(1)
	loaded := time.Duration(math.MinInt64)
	if l, ok := t.load(); ok {
		loaded = l.At
	}
	for i := end; i >= 0 && newest-t.course.point(i).at <= lookBack; i-- {
		v := t.course.smooth(r, i)
		if math.IsNaN(v) {
			continue
		}
		if t.course.point(i).at < loaded && x.high-low > float64(small*x.span) {
			break // what burnt before is another rise
		}
		if v > x.high && !(low < x.high-float64(fresh*x.span)) {
			top, x.high, low = i, v, v
		}
		low = min(low, v)
	}
	if top < 0 {
		return x, false
	}
	x.top = t.course.point(top).at
	first := t.begin(r, top)
	if first >= top {
		return x, false
	}
	foot := t.knee(r, first, top, x.high-float64(lastLap*x.span))
	if at, ok := t.leapt(x.top); ok && at > t.course.point(foot).at {
		foot = max(foot, t.course.after(at)-1)
	}
	x.foot, x.footAt = t.course.point(foot).at, t.course.smooth(r, foot)
	if !(x.high-x.footAt > float64(small*x.span)) {
		return x, false
	}
	t.quickest(&x, foot, top)
	t.calm(&x, first, foot)
	return x, true
}

// begin returns where to look for the foot from: the lowest reading after the latest
// load, if wood was laid on in time, else three quarters of an hour before the top.
func (t *Tracker) begin(r, top int) int {
	from := t.course.point(top).at - before
	until := from
	if l, ok := t.load(); ok && l.At > t.course.point(top).at-lookBack && l.At < t.course.point(top).at {
		from, until = l.At-slot, l.At+dip
	}
	best, lowest := top, math.Inf(1)
	for i := t.course.after(from); i < top; i++ {
		v := t.course.smooth(r, i)
		if math.IsNaN(v) {
			continue
		}
		if t.course.point(i).at > until && best < top {
			break
		}
		if v < lowest {
			best, lowest = i, v
		}
	}
	return best
}

// knee goes back from the steepest part of the way above the mark to where the channel
// began to rise: after a steady burn that is where something happened, after a load that
// burnt up without a rest it is the load.
func (t *Tracker) knee(r, first, top int, mark float64) int {
	c := &t.course
	window := min(5*time.Minute, max(90*time.Second, (c.point(top).at-c.point(first).at)/6))
	steepest, at := 0.0, first
	for i := top; i > first && !(c.smooth(r, i) < mark); i-- {
		if s := c.slope(r, first, i, window); s > steepest {
			steepest, at = s, i
		}
	}
	for i := at; i > first; i-- {
		if s := c.slope(r, first, i, window); s < float64(slack*steepest) {
			return c.lowest(r, i, window)
		}
	}
	return first
}

// slope is how fast a row rose over the window that ends at point i, K a minute; the window
// does not reach back beyond first. NaN if it cannot be told.
func (c *course) slope(r, first, i int, window time.Duration) float64 {
	j := max(first, c.after(c.point(i).at-window-slot))
	dt := (c.point(i).at - c.point(j).at).Minutes()
	if !(dt > 0.4) {
		return math.NaN()
	}
	return (c.smooth(r, i) - c.smooth(r, j)) / dt
}

// lowest returns the point with the lowest reading in the window that ends at point i.
func (c *course) lowest(r, i int, window time.Duration) int {
	best := i
	for j := i; j >= 0 && c.point(i).at-c.point(j).at <= window; j-- {
		if c.smooth(r, j) < c.smooth(r, best) {
			best = j
		}
	}
	return best
}

// quickest finds the two minutes of the steepest rise.
func (t *Tracker) quickest(x *rise, foot, top int) {
	const window = 2 * time.Minute
	j := foot
	for i := foot; i <= top; i++ {
		v := t.course.smooth(x.row, i)
		for j < i && t.course.point(i).at-t.course.point(j+1).at >= window {
			j++
		}
		w := t.course.smooth(x.row, j)
		dt := (t.course.point(i).at - t.course.point(j).at).Minutes()
		if math.IsNaN(v) || math.IsNaN(w) || dt <= 0 {
			continue
		}
		if s := (v - w) / max(dt, window.Minutes()) / x.span; s > x.speed {
			x.speed, x.quickAt = s, t.course.point(j).at
		}
	}
}

// calm measures how long before the foot the channel kept within a narrow band.
func (t *Tracker) calm(x *rise, first, foot int) {
	width := float64(0.2 * (x.high - x.footAt))
	x.low, x.up = x.footAt, x.footAt
	for i := foot; i >= first; i-- {
		v := t.course.smooth(x.row, i)
		if math.IsNaN(v) {
			continue
		}
		lo, hi := min(x.low, v), max(x.up, v)
		if hi-lo > width {
			return
		}
		x.low, x.up = lo, hi
		x.steady = x.foot - t.course.point(i).at
	}
}

// top returns the highest smoothed reading of a row, -Inf if there is none.
func (c *course) top(r int) float64 {
	if !c.topKnown[r] {
		c.tops[r], c.topKnown[r] = c.highest(r, -slot, c.last), true
	}
	return c.tops[r]
}

// highest returns the highest smoothed reading of a row after from and up to to, -Inf if
// there is none.
func (c *course) highest(r int, from, to time.Duration) float64 {
	high := math.Inf(-1)
	for i := c.after(from); i < c.n && c.point(i).at <= to; i++ {
		if v := c.smooth(r, i); v > high {
			high = v
		}
	}
	return high
}
