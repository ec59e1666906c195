package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

// A sheath lets at most 1 − exp(−t/τ) of a step of the gas through, which is less than
// t/τ over 1 + t/τ twice; 5 s is quicker than the thinnest sheath in hot gas (1.5 mm has
// 11 s in slow air, a maker's data sheet), and a flame after a cold draught is 600 K.
const (
	thinnest   = 5 * time.Second
	flameStep  = 600.0 // K
	airStep    = 60.0  // K, of air without a flame
	leapsFor   = 10 * time.Minute
	leapsMany  = 20 // a single wrong sample is two
	leapsFew   = 5
	leastGrain = 3.0 // K
)

// leaps counts what a channel's sheath cannot follow.
type leaps struct {
	rate float64 // how many in leapsFor, of late
	many bool
}

// leap finds a loose contact or a disturbed wire: again and again a step that no sheath
// lets through.
func (r *Rules) leap(in Inputs, dt time.Duration, found *Findings) {
	for i := range r.leaps {
		c := frame.Channel(i)
		l, course := &r.leaps[i], &r.courses[i]
		if c.Pressure() {
			continue
		}
		l.rate = signal.Toward(l.rate, 0, dt, leapsFor)
		if v := in.Values[c]; course.count > 2 && dt > 0 && math.Abs(v-course.raw) > largest(c, dt+course.missing)+course.grain() {
			l.rate++
		}
		l.many = l.rate >= leapsMany || l.many && l.rate >= leapsFew
		if l.many {
			found.add(c, Noisy)
		}
	}
}

// grain is what noise and rounding may add to a step, K.
func (c *course) grain() float64 {
	grain := max(leastGrain, float64(8*math.Sqrt(c.usual)))
	if c.quantum > 0 {
		grain += c.quantum
	}
	return grain
}

// largest is the greatest step that a probe on the channel lets through in dt, K.
func largest(c frame.Channel, dt time.Duration) float64 {
	step := airStep
	if c == frame.Firebox || c == frame.Chamber || c == frame.Flue {
		step = flameStep
	}
	s := dt.Seconds()
	return step * s / (s + thinnest.Seconds())
}
