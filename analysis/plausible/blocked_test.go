package plausible_test

import (
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
)

// shutIn is a hose that is closed with its pressure in it, beside a sensor that hears itself
// with so much of the gas' movement.
func shutIn(hears float64) func(float64, *frame.Values) {
	return func(_ float64, v *frame.Values) { v[frame.Draft] = 12 + hears*(v[frame.Draft]-12) }
}

// A sensor that hears itself leaves a still hose with a part of the movement that there was,
// and now and then with more of it, or with a reading that is far off.
func TestABlockedHoseBesideANoisySensor(t *testing.T) {
	s := newSite()
	s.noise[frame.Draft] = 0.35
	still := after(shutIn(0.45))
	s.lie = func(at time.Duration, v *frame.Values) {
		still(at, v)
		if at > lied && int(at.Seconds())%1200 == 0 {
			v[frame.Draft] += 40
		}
	}
	s.run(lied)
	if len(s.accused) > 0 {
		t.Fatalf("accused before: %v", s.accused)
	}
	s.run(18 * time.Minute)
	for range 3 * 60 {
		if s.run(time.Minute); s.found[frame.Draft] != plausible.TubeBlocked {
			t.Fatalf("%q at %v", s.found[frame.Draft], s.in.At)
		}
	}
	s.lie = func(time.Duration, *frame.Values) {}
	if s.run(2 * time.Minute); s.found[frame.Draft] != "" {
		t.Errorf("cleaned: %q", s.found[frame.Draft])
	}
}

// A door stirs the draft for a minute; a hose may be blocked soon after. Where the level went
// with the movement it is the chimney that is shut.
func TestAHoseBlockedAfterADoor(t *testing.T) {
	for name, tt := range map[string]struct {
		level float64
		want  string
	}{
		"the level stays": {12, plausible.TubeBlocked},
		"the level falls": {7, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.lie = func(at time.Duration, v *frame.Values) {
				switch door := lied - 5*time.Minute; {
				case at >= lied:
					v[frame.Draft] = tt.level + 0.3*(v[frame.Draft]-12)
				case at >= door && at < door+time.Minute:
					v[frame.Draft] = 9 + 5*(v[frame.Draft]-12)
				}
			}
			s.run(lied + 15*time.Minute)
			if got := s.found[frame.Draft]; got != tt.want {
				t.Errorf("%q, want %q", got, tt.want)
			}
		})
	}
}
