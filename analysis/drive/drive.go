package drive

import (
	"math"

	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
)

// Air is what is taken for the air around where no channel tells.
type Air struct {
	Pressure float64 // Pa, absolute; 0: sea level
}

// assumedOutdoor stands in for a missing outdoor reading, °C: the middle of a heating
// season. 15 K more or less are 10 to 15 % of the drive of a hot flue.
const assumedOutdoor = 3.0

// Of returns the drive in Pa/m of the flue's temperature, NaN without a possible one;
// measured says whether the outdoor temperature was. The error is that of the flue probe:
// 10 K are about 3 % of a hot flue's drive.
func (a Air) Of(v *frame.Values) (drive float64, measured bool) {
	flue := v[frame.Flue]
	if !(flue > coldest && flue < hottest) {
		return math.NaN(), false
	}
	pressure := a.Pressure
	if p := v[frame.Ambient]; p > thinnest && p < densest {
		pressure = p
	}
	if pressure == 0 {
		pressure = gas.SeaLevel
	}
	outdoor := assumedOutdoor
	if o := v[frame.Outdoor]; o > coldest && o < hottestDay {
		outdoor, measured = o, true
	}
	return chimney.Theoretical(1, pressure, airConstant, outdoor, flue), measured
}

// What air and flue gas can be, °C and Pa: beyond is nonsense, and counts as no reading.
const (
	coldest, hottest  = -60.0, 1600.0
	hottestDay        = 55.0
	thinnest, densest = 50e3, 110e3
)

// airConstant is the gas constant of dry air, J/(kg K); that of flue gas of wood differs
// by less than 0.3 %.
var airConstant = gas.DryAir().Constant()
