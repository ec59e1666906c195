package gate

import (
	"errors"
	"fmt"
	"math"

	"fluewright/analysis/chimney"
	"fluewright/analysis/drive"
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
	// 0: not known, then what the burns show is taken.
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

// ReachOf returns the reach in m of a chimney with the gate shut, warm, at a flue of 200 °C
// and with the stream of the appliance at its nominal output: the draft that the network
// leaves over the drive. It is nearly the same at other temperatures, and good to about
// 20 %: the flow is rarely known better.
func ReachOf(site chimney.Site, in chimney.Stream) float64 {
	const flue = 200.0
	in.Temperature = flue
	c := &site.Conditions
	metre := chimney.Theoretical(1, c.Pressure, c.AirConstant, c.Outdoor, flue)
	if metre <= 0 {
		return 0
	}
	return max(0, site.Solve(in).Draft/metre)
}
