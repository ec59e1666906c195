package plausible_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
)

// swaying is a chimney's draft, with a sway that has a memory, beside a sensor that hears
// itself more than it.
func swaying(s *site) (sways func() float64) {
	s.noise[frame.Draft] = 0
	last := 0.0
	return func() float64 {
		last = 0.72*last + 0.35*s.rng.Normal()
		return last
	}
}

// A hose that comes off leaves a sensor that hears mostly itself at its zero, at once and
// without the sway; a fan takes seconds and leaves the sway, or goes below nothing.
func TestAtOnceAndWithoutTheSwayIsTheHose(t *testing.T) {
	for name, tt := range map[string]struct {
		takes float64 // s
		level float64 // Pa
		sways float64 // share of it
		off   bool
	}{
		"the hose":                       {0, 0, 0, true},
		"a fan that leaves the sway":     {8, 0, 1, false},
		"at once, with all of the sway":  {0, 0, 1, false},
		"at once, to the least below it": {0, -0.45, 0, false},
	} {
		s := newSite()
		sway := swaying(s)
		s.lie = func(at time.Duration, v *frame.Values) {
			level, share := 12.0, 1.0
			if at >= lied {
				level, share = tt.level, tt.sways
				if since := (at - lied).Seconds(); since < tt.takes {
					level, share = 12-float64((12-tt.level)*since/tt.takes), 1
				}
			}
			v[frame.Draft] = level + float64(share*sway()) + 0.2*s.rng.Normal()
		}
		s.run(lied + 40*time.Second)
		if got := s.found[frame.Draft]; (got == plausible.HoseOff) != tt.off || plausible.Distrusts(got) != tt.off {
			t.Errorf("%s: %q", name, got)
		}
	}
}

// What was found of the hose stands for as long as it is off: doors of the house are shut, the
// sensor's zero wanders, and the fire burns down.
func TestAHoseThatStaysOff(t *testing.T) {
	for name, tt := range map[string]struct {
		left float64 // of the movement
		want string
	}{"at once": {0.05, plausible.HoseOff}, "beside gas that moves": {1, plausible.DraftGone}} {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.course = func(at time.Duration) frame.Values {
				v := steady(at)
				if since := at - lied; since > 15*time.Minute {
					v[frame.Flue] -= min(60, since.Minutes()-15)
				}
				return v
			}
			s.lie = after(func(since float64, v *frame.Values) {
				v[frame.Draft] = float64(tt.left*(v[frame.Draft]-12)) + min(0.35, since/20000) + 0.05*s.rng.Normal()
				if math.Mod(since, 1200) > 1196 {
					v[frame.Draft] += 2
				}
			})
			if s.run(lied + 12*time.Minute); s.found[frame.Draft] != tt.want {
				t.Fatalf("%q", s.found[frame.Draft])
			}
			for range 600 {
				if s.run(30 * time.Second); s.found[frame.Draft] != tt.want {
					t.Fatalf("%q after %v", s.found[frame.Draft], s.in.At-lied)
				}
			}
			s.lie = func(time.Duration, *frame.Values) {}
			if s.run(10 * time.Minute); s.found[frame.Draft] != "" {
				t.Errorf("it is on again, and %q", s.found[frame.Draft])
			}
		})
	}
}

// What was taken for the hose and then goes below nothing is a draft that has turned.
func TestBelowNothingIsNoHose(t *testing.T) {
	s := newSite()
	s.lie = after(func(since float64, v *frame.Values) {
		v[frame.Draft] *= 0.01
		if since >= 60 {
			v[frame.Draft] -= 0.6
		}
	})
	if s.run(lied + 50*time.Second); s.found[frame.Draft] != plausible.HoseOff {
		t.Fatalf("%q", s.found[frame.Draft])
	}
	if s.run(40 * time.Second); plausible.Distrusts(s.found[frame.Draft]) {
		t.Errorf("still %q", s.found[frame.Draft])
	}
}

// A reading at nothing beside a fire that goes on is not distrusted, however long: gas that
// leaves by the regulator's gate into the room keeps the collar hot.
func TestAFireThatGoesOnDisprovesNothing(t *testing.T) {
	s := newSite()
	s.lie = after(func(_ float64, v *frame.Values) { v[frame.Draft] -= 12 })
	if s.run(lied + time.Hour); plausible.Distrusts(s.found[frame.Draft]) {
		t.Errorf("%q", s.found[frame.Draft])
	}
}

// A zero that wandered in the cold is wrong in the fire as well, and a low chimney shows it
// where a tall one would not.
func TestAWanderedZeroStaysWrongInTheFire(t *testing.T) {
	for height, want := range map[float64]string{0: "", math.NaN(): "", 4.6: plausible.ZeroDrift} {
		h := newHouse()
		h.cold()
		h.in.Height = height
		h.level = 3
		h.run(2 * time.Hour)
		for range 150 {
			h.level += 0.035
			h.run(time.Minute)
		}
		if got := h.found[frame.Draft]; got != want {
			t.Errorf("%g m: %q, want %q", height, got, want)
		}
		h.in.Phase = burn.CleanBurn
		h.set(frame.Flue, 220)
		h.level += 6
		if h.run(time.Hour); h.found[frame.Draft] != want {
			t.Errorf("%g m, lit: %q, want %q", height, h.found[frame.Draft], want)
		}
	}
}

// A hose that comes off in the cold is told before the next fire. Only a damper stops a cold
// chimney as quickly, so that it is distrusted no more as soon as anything burns.
func TestAHoseThatComesOffInTheCold(t *testing.T) {
	for name, tt := range map[string]struct {
		lie  func(s *site, since float64, draft float64) float64 // Pa
		told bool
	}{
		"the hose":           {func(s *site, _, _ float64) float64 { return 0.02 * s.rng.Normal() }, true},
		"the wind dies":      {func(s *site, since, d float64) float64 { return d * math.Exp(-since/60) }, false},
		"a fan goes on":      {func(s *site, _, d float64) float64 { return d - 6 }, false},
		"a window is opened": {func(s *site, _, d float64) float64 { return d - 4 }, false},
		"a gust the other way": {func(s *site, since, d float64) float64 {
			if since < 15 {
				return 0.02 * s.rng.Normal()
			}
			return d
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.in.Phase = burn.Cold
			warm := 0.0
			s.course = func(at time.Duration) frame.Values {
				v := steady(at)
				v[frame.Firebox], v[frame.Chamber], v[frame.Flue] = 22, 22, 21+warm
				v[frame.Plenum], v[frame.Draft] = 20, 6
				return v
			}
			s.lie = after(func(since float64, v *frame.Values) { v[frame.Draft] = tt.lie(s, since, v[frame.Draft]) })
			s.run(lied + 2*time.Minute)
			if got := s.found[frame.Draft]; (got == plausible.HoseOff) != tt.told || !tt.told && got != "" {
				t.Fatalf("%q", got)
			}
			warm = 8
			if s.run(2 * time.Minute); plausible.Distrusts(s.found[frame.Draft]) {
				t.Errorf("something burns, and it is still %q", s.found[frame.Draft])
			}
			if got := s.found[frame.Draft]; tt.told && got != plausible.DraftGone {
				t.Errorf("with the fire: %q", got)
			}
		})
	}
}
