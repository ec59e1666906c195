package path

import "time"

// sheaths holds the time to 90 % of a step in air of mineral-insulated probes, as a
// thermocouple maker's data sheet prints them for insulated junctions. Divided by ln 10
// they are the time constants of a first-order lag. The printed pairs of 50 % and 90 % agree
// with that form to 10 %; the figures themselves are uncertain by a factor of two, since
// they depend on how fast the gas moves.
var sheaths = []struct {
	millimetres float64
	t90         time.Duration
}{
	{1.5, 25 * time.Second},
	{3, 80 * time.Second},
	{4.5, 120 * time.Second},
	{6, 200 * time.Second},
	{8, 360 * time.Second},
}

const ln10 = 2.302585092994046

// SheathTimeConstant returns the time constant of a probe of that diameter in slow air,
// for the diameters that were published.
func SheathTimeConstant(millimetres float64) (time.Duration, bool) {
	for _, s := range sheaths {
		if s.millimetres == millimetres {
			return time.Duration(float64(s.t90) / ln10).Round(time.Second), true
		}
	}
	return 0, false
}

// Sheaths lists the diameters that SheathTimeConstant knows, in mm.
func Sheaths() []float64 {
	all := make([]float64, len(sheaths))
	for i, s := range sheaths {
		all[i] = s.millimetres
	}
	return all
}
