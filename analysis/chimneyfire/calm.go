package chimneyfire

import (
	"math"
	"slices"
)

// calm is what the chimney was like in the minutes before the last one.
type calm struct {
	known bool // of the flue
	flue  float64

	draws bool
	draft float64 // Pa, usual
	high  float64 // Pa, seldom exceeded
	pull  float64 // Pa·K, seldom exceeded: draft over buoyancy
	noise float64 // Pa, seldom exceeded
	peak  float64 // °C, the highest flue

	scratch [kept]float64
}

const (
	fewest = 12   // bins: a minute of calm before anything is compared with it
	seldom = 0.95 // quantile
	quiet  = 0.03 // Pa: the least movement that is believed, about a sensor's resolution
)

// learn takes what is neither too young nor too old.
func (c *calm) learn(g *gather) {
	c.flue, _ = c.quantile(g, kept, 0.5, func(b *bin) float64 { return b.flue })
	c.peak, c.known = c.quantile(g, kept, seldom, func(b *bin) float64 { return b.flue })
	c.draft, c.draws = c.quantile(g, kept, 0.5, func(b *bin) float64 { return b.draft })
	c.high, _ = c.quantile(g, kept, seldom, func(b *bin) float64 { return b.draft })
	// The latest minutes tell best how far a regulator lets the draft follow.
	c.pull, _ = c.quantile(g, lately+4*minute, 0.75, func(b *bin) float64 { return b.draft / buoyancy(b.flue, b.outside) })
	noise, _ := c.quantile(g, kept, 0.8, func(b *bin) float64 { return b.noise })
	c.noise = max(quiet, noise) // NaN stays NaN
}

// quantile is over the calm bins of the last so many; ok says that there are enough of them.
func (c *calm) quantile(g *gather, last int, q float64, of func(*bin) float64) (v float64, ok bool) {
	n := 0
	for i := lately; i < min(g.filled, last); i++ {
		b := g.back(i)
		if b.suspect {
			continue
		}
		if v := of(b); !math.IsNaN(v) {
			c.scratch[n] = v
			n++
		}
	}
	if n < fewest {
		return math.NaN(), false
	}
	slices.Sort(c.scratch[:n])
	return c.scratch[int(float64(q*float64(n-1)))], true
}

const (
	kelvin  = 273.15
	outdoor = 0.0  // °C, where nobody measures it
	least   = 30.0 // K: with less over the outdoors, buoyancy says nothing
)

// buoyancy is 1/To − 1/T of a column of flue gas, 1/K.
func buoyancy(flue, outside float64) float64 {
	if math.IsNaN(outside) {
		outside = outdoor
	}
	outside = max(-60, min(50, outside))
	return 1/(outside+kelvin) - 1/(max(flue, outside+least)+kelvin)
}

// custom is what this furnace does of itself, remembered over hours: flames after coals
// are louder and hotter than anything in the last minutes.
type custom struct {
	high  float64 // Pa of draft
	noise float64 // Pa
	rate  float64 // K/s of the collar, breaking new ground
	flue  float64 // °C
}

// How much of it is left five seconds later: a third in six hours, and in one of the
// noise, which kindling makes most of.
const (
	fades = 1 - 5.0/21600
	calms = 1 - 5.0/3600
)

func (m *custom) learn(c *calm, l look) {
	m.high = larger(float64(m.high*fades), c.high)
	m.flue = larger(float64(m.flue*fades), c.peak)
	m.noise = larger(float64(m.noise*calms), c.noise)
	if c.known && l.flue > c.peak {
		m.rate = larger(float64(m.rate*fades), l.rate)
	}
}

// larger takes NaN for none.
func larger(a, b float64) float64 {
	if b > a {
		return b
	}
	return a
}
