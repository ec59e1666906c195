package gate

import (
	"errors"
	"fmt"
	"math"

	"fluewright/analysis/chimney"
	"fluewright/analysis/drive"
	"fluewright/analysis/gas"
)

// Settings is what is known of the site. The zero value knows nothing.
type Settings struct {
	// Unfitted says that the site has no regulator, so that there is nothing to judge.
	Unfitted bool
	// Set is the draft at which the gate was set to open, Pa; 0: not known.
	Set float64
	// DraftLow and DraftHigh are the band that the appliance's maker specifies, Pa.
	DraftLow, DraftHigh float64
	// Reach is the draft over the drive of the chimney with the gate shut, m: see ReachOf;
	// 0: not known, then only the burns show it.
	Reach float64
	Air   drive.Air
}

// Validate says what is impossible about the settings.
func (s *Settings) Validate() error {
	var errs []error
	if !(s.DraftLow >= 0 && s.DraftLow <= s.DraftHigh) || math.IsInf(s.DraftHigh, 0) {
		errs = append(errs, fmt.Errorf("draft band %g to %g Pa: want 0 <= low <= high", s.DraftLow, s.DraftHigh))
	}
	if s.Set != 0 && !(s.Set >= 1 && s.Set <= 100) {
		errs = append(errs, fmt.Errorf("regulator's set draft %g Pa is not within 1 to 100", s.Set))
	}
	if !(s.Reach >= 0 && s.Reach <= 100) {
		errs = append(errs, fmt.Errorf("reach %g m is not within 0 to 100", s.Reach))
	}
	return errors.Join(errs...)
}

// ReachOf returns the reach in m of a chimney with the gate shut, warm, at the air pressure
// in Pa: the draft that it leaves over its drive, with flue gas of wood at 200 °C and 1.5 m/s
// on a frosty day. It is nearly the same at other temperatures and weather; the flow is a
// guess from the chimney's width (common practice, no source), so that the reach is good to
// about 20 %. 0 for a chimney that is not known.
func ReachOf(system chimney.System, pressure float64) float64 {
	const flue, speed = 200.0, 1.5
	if system.Validate() != nil || !(pressure > 0) {
		return 0
	}
	air := gas.DryAir().Constant()
	site := chimney.Site{
		System:     system,
		Conditions: chimney.Conditions{Outdoor: 0, Room: 20, Pressure: pressure, AirConstant: air},
		Method:     chimney.Real,
	}
	fuel := gas.Fuel{Wood: gas.TypicalWood(), Moisture: gas.DryBasis(0.20).Wet()}
	in := chimney.Stream{Gas: fuel.Burn(2, 0).Gas, Temperature: flue}
	width := system.Chimney.Diameter
	in.Flow = float64(math.Pi / 4 * width * width * speed * in.Gas.Density(flue, pressure))
	metre := chimney.Theoretical(1, pressure, air, site.Conditions.Outdoor, flue)
	return max(0, site.Solve(in).Draft/metre)
}
