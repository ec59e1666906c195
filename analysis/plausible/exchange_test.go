package plausible_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
)

// An exchange is known in the frame in which it happens, with where each sensor is now,
// and so is its end.
func TestAnExchangeIsKnownAtOnce(t *testing.T) {
	s := newSite()
	s.lie = after(exchange(frame.Chamber, frame.Flue))
	s.run(lied)
	if got := s.rules.Place(frame.Flue); got != frame.Flue || len(s.accused) > 0 {
		t.Fatalf("before: the flue's probe is at %v, accused %v", got, s.accused)
	}
	s.run(time.Second)
	if s.found[frame.Flue] != plausible.ChannelsSwapped || s.found[frame.Chamber] != plausible.ChannelsSwapped {
		t.Errorf("in its frame: %q and %q", s.found[frame.Flue], s.found[frame.Chamber])
	}
	for range 120 {
		if got := s.rules.Place(frame.Flue); got != frame.Chamber {
			t.Fatalf("at %v the flue's probe is at %v", s.in.At, got)
		}
		s.run(time.Second)
	}
	s.lie = func(time.Duration, *frame.Values) {}
	for range 120 {
		s.run(time.Second)
		if got := s.rules.Place(frame.Flue); got != frame.Flue {
			t.Fatalf("put right, at %v the flue's probe is at %v", s.in.At, got)
		}
	}
	if s.found[frame.Flue] != "" {
		t.Errorf("put right: %q", s.found[frame.Flue])
	}
}

// lighting is a furnace lit at ten minutes; share is how much of the gas' rise reaches the
// chamber, the rest of it passing by a flap.
func lighting(share float64) func(time.Duration) frame.Values {
	return func(at time.Duration) frame.Values {
		v := steady(at)
		since := max(0, at-10*time.Minute).Minutes()
		lit := 1 - math.Exp(-since/12)
		v[frame.Firebox] = 20 + 600*lit
		v[frame.Chamber] = 20 + share*550*lit
		v[frame.Flue] = 20 + 280*lit
		v[frame.Plenum] = 20 + 32*(1-math.Exp(-since/60))
		return v
	}
}

// Wires that were crossed before the first fire are named before the hotter reading has
// reached an ordinary flue's limit, or an ordinary limit of the warm air.
func TestCrossedWiresAreNamedInTheFirstFire(t *testing.T) {
	for name, tt := range map[string]struct {
		a, b  frame.Channel
		limit float64 // of b
	}{
		"chamber and flue":   {frame.Chamber, frame.Flue, 482},
		"chamber and plenum": {frame.Chamber, frame.Plenum, 200},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.course = lighting(1)
			s.lie = func(_ time.Duration, v *frame.Values) { exchange(tt.a, tt.b)(0, v) }
			for s.in.At < time.Hour && s.found[tt.b] == "" {
				s.run(time.Second)
			}
			if s.found[tt.b] != plausible.ChannelsSwapped || s.found[tt.a] != plausible.ChannelsSwapped || s.held[tt.b] > tt.limit {
				t.Errorf("at %v and %.0f °C: %q and %q", s.in.At, s.held[tt.b], s.found[tt.a], s.found[tt.b])
			}
			s.run(2 * time.Hour)
			if s.found[tt.b] != plausible.ChannelsSwapped {
				t.Errorf("later %q", s.found[tt.b])
			}
		})
	}
}

// A flap that leads the gas round the chamber makes the flue the hotter one too. Where the
// order was right in a fire before, and no wire was off since, it has its time.
func TestAFlapIsNoCrossedWire(t *testing.T) {
	s := newSite()
	s.course = lighting(1)
	s.run(time.Hour)
	s.course = func(at time.Duration) frame.Values {
		v := lighting(1)(time.Hour)
		for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
			v[c] = 20 + (v[c]-20)*math.Exp(-(at-time.Hour).Minutes()/20)
		}
		return v
	}
	s.run(2 * time.Hour)
	start := s.in.At
	s.course = func(at time.Duration) frame.Values { return lighting(0.2)(at - start) }
	s.run(22 * time.Minute)
	if len(s.accused) > 0 {
		t.Errorf("accused: %v at %v", s.accused, s.first)
	}
	if s.held[frame.Flue] < s.held[frame.Chamber]+40 {
		t.Errorf("the flap did nothing: flue %.0f, chamber %.0f", s.held[frame.Flue], s.held[frame.Chamber])
	}
}

// Kindling can set the flue on fire while all is nearly cold: it is then by far the hotter
// one, and nobody's wires are crossed.
func TestAFireInTheFlueAtLighting(t *testing.T) {
	for name, ahead := range map[string]float64{"the chamber ahead": 25, "the flue ahead": -5} {
		s := newSite()
		s.course = func(at time.Duration) frame.Values {
			v := steady(at)
			since := max(0, at-10*time.Minute).Minutes()
			v[frame.Firebox] = math.NaN()
			v[frame.Chamber], v[frame.Flue] = 20+1.5*since, 20+1.5*since-ahead*min(1, since/5)
			if burnt := since - 15; burnt > 0 {
				v[frame.Flue] += 290 * (1 - math.Exp(-burnt)) * math.Exp(-max(0, burnt-5)/3)
			}
			return v
		}
		s.run(40 * time.Minute)
		if s.accused[frame.Flue] != "" || s.accused[frame.Chamber] != "" {
			t.Errorf("%s: accused %v at %v", name, s.accused, s.first)
		}
	}
}

// coldSite is a furnace that has been out for long, with a clear sky.
func coldSite() *site {
	s := newSite()
	s.in.Phase = burn.Cold
	s.noise[frame.Draft] = 0.1
	s.course = coldAt(4)
	return s
}

func coldAt(draft float64) func(time.Duration) frame.Values {
	return func(time.Duration) frame.Values {
		v := frame.Values{frame.Firebox: 20, frame.Chamber: 20, frame.Flue: 19, frame.Plenum: 20, frame.Return: 19, frame.Room: 20, frame.Outdoor: 2, frame.Ambient: 97000}
		v[frame.Draft] = draft
		return v
	}
}

// from changes what there is from two hours on; hours counts from there.
func from(change func(hours float64, v *frame.Values)) func(time.Duration, *frame.Values) {
	return func(at time.Duration, v *frame.Values) {
		if at >= 2*time.Hour {
			change((at - 2*time.Hour).Hours(), v)
		}
	}
}

func TestAZeroThatWanders(t *testing.T) {
	tests := map[string]struct {
		change func(float64, *frame.Values)
		want   string
	}{
		"upwards":              {func(h float64, v *frame.Values) { v[frame.Draft] += 2.5 * h }, plausible.ZeroDrift},
		"below nothing":        {func(h float64, v *frame.Values) { v[frame.Draft] -= 4.5 * h }, plausible.ZeroDrift},
		"a chimney that cools": {func(h float64, v *frame.Values) { v[frame.Draft] = 1 + 3*math.Exp(-h) + (v[frame.Draft] - 4) }, ""},
		"a night that grows cold": {func(h float64, v *frame.Values) {
			v[frame.Outdoor] -= 4 * h
			v[frame.Draft] += 1.7 * h
		}, ""},
		"upwards on a day that grows warm": {func(h float64, v *frame.Values) {
			v[frame.Outdoor] += 2 * h
			v[frame.Draft] += 1.2 * h
		}, plausible.ZeroDrift},
		"upwards, and nobody measures the sky": {func(h float64, v *frame.Values) {
			v[frame.Outdoor] = math.NaN()
			v[frame.Draft] += 4 * h
		}, plausible.ZeroDrift},
		"a night that grows cold, unseen": {func(h float64, v *frame.Values) {
			v[frame.Outdoor] = math.NaN()
			v[frame.Draft] += 1.5 * h
		}, ""},
		"a kitchen hood": {func(h float64, v *frame.Values) {
			if math.Mod(h, 0.5) < 0.25 {
				v[frame.Draft] -= 10
			}
		}, ""},
		"a wind that rises": {func(h float64, v *frame.Values) {
			gust := math.Sin(h * 3600)
			v[frame.Draft] += min(h, 1) * (3 + 0.8*gust)
		}, ""},
		"a wind that rises, in squalls of minutes": {func(h float64, v *frame.Values) {
			squall := math.Sin(h * 60 * 2 * math.Pi / 3)
			v[frame.Draft] += min(h, 1) * (3.2 + 1.8*squall)
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := coldSite()
			s.lie = from(tt.change)
			s.run(4 * time.Hour)
			if got := s.accused[frame.Draft]; got != tt.want {
				t.Errorf("%q at %v, want %q", got, s.first[frame.Draft], tt.want)
			}
			if s.first[frame.Draft] > 0 && s.first[frame.Draft] < 2*time.Hour {
				t.Errorf("accused at %v, before anything was wrong", s.first[frame.Draft])
			}
		})
	}
}

// A hose that is blocked stays so when the fire goes out and is lit again, and is right
// again when the draft moves.
func TestABlockedHoseStaysBlocked(t *testing.T) {
	s := newSite()
	shut := func(at time.Duration, v *frame.Values) {
		if at >= lied {
			v[frame.Draft] = 12*math.Exp(-(at-lied).Hours()) + 0.05*(v[frame.Draft]-12)
		}
	}
	s.lie = shut
	s.run(lied + 10*time.Minute)
	s.in.Phase = burn.Cold
	s.run(2 * time.Hour)
	s.in.Phase = burn.CleanBurn
	s.run(10 * time.Minute)
	if got := s.found[frame.Draft]; got != plausible.TubeBlocked {
		t.Errorf("in the next fire: %q", got)
	}
	s.lie = func(time.Duration, *frame.Values) {}
	if s.run(2 * time.Minute); s.found[frame.Draft] != "" {
		t.Errorf("cleaned: %q", s.found[frame.Draft])
	}
}

// A sensor that hears mostly itself needs longer to tell that its hose is off, and is not
// believed to say so of a draft that came to rest beside its zero.
func TestAHoseOffANoisySensor(t *testing.T) {
	for rest, want := range map[float64]string{0: plausible.HoseOff, 0.4: plausible.DraftGone} {
		s := newSite()
		s.lie = after(func(_ float64, v *frame.Values) { v[frame.Draft] = rest + 0.65*(v[frame.Draft]-12) })
		s.run(lied + 65*time.Second)
		if got := s.found[frame.Draft]; got != want {
			t.Errorf("at %g Pa: %q, want %q", rest, got, want)
		}
	}
}

// A draft that repeats one value beside a fire has stopped, unless it is none.
func TestADraftThatStands(t *testing.T) {
	for level, want := range map[float64]string{12: plausible.Frozen, 0: ""} {
		s := newSite()
		s.noise[frame.Draft] = 0.03 // so little that no movement is known
		s.course = func(at time.Duration) frame.Values {
			v := steady(at)
			v[frame.Draft] = level
			return v
		}
		s.lie = func(at time.Duration, v *frame.Values) {
			v[frame.Draft] = math.Round(v[frame.Draft]/0.1) * 0.1
			if at >= lied {
				v[frame.Draft] = level
			} else if int(at.Seconds())%20 == 0 {
				v[frame.Draft] += 0.1
			}
		}
		s.run(lied + 15*time.Minute)
		if got := s.found[frame.Draft]; (got == plausible.Frozen) != (want == plausible.Frozen) {
			t.Errorf("at %g Pa: %q, want %q", level, got, want)
		}
	}
}

// A chamber probe that lies in the room has not changed places with the flue's, however hot
// that is in the next fire.
func TestAProbeThatIsOutIsNotExchanged(t *testing.T) {
	s := newSite()
	s.course = func(at time.Duration) frame.Values {
		v := steady(at)
		v[frame.Flue] = 20 + 280*min(1, at.Minutes()/20)
		v[frame.Firebox], v[frame.Chamber] = math.NaN(), 20
		return v
	}
	s.run(90 * time.Minute)
	if !plausible.Distrusts(s.found[frame.Chamber]) {
		t.Errorf("chamber: %q", s.found[frame.Chamber])
	}
	if code, ok := s.accused[frame.Flue]; ok {
		t.Errorf("the flue is accused of %q", code)
	}
}

// A reading that is lost now and then is no end of what the others show.
func TestLostReadingsHideNoExchange(t *testing.T) {
	within := func(lose bool) time.Duration {
		s := newSite()
		s.course = lighting(1)
		s.lie = func(at time.Duration, v *frame.Values) {
			exchange(frame.Chamber, frame.Flue)(0, v)
			if lose && int(at.Seconds())%50 == 0 {
				v[frame.Flue], v[frame.Room] = math.NaN(), math.NaN()
			}
			if lose && int(at.Seconds())%30 == 1 {
				v[frame.Chamber] = math.NaN()
			}
		}
		s.run(40 * time.Minute)
		if s.accused[frame.Flue] != plausible.ChannelsSwapped {
			t.Fatalf("%q", s.accused[frame.Flue])
		}
		return s.first[frame.Flue]
	}
	if all, some := within(false), within(true); some > all+30*time.Second {
		t.Errorf("found at %v, with lost readings at %v", all, some)
	}
}

// A reading of one of two that were exchanged gets lost now and then: the other one is in
// the wrong place all the same.
func TestALostReadingEndsNoExchange(t *testing.T) {
	s := newSite()
	swap := exchange(frame.Chamber, frame.Flue)
	s.lie = after(func(since float64, v *frame.Values) {
		if swap(since, v); math.Mod(since, 97) == 96 {
			v[frame.Chamber] = math.NaN()
		}
	})
	s.run(lied + time.Minute)
	for range 300 {
		s.run(time.Second)
		if got := s.found[frame.Flue]; got != plausible.ChannelsSwapped {
			t.Fatalf("%v after the exchange: %q", s.in.At-lied, got)
		}
	}
}
