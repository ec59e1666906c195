package chimneyfire

import (
	"math"

	"fluewright/analysis/signal"
)

// calm is what the chimney was like in the minutes before the last one.
type calm struct {
	known bool // of the flue
	flue  float64
	up    float64 // °C, before the collar

	draws bool
	draft float64    // Pa, usual
	high  float64    // Pa, seldom exceeded
	swing float64    // Pa, what gusts add to the usual
	pull  float64    // Pa·K, seldom exceeded: draft over buoyancy
	noise [2]float64 // Pa, seldom exceeded: all the time, and of late
	peak  float64    // °C, the highest flue

	turn    int
	scratch [kept]float64
}

const (
	fewest = 12 // bins: a minute of calm before anything is compared with it
	late   = lately + 4*minute
	seldom = 0.95 // quantile
	quiet  = 0.03 // Pa: the least movement that is believed, about a sensor's resolution
)

// measures is how many there are; each takes a look at all bins.
const measures = 6

// learn takes what is neither too young nor too old: all measures while there is little
// to look at, then one at each bin, so that no step is long. Of a draft that is back its level
// must not be known before its noise.
func (c *calm) learn(g *gather) {
	drew, n := c.draws, 1
	if g.filled < late {
		n = measures
	}
	for i := 0; i < n; i++ {
		c.turn = (c.turn + 1) % measures
		c.measure(g)
		if c.draws && !drew {
			n = measures
		}
	}
}

func (c *calm) measure(g *gather) {
	switch c.turn {
	case 0:
		all := c.values(g, kept, func(b *bin) float64 { return b.flue })
		c.flue, c.peak, c.known = at(all, 0.5), at(all, seldom), len(all) > 0
	case 1:
		all := c.values(g, kept, func(b *bin) float64 { return b.draft })
		c.draft, c.high, c.draws = at(all, 0.5), at(all, seldom), len(all) > 0
	case 2: // the latest minutes tell best how far a regulator lets the draft follow
		c.pull = at(c.values(g, late, func(b *bin) float64 { return b.draft / buoyancy(b.flue, b.outside) }), 0.75)
	case 3: // a storm that comes up has been worse of late
		all := c.values(g, late, func(b *bin) float64 { return b.draft })
		c.swing = larger(larger(0, c.high-c.draft), at(all, seldom)-at(all, 0.5))
	case 4:
		c.noise[0] = at(c.values(g, kept, func(b *bin) float64 { return b.noise }), 0.8)
	case 5:
		c.noise[1] = at(c.values(g, late, func(b *bin) float64 { return b.noise }), 0.8)
		c.up = at(c.values(g, late, func(b *bin) float64 { return b.up }), 0.5)
	}
}

// values returns the calm bins' values of the last so many bins, none if there are too few.
func (c *calm) values(g *gather, last int, of func(*bin) float64) []float64 {
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
		return nil
	}
	return c.scratch[:n]
}

// at returns a quantile of values, which it reorders; NaN of none.
func at(values []float64, q float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	return signal.Nth(values, int(float64(q*float64(len(values)-1))))
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

// loud is the noise that is seldom exceeded, Pa.
func (c *calm) loud() float64 { return larger(larger(quiet, c.noise[0]), c.noise[1]) }

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

// learn takes the calm minutes, and the latest climb unless that is doubtful itself.
func (m *custom) learn(c *calm, l look, ordinary bool) {
	m.high = larger(float64(m.high*fades), c.high)
	m.flue = larger(float64(m.flue*fades), c.peak)
	m.noise = larger(float64(m.noise*calms), c.loud())
	if ordinary && c.known && l.flue > c.peak {
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
