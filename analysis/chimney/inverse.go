package chimney

import (
	"math"

	"fluewright/analysis/gas"
)

// The heights that HeightFor looks among, m.
const lowestChimney, highestChimney = 0.5, 40.0

// HeightFor returns the smallest height of the chimney above the connector in m, from 0.5
// to 40, that gives the draft in Pa with this stream; whatever the path is longer than it
// rises stays. False if none does: a higher chimney also cools and rubs more, so that
// where the flue is too narrow no height helps. It inverts Solve to 1e-9 m.
func (s *Site) HeightFor(in Stream, draft float64) (float64, bool) {
	site := *s
	extra := site.System.Chimney.Length - site.System.Chimney.Rise
	return firstCrossing(lowestChimney, highestChimney, 0.5, func(h float64) float64 {
		site.System.Chimney.Rise, site.System.Chimney.Length = h, h+extra
		return site.Solve(in).Draft - draft
	})
}

// TemperatureFor returns the lowest temperature of the stream at the collar in °C, up to
// 1200, at which the chimney gives the draft in Pa with this flow; false if none does. The
// temperature below which the chimney does not draw is that for draft 0. It inverts Solve
// to 1e-9 K.
func (s *Site) TemperatureFor(in Stream, draft float64) (float64, bool) {
	coldest := math.Min(s.Conditions.Outdoor, s.Conditions.Room)
	return firstCrossing(coldest, 1200, 20, func(t float64) float64 {
		in.Temperature = t
		return s.Solve(in).Draft - draft
	})
}

// NeutralTemperature returns the mean gas temperature in °C at which the chimney with
// nothing flowing through neither draws nor pushes back: where buoyancy equals wind and
// depressurisation. r is the gas constant of what stands in it. Below it smoke comes into
// the house. The inverse of hydrostatics, exact; +Inf if no heat overcomes the wind.
func (s *Site) NeutralTemperature(r float64) float64 {
	against := s.Conditions.Wind + s.Conditions.Depressurisation
	air := s.Conditions.airDensity()
	density := air - float64(against/float64(gas.Gravity*s.System.Height()))
	if density <= 0 {
		return math.Inf(1)
	}
	return s.Conditions.Pressure/float64(r*density) - gas.Kelvin
}

// ColdDraft returns the draft in Pa before the fire is lit: air at the temperature of the
// surroundings stands in the flue.
func (s *Site) ColdDraft() float64 {
	return s.Solve(Stream{Gas: gas.DryAir(), Temperature: s.Conditions.Room}).Draft
}

// Obstruction is what a measured draft says about the path of the gas.
type Obstruction struct {
	Expected Resistance // of the clean chimney, by computation
	Shown    Resistance // that explains the measurement
	Lost     float64    // Pa, draft missing against the clean chimney; negative: more than expected
	Fittings float64    // further loss coefficient ζ in the chimney that would explain it
}

// ShownBy returns the resistance that the chimney shows when the measured draft in Pa
// stands beside this stream: (buoyancy - wind - depressurisation - draft)/flow². The flow
// is rarely known to better than 15 %, so that only a change against the same chimney's
// own past means much. False without flow.
func (s *Site) ShownBy(in Stream, measured float64) (Obstruction, bool) {
	if !(in.Flow > 0) {
		return Obstruction{}, false
	}
	sol := s.Solve(in)
	lost := sol.Draft - measured
	c := &sol.Chimney
	return Obstruction{
		Expected: ResistanceFrom(sol.Loss, 0, in.Flow),
		Shown:    ResistanceFrom(sol.Loss+lost, 0, in.Flow),
		Lost:     lost,
		Fittings: lost / float64(c.Density*c.Velocity*c.Velocity/2*s.Method.Flow),
	}, true
}

// firstCrossing returns the smallest x in [lo, hi] where f reaches 0 from below, found
// with the given step and then by bisection; lo if f is not below 0 there.
func firstCrossing(lo, hi, step float64, f func(float64) float64) (float64, bool) {
	if f(lo) >= 0 {
		return lo, true
	}
	for a := lo; a < hi; {
		b := math.Min(a+step, hi)
		if f(b) < 0 {
			a = b
			continue
		}
		for range 60 {
			middle := float64((a + b) / 2)
			if f(middle) < 0 {
				a = middle
			} else {
				b = middle
			}
		}
		return b, true
	}
	return 0, false
}
