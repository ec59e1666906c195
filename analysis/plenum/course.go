package plenum

import (
	"math"
	"time"
)

const (
	binLength = 5 * time.Second // one reading even at 0.2 Hz
	minute    = 12              // bins
	kept      = 15 * minute
)

// bin is what five seconds were like, °C; NaN where there was no reading. fires are what
// tells of the fire: the flue, and the gas or the brick upstream of it.
type bin struct {
	air, cold float64
	fires     [2]float64
}

// mean is an average in the making.
type mean struct{ sum, n float64 }

func (m *mean) add(v float64) {
	if !math.IsNaN(v) {
		m.sum, m.n = m.sum+v, m.n+1
	}
}

func (m *mean) take() float64 {
	v := m.sum / m.n // NaN when empty
	*m = mean{}
	return v
}

// course keeps the last quarter of an hour.
type course struct {
	ring         [kept]bin
	next, filled int
	length       time.Duration
	air, cold    mean
	fires        [2]mean
}

// step lets time pass and reports whether a bin was closed.
func (c *course) step(dt time.Duration) bool {
	c.length += dt
	if c.length < binLength {
		return false
	}
	b := bin{c.air.take(), c.cold.take(), [2]float64{c.fires[0].take(), c.fires[1].take()}}
	// A gap leaves as many empty bins as it lasted, so that slopes keep their meaning.
	for n := 0; c.length >= binLength && n < kept; n++ {
		c.length -= binLength
		c.ring[c.next] = b
		c.next = (c.next + 1) % kept
		c.filled = min(c.filled+1, kept)
		b = bin{math.NaN(), math.NaN(), [2]float64{math.NaN(), math.NaN()}}
	}
	return true
}

func (c *course) add(air, cold float64, fires [2]float64) {
	c.air.add(air)
	c.cold.add(cold)
	for i, v := range fires {
		c.fires[i].add(v)
	}
}

// back returns the bin so many before the newest.
func (c *course) back(i int) *bin { return &c.ring[(c.next-1-i+2*kept)%kept] }

// climb is the air's slope over the bins from the from-th to the to-th before the newest,
// K/min, by least squares; NaN with less than half of the readings.
func (c *course) climb(from, to int) float64 {
	if c.filled <= from {
		return math.NaN()
	}
	var n, st, sv, stt, stv float64
	for i := to; i <= from; i++ {
		v := c.back(i).air
		if math.IsNaN(v) {
			continue
		}
		t := -float64(i) / minute
		n++
		st += t
		sv += v
		stt += float64(t * t)
		stv += float64(t * v)
	}
	d := float64(n*stt) - float64(st*st)
	if float64(2*n) < float64(from-to+1) || d <= 0 {
		return math.NaN()
	}
	return (float64(n*stv) - float64(st*sv)) / d
}

// rise is the air's over the cold, K, so many bins ago; at least 1 so that it can be
// compared by ratio.
func (c *course) rise(i int) float64 {
	b := c.back(i)
	return max(1, b.air-b.cold)
}

// heated is the same of what tells of the fire; NaN without it.
func (c *course) heated(fire, i int) float64 {
	b := c.back(i)
	return max(1, b.fires[fire]-b.cold)
}

// hottest is the most that was of it within the quarter of an hour; 0 without it.
func (c *course) hottest(fire int) float64 {
	most := 0.0
	for i := range c.filled {
		if h := c.heated(fire, i); h > most { // NaN is not more
			most = h
		}
	}
	return most
}

// coolest is the least of it within so many bins; +Inf without it.
func (c *course) coolest(fire, bins int) float64 {
	least := math.Inf(1)
	for i := range min(c.filled, bins) {
		if h := c.heated(fire, i); h < least { // NaN is not less
			least = h
		}
	}
	return least
}
