package plausible_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
)

// growing is a fire that is lit, burns low and grows again at the given time, as after wood
// was laid on: the courses of its gas bend. flue is what share of the chamber's rise is left
// behind it.
func growing(again time.Duration, flue func(time.Duration) float64) func(time.Duration) frame.Values {
	return func(at time.Duration) frame.Values {
		v := steady(at)
		lit := 1 - math.Exp(-at.Minutes()/8)
		more := max(0, (at - again).Minutes())
		gas := 350*lit + 400*more*more/(30+more*more)
		v[frame.Firebox] = 20 + 0.9*gas
		v[frame.Chamber] = 20 + gas
		v[frame.Flue] = 20 + flue(at)*gas
		return v
	}
}

// A flue probe that slips while the fire grows shows by the share that it always had. A
// bypass flap that shuts in the first fire takes the flue down as far, and nothing is known
// yet of the share behind it.
func TestAProbeThatSlipsWhileTheFireGrows(t *testing.T) {
	const again = 2 * time.Hour
	fallen := func(from, at time.Duration, to float64) float64 {
		return 0.4 - (0.4-to)*(1-math.Exp(-max(0, (at-from).Minutes())))
	}
	for name, tt := range map[string]struct {
		course func(time.Duration) frame.Values
		want   string
	}{
		"slips":            {growing(again, func(at time.Duration) float64 { return fallen(again+5*time.Minute, at, 0.2) }), plausible.ProbeSlipped},
		"does not":         {growing(again, func(time.Duration) float64 { return 0.4 }), ""},
		"a fan":            {growing(again, func(at time.Duration) float64 { return fallen(again+5*time.Minute, at, 0.3) }), ""},
		"flap in lighting": {growing(20*time.Minute, func(at time.Duration) float64 { return fallen(25*time.Minute, at, 0.2) }), ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.course = tt.course
			s.run(again + 20*time.Minute)
			if got := s.accused[frame.Flue]; got != tt.want {
				t.Errorf("%q, want %q", got, tt.want)
			}
		})
	}
}
