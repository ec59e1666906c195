package chimney

import (
	"math"

	"fluewright/analysis/gas"
	"fluewright/analysis/portable"
)

// TarTemperature is the temperature in °C below which the tar in wood smoke condenses on
// a wall to creosote: 250 °F, common practice, no source. The water's dew point lies far
// lower, at 38 to 58 °C.
const TarTemperature = 121.1

// Margins are how far a wall is from getting wet or sticky.
type Margins struct {
	Water float64 // K, wall above the dew point; negative: water condenses
	Tar   float64 // K, wall above TarTemperature
}

// MarginsOf returns the margins of a wall in °C in gas g at p Pa.
func MarginsOf(wall float64, g gas.Gas, p float64) Margins {
	return Margins{Water: wall - g.DewPoint(p), Tar: wall - TarTemperature}
}

// Condensate returns the most water in kg/s that can condense from the stream on a wall in
// °C at p Pa: what the gas holds beyond saturation at the wall. The true amount is less, as
// the gas in the middle never comes as cold; an upper bound, 0 above the dew point.
func Condensate(in Stream, wall, p float64) float64 {
	water := in.Gas.Share(gas.H2O)
	saturated := gas.SaturationPressure(wall) / p
	if !(saturated < water) {
		return 0
	}
	// The dry gas is conserved: it keeps saturated/(1 - saturated) of water.
	dry := in.Flow / in.Gas.MolarMass() * (1 - water)
	const molarWater = 18.015e-3
	return float64(dry * (water/(1-water) - saturated/(1-saturated)) * molarWater)
}

// Dose adds up over a burn how long and how far the wall was too cold. It compares burns of
// one chimney; no published rule turns it into millimetres of creosote.
type Dose struct {
	Water float64 // K s below the dew point
	Tar   float64 // K s below TarTemperature, while smoke is made
	Smoke float64 // s in which smoke was made
}

// Add counts seconds in which the wall had these margins. smoke says whether the fire
// gives off unburnt volatiles (lighting, smoulder); coals and cold flues leave no tar.
func (d *Dose) Add(m Margins, smoke bool, seconds float64) {
	d.Water += float64(math.Max(-m.Water, 0) * seconds)
	if smoke {
		d.Tar += float64(math.Max(-m.Tar, 0) * seconds)
		d.Smoke += seconds
	}
}

// WarmUp is how a cold chimney comes to temperature, its wall as one lump of heat.
type WarmUp struct {
	Start, Final float64 // °C, wall before and in the end
	TimeConstant float64 // s
}

// WarmUp returns how the chimney's wall warms up from the temperature of its surroundings
// under a constant stream at the collar, the connector without inertia. Heat balance
// C dT/dt = m cp (1 - e^(-αA/(m cp))) (Te - T) - A (T - Tu)/R: an exponential. One lump
// suits a steel liner; the inner face of a thick masonry wall warms sooner than this says
// and the whole later. False without flow or heat capacity.
func (s *Site) WarmUp(in Stream) (WarmUp, bool) {
	sec := &s.System.Chimney
	if !(in.Flow > 0 && sec.HeatCapacity > 0) {
		return WarmUp{}, false
	}
	sol := s.Solve(in)
	around := sec.around(&s.Conditions)
	carried := float64(in.Flow * in.Gas.HeatCapacity(sol.Chimney.Mean))
	take := float64(carried * (1 - portable.Exp(-sol.Chimney.Film*sec.surface()/carried)))
	give := sec.surface() / sec.outside(sec.Exposed)
	return WarmUp{
		Start:        around,
		Final:        around + float64(take*(sol.Chimney.Entry-around)/(take+give)),
		TimeConstant: sec.HeatCapacity * sec.Length / (take + give),
	}, true
}

// Until returns the seconds until the wall has the temperature target in °C:
// τ ln((final - start)/(final - target)); 0 if it has it from the start, false if it never
// gets there.
func (w WarmUp) Until(target float64) (float64, bool) {
	switch {
	case target <= w.Start:
		return 0, true
	case target >= w.Final:
		return 0, false
	}
	return w.TimeConstant * portable.Log((w.Final-w.Start)/(w.Final-target)), true
}
