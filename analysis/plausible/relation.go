package plausible

import (
	"math"

	"fluewright/analysis/portable"
)

const (
	relationOver = 480.0 // marks of a steady fire over which a relation is learned: 4 h
	relationSees = 20.0  // marks before its own error is known
	fluePower    = 1.5   // of the flue's rise in one upstream (judgement)
	powerSpread  = 0.05  // of the logarithm: less variation than this says little of the power
	leastPower   = 0.1
	mostPower    = 3.0
	leastError   = 0.01 // of the logarithm
)

// usualPower is that of one of the heated channels in another.
func usualPower(of, in int) float64 {
	const flue = len(heated) - 1
	switch {
	case of == flue:
		return fluePower
	case in == flue:
		return 1 / fluePower
	}
	return 1
}

// relation is how the rise of one probe over the room goes with another one's, at this
// furnace and in a steady fire: as a power of it, a straight line in the logarithms. The gas
// that leaves a hotter fire gives the same share less to what it passes, hence the power.
// Older marks count less.
type relation struct {
	before          float64 // the power, before it is known
	n, x, y, xx, xy float64 // discounted sums
	low, high       float64 // of x, ever
	missed, tried   float64 // squared errors of what it foretold, and how many
}

// learn takes a pair of logarithms; power is what to expect before much is known.
func (r *relation) learn(x, y, power float64) {
	r.before = power
	keep := portable.Exp(-1 / relationOver)
	if r.n > relationSees {
		e := y - r.at(x)
		r.missed = float64(keep*r.missed) + float64(e*e)
		r.tried = float64(keep*r.tried) + 1
	}
	if r.n == 0 {
		r.low, r.high = x, x
	}
	r.low, r.high = min(r.low, x), max(r.high, x)
	r.n = float64(keep*r.n) + 1
	r.x = float64(keep*r.x) + x
	r.y = float64(keep*r.y) + y
	r.xx = float64(keep*r.xx) + float64(x*x)
	r.xy = float64(keep*r.xy) + float64(x*y)
}

// at is the logarithm that it foretells.
func (r *relation) at(x float64) float64 {
	mx, my := r.x/r.n, r.y/r.n
	vary, together := r.xx/r.n-float64(mx*mx), r.xy/r.n-float64(mx*my)
	const prior = powerSpread * powerSpread
	power := (together + float64(prior*r.before)) / (vary + prior)
	return my + float64(max(leastPower, min(mostPower, power))*(x-mx))
}

// usual is the standard deviation of what it foretold.
func (r *relation) usual() float64 { return leastError + math.Sqrt(r.missed/max(1, r.tried)) }
