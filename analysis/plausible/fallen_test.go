package plausible_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
)

// reloaded is a furnace on coals for an hour, whose fire then grows within minutes.
func reloaded(at time.Duration) frame.Values {
	v := steady(at)
	coals := math.Exp(-at.Hours())
	more := 1 - math.Exp(-max(0, (at-time.Hour).Minutes())/5)
	v[frame.Firebox] = 20 + 200*coals + 330*more
	v[frame.Chamber] = 20 + 150*coals + 480*more
	v[frame.Flue] = 20 + 65*coals + 170*more
	v[frame.Plenum] = 36 + 15*more
	return v
}

// dangles is a flue's probe beside the pipe, whose warmth it feels.
func dangles(from time.Duration) func(time.Duration, *frame.Values) {
	return func(at time.Duration, v *frame.Values) {
		if at >= from {
			left := 0.12 + 0.88*math.Exp(-(at-from).Minutes()/3)
			v[frame.Flue] = v[frame.Room] + left*(v[frame.Flue]-v[frame.Room])
		}
	}
}

// A probe that hangs beside the pipe is warmed by it, and fell when nothing told: it shows by
// the fire that grows, whoever else sees that.
func TestAProbeThatFellBeforeTheFireGrows(t *testing.T) {
	for name, tt := range map[string]struct {
		without []frame.Channel
		fell    time.Duration
		by      time.Duration
	}{
		"before all":           {nil, 0, 80 * time.Minute},
		"seen by the chamber":  {[]frame.Channel{frame.Firebox, frame.Plenum, frame.Room, frame.Draft}, 0, 80 * time.Minute},
		"seen by the firebox":  {[]frame.Channel{frame.Chamber, frame.Plenum}, 0, 90 * time.Minute},
		"in coals":             {nil, 40 * time.Minute, 55 * time.Minute},
		"in coals, no firebox": {[]frame.Channel{frame.Firebox, frame.Plenum}, 40 * time.Minute, 55 * time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.course = reloaded
			lie := dangles(tt.fell)
			s.lie = func(at time.Duration, v *frame.Values) {
				lie(at, v)
				for _, c := range tt.without {
					v[c] = math.NaN()
				}
			}
			s.run(2 * time.Hour)
			if got := s.accused[frame.Flue]; got != plausible.ProbeOut || s.first[frame.Flue] > tt.by || s.found[frame.Flue] == "" {
				t.Errorf("%q from %v, at the end %q", got, s.first[frame.Flue], s.found[frame.Flue])
			}
			for _, c := range []frame.Channel{frame.Firebox, frame.Chamber} {
				if s.accused[c] != "" {
					t.Errorf("%v is accused of %q", c, s.accused[c])
				}
			}
		})
	}
}

// Air that is shut takes the flow to a quarter: the flue falls to half within minutes beside
// a chamber that stays hot, and the warm air after it.
func TestAirThatIsShutAccusesNobody(t *testing.T) {
	for name, without := range map[string][]frame.Channel{
		"all":               nil,
		"chamber and draft": {frame.Firebox, frame.Plenum, frame.Return, frame.Room},
		"no warm air":       {frame.Plenum},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.course = func(at time.Duration) frame.Values {
				v := steady(at)
				shut := 1 - math.Exp(-max(0, (at-time.Hour).Minutes())/1.5)
				cools := 1 - math.Exp(-max(0, (at-time.Hour).Minutes())/8)
				v[frame.Chamber] -= 40 * cools
				v[frame.Flue] = 20 + (v[frame.Flue]-20)*(1-0.5*shut)
				v[frame.Plenum] -= 16 * cools
				return v
			}
			s.lie = func(_ time.Duration, v *frame.Values) {
				for _, c := range without {
					v[c] = math.NaN()
				}
			}
			s.run(2 * time.Hour)
			for c, code := range s.accused {
				t.Errorf("%v is accused of %q at %v", c, code, s.first[c])
			}
		})
	}
}

// Kindling that dies leaves a furnace as cold as it was, and nobody's probe out.
func TestKindlingThatDiesAccusesNobody(t *testing.T) {
	s := newSite()
	s.course = func(at time.Duration) frame.Values {
		v := steady(at)
		flame := 0.0
		switch since := (at - 10*time.Minute).Minutes(); {
		case since > 6:
			flame = math.Exp(-(since - 6) / 0.4)
		case since > 0:
			flame = 1 - math.Exp(-since)
		}
		v[frame.Firebox], v[frame.Chamber], v[frame.Flue] = 20+145*flame, 20+28*flame, 20+8*flame
		v[frame.Plenum], v[frame.Draft] = 20, 2
		return v
	}
	s.run(30 * time.Minute)
	for c, code := range s.accused {
		t.Errorf("%v is accused of %q at %v", c, code, s.first[c])
	}
}
