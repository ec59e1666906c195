package plausible_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"

	"pgregory.net/rapid"
)

// powers is a fire whose gas loses what it loses by a power of how strong it burns, seen by
// three probes.
func powers(strength func(h float64) float64) func(time.Duration) frame.Values {
	return func(at time.Duration) frame.Values {
		v := steady(at)
		q := strength(at.Hours()) * (1 + 0.03*math.Sin(at.Minutes()/3))
		v[frame.Firebox] = 20 + 600*math.Pow(q, 0.6)
		v[frame.Chamber] = 20 + 550*math.Pow(q, 0.5)
		v[frame.Flue] = 20 + 230*q
		return v
	}
}

// ordinary is lit, burns down over hours and is stoked again.
func ordinary(h float64) float64 {
	lit := 1 - math.Exp(-h/0.15)
	return lit * (1 - 0.25*math.Mod(h, 3)/3)
}

// With every finding stands whether the hazards are still judged by the reading.
func TestAProbeThatStrays(t *testing.T) {
	const begins = 80 * time.Minute
	since := func(at time.Duration) float64 { return max(0, (at - begins).Hours()) }
	blower := func(at time.Duration) float64 { return 1 - math.Exp(-since(at)*60/2.5) }
	tests := map[string]struct {
		lie     func(at time.Duration, v *frame.Values)
		accused frame.Channel // Count: none
	}{
		"the chamber sinks by 120 K an hour": {func(at time.Duration, v *frame.Values) { v[frame.Chamber] -= 120 * since(at) }, frame.Chamber},
		"the chamber climbs, as in a danger": {func(at time.Duration, v *frame.Values) { v[frame.Chamber] += 120 * since(at) }, frame.Count},
		"the flue sinks":                     {func(at time.Duration, v *frame.Values) { v[frame.Flue] -= 120 * since(at) }, frame.Flue},
		"the flue climbs, as in a danger":    {func(at time.Duration, v *frame.Values) { v[frame.Flue] += 120 * since(at) }, frame.Count},
		"nothing":                            {func(time.Duration, *frame.Values) {}, frame.Count},
		"the firebox warms for hours":        {func(at time.Duration, v *frame.Values) { v[frame.Firebox] += 90 * since(at) }, frame.Count},
		"the blower comes on": {func(at time.Duration, v *frame.Values) {
			v[frame.Flue] -= 0.25 * (v[frame.Flue] - 20) * blower(at)
			v[frame.Plenum] += 25 * (1 - blower(at))
		}, frame.Count},
		"the blower comes on, unseen": {func(at time.Duration, v *frame.Values) {
			v[frame.Flue] -= 0.25 * (v[frame.Flue] - 20) * blower(at)
			v[frame.Plenum] = math.NaN()
		}, frame.Count},
		"the flue sinks, with no warm air to tell it from air that is shut": {func(at time.Duration, v *frame.Values) {
			v[frame.Flue] -= 150 * since(at)
			v[frame.Plenum] = math.NaN()
		}, frame.Count},
		"the air is shut by degrees": {func(at time.Duration, v *frame.Values) {
			v[frame.Flue] -= 150 * since(at)
			v[frame.Plenum] -= 20 * since(at)
		}, frame.Count},
		"the blower stops": {func(at time.Duration, v *frame.Values) {
			v[frame.Flue] += 70 * blower(at)
			v[frame.Plenum] += 40 * since(at)
		}, frame.Count},
		"the fire outruns its exchanger": {func(at time.Duration, v *frame.Values) {
			v[frame.Firebox] += 250 * since(at)
			v[frame.Chamber] += 250 * since(at)
			v[frame.Flue] += 200 * since(at)
		}, frame.Count},
		"a fire in the flue that grows": {func(at time.Duration, v *frame.Values) {
			v[frame.Flue] += 200 * since(at)
			v[frame.Draft] += 8 * since(at)
		}, frame.Count},
		"the whole fire dies": {func(at time.Duration, v *frame.Values) {
			for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
				v[c] = 20 + (v[c]-20)*math.Exp(-since(at)*float64(1+c)/2)
			}
		}, frame.Count},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.course = powers(ordinary)
			s.lie = tt.lie
			s.run(begins + 38*time.Minute)
			for c, code := range s.accused {
				if c != tt.accused {
					t.Errorf("%v is accused of %q at %v", c, code, s.first[c])
				}
			}
			if tt.accused == frame.Count {
				return
			}
			if got := s.accused[tt.accused]; got != plausible.Strayed || plausible.Distrusts(got) || s.first[tt.accused] < begins {
				t.Errorf("%q from %v", got, s.first[tt.accused])
			}
		})
	}
}

// It is over when the probe reads as it did.
func TestAProbeThatStrayedAndIsPutRight(t *testing.T) {
	s := newSite()
	s.course = powers(ordinary)
	wrong := true
	s.lie = func(at time.Duration, v *frame.Values) {
		if wrong {
			v[frame.Chamber] -= max(0, 120*(at-80*time.Minute).Hours())
		}
	}
	s.run(2 * time.Hour)
	if s.found[frame.Chamber] != plausible.Strayed {
		t.Fatalf("%q", s.found[frame.Chamber])
	}
	wrong = false
	if s.run(30 * time.Minute); s.found[frame.Chamber] != "" {
		t.Errorf("put right: %q", s.found[frame.Chamber])
	}
}

// Whatever three probes do in a fire, half a minute from frame to frame: the firebox does
// not stray, what is found is a code that is listed, and nothing is said of a reading that
// is not there.
func TestTheFireboxIsAWitness(t *testing.T) {
	type spell struct {
		slopes frame.Values // K a frame
		gone   frame.Channel
		frames int
	}
	even := spell{gone: frame.Count, frames: 100} // something to know
	// play returns in how many frames something strayed.
	play := func(t interface{ Fatalf(string, ...any) }, spells ...spell) (strayed int) {
		var r plausible.Rules
		in := plausible.Inputs{Phase: burn.CleanBurn}
		for c := range in.Values {
			in.Values[c] = math.NaN()
		}
		levels := frame.Values{frame.Firebox: 620, frame.Chamber: 570, frame.Flue: 250, frame.Draft: 12}
		for _, s := range append([]spell{even}, spells...) {
			for range s.frames {
				in.At += 30 * time.Second
				for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue, frame.Draft} {
					levels[c] += s.slopes[c]
					if in.Values[c] = levels[c]; c == s.gone {
						in.Values[c] = math.NaN()
					}
				}
				for c, code := range r.Step(in) {
					if code == plausible.Strayed {
						strayed++
					}
					if code == plausible.Strayed && frame.Channel(c) == frame.Firebox || code != "" && math.IsNaN(in.Values[c]) {
						t.Fatalf("%v: %q at %v", frame.Channel(c), code, in.Values[c])
					}
				}
			}
		}
		return strayed
	}
	if play(t, spell{slopes: frame.Values{frame.Chamber: -4}, gone: frame.Count, frames: 60}) == 0 {
		t.Error("a chamber that sinks beside two that burn on does not stray: this proves nothing")
	}
	rapid.Check(t, func(t *rapid.T) {
		var spells []spell
		for range rapid.IntRange(0, 11).Draw(t, "spells") {
			var s spell
			for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
				s.slopes[c] = rapid.SampledFrom([]float64{0, 0, 0, 1, -1, 4, -4}).Draw(t, "slope")
			}
			s.gone = rapid.SampledFrom([]frame.Channel{frame.Count, frame.Count, frame.Firebox, frame.Chamber, frame.Flue}).Draw(t, "gone")
			s.frames = rapid.IntRange(1, 60).Draw(t, "frames")
			spells = append(spells, s)
		}
		play(t, spells...)
	})
}
