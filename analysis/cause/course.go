package cause

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// The course keeps means over 10 s for almost three hours: a rise over an hour with the
// burn before it. A cause lies 1 to 30 min before its alarm. The capacity is a power of
// two, so that a place in the ring costs no division.
const (
	slot     = 10 * time.Second
	capacity = 1024
)

// followed are the channels whose course is kept.
var followed = [...]frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Plenum, frame.Draft}

const nFollowed = len(followed)

// row returns where a channel's course is kept, false if it is not.
func row(c frame.Channel) (int, bool) {
	for i, f := range followed {
		if f == c {
			return i, true
		}
	}
	return 0, false
}

// point is the mean of each followed channel over a slot, NaN without a reading.
type point struct {
	at    time.Duration // of the slot's last frame
	value [nFollowed]float64
	rough float64 // standard deviation of the draft within the slot, Pa
}

// course is what the readings did, oldest point first. Its zero value is empty.
type course struct {
	ring   [capacity]point
	oldest int
	n      int

	begin    time.Duration // of the slot being filled
	last     time.Duration
	filling  bool
	sum      [nFollowed]float64
	count    [nFollowed]float64
	spread   float64 // Welford's sum for the draft
	meanOver float64

	// tops are the highest smoothed readings of all points, kept until there is another.
	tops     [nFollowed]float64
	topKnown [nFollowed]bool
}

// add takes a frame's values; it reports whether a slot was finished by it. Times must
// not run backwards.
func (c *course) add(at time.Duration, v *frame.Values) (finished bool) {
	if c.filling && at-c.begin >= slot {
		c.finish()
		finished = true
	}
	if !c.filling {
		c.begin, c.filling = at, true
	}
	c.last = at
	for i, ch := range followed {
		if !v.Has(ch) {
			continue
		}
		c.sum[i] += v[ch]
		c.count[i]++
		if ch == frame.Draft {
			d := v[ch] - c.meanOver
			c.meanOver += d / c.count[i]
			c.spread += float64(d * (v[ch] - c.meanOver))
		}
	}
	return finished
}

func (c *course) finish() {
	p := point{at: c.last, rough: math.NaN()}
	for i, ch := range followed {
		p.value[i] = math.NaN()
		if c.count[i] > 0 {
			p.value[i] = c.sum[i] / c.count[i]
		}
		if ch == frame.Draft && c.count[i] >= 4 {
			p.rough = math.Sqrt(c.spread / c.count[i])
		}
	}
	if c.n < capacity {
		*c.point(c.n) = p

		c.n++
	} else {
		c.ring[c.oldest] = p
		c.oldest = (c.oldest + 1) & (capacity - 1)
	}
	c.filling = false
	c.sum, c.count = [nFollowed]float64{}, [nFollowed]float64{}
	c.spread, c.meanOver = 0, 0
	c.topKnown = [nFollowed]bool{}
}

// point returns the i-th point, 0 the oldest.
func (c *course) point(i int) *point { return &c.ring[(c.oldest+i)&(capacity-1)] }

// after returns the first point later than at, c.n if there is none.
func (c *course) after(at time.Duration) int {
	lo, hi := 0, c.n
	for lo < hi {
		mid := (lo + hi) / 2
		if c.point(mid).at > at {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// smooth returns the median of three neighbouring points of a row, which one bad slot
// cannot move; NaN if there is no reading at i.
func (c *course) smooth(r, i int) float64 {
	v := c.point(i).value[r]
	lo, hi := v, v
	if i > 0 {
		lo = c.point(i - 1).value[r]
	}
	if i+1 < c.n {
		hi = c.point(i + 1).value[r]
	} else if i > 1 {
		hi = c.point(i - 2).value[r]
	}
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return v
	}
	return max(min(lo, hi), min(max(lo, hi), v))
}

// mean returns the mean of a row over the points later than from and not later than to,
// NaN without any.
func (c *course) mean(r int, from, to time.Duration) float64 {
	sum, n := 0.0, 0.0
	for i := c.after(from); i < c.n && c.point(i).at <= to; i++ {
		if v := c.point(i).value[r]; !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum / n // 0/0 is NaN
}

// near returns the smoothed value of a row at the point closest to at, NaN if the closest
// is more than 90 s away.
func (c *course) near(r int, at time.Duration) float64 {
	best, value := 90*time.Second, math.NaN()
	for i := max(0, c.after(at-best)-1); i < c.n && c.point(i).at <= at+best; i++ {
		d := (c.point(i).at - at).Abs()
		if v := c.smooth(r, i); d < best && !math.IsNaN(v) {
			best, value = d, v
		}
	}
	return value
}
