package plausible_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/internal/noise"
	"fluewright/analysis/plausible"
)

// site is a furnace with all channels once a second; a course says what there is, a lie
// what the sensors make of it.
type site struct {
	rules    plausible.Rules
	in       plausible.Inputs
	noise    frame.Values // standard deviations
	round    float64
	rng      noise.Source
	course   func(at time.Duration) frame.Values
	lie      func(at time.Duration, v *frame.Values)
	held     frame.Values
	found    plausible.Findings
	first    [frame.Count]time.Duration // when something was first found
	accused  map[frame.Channel]string   // all that was found
	pressure float64
}

func newSite() *site {
	s := &site{rng: 7, course: steady, lie: func(time.Duration, *frame.Values) {}, round: 0.25, accused: map[frame.Channel]string{}}
	for c := range s.noise {
		s.noise[c] = 0.3
	}
	s.noise[frame.Draft] = 0.25
	s.noise[frame.Ambient] = 3
	s.in.Phase = burn.CleanBurn
	return s
}

// steady is a clean burn that wanders as fires do.
func steady(at time.Duration) frame.Values {
	w := math.Sin(at.Minutes() / 4)
	return frame.Values{
		frame.Firebox: 650 + 25*w, frame.Chamber: 600 + 20*w, frame.Flue: 240 + 9*w,
		frame.Plenum: 52, frame.Return: 19, frame.Room: 20, frame.Outdoor: 2, frame.Draft: 12, frame.Ambient: 97000,
	}
}

func (s *site) run(d time.Duration) *site {
	for end := s.in.At + d; s.in.At < end; s.in.At += time.Second {
		v := s.course(s.in.At)
		for c := range v {
			v[c] += s.noise[c] * s.rng.Normal()
			if s.round > 0 && frame.Channel(c) != frame.Draft {
				v[c] = math.Round(v[c]/s.round) * s.round
			}
		}
		s.lie(s.in.At, &v)
		s.in.Values, s.in.SitePressure = v, s.pressure
		s.held = v
		s.found = s.rules.Step(s.in)
		for c, code := range s.found {
			if code != "" {
				if s.first[c] == 0 {
					s.first[c] = s.in.At
				}
				s.accused[frame.Channel(c)] = code
			}
		}
	}
	return s
}

const lied = 45 * time.Minute // so long nothing is wrong

// after is a lie from lied on; since counts seconds.
func after(do func(since float64, v *frame.Values)) func(time.Duration, *frame.Values) {
	return func(at time.Duration, v *frame.Values) {
		if at >= lied {
			do((at - lied).Seconds(), v)
		}
	}
}

// sink takes a probe's rise over the room down to a share of it, as quickly as its sheath.
func sink(c frame.Channel, to, tau float64) func(float64, *frame.Values) {
	return func(since float64, v *frame.Values) {
		v[c] = v[frame.Room] + (v[c]-v[frame.Room])*(to+(1-to)*math.Exp(-since/tau))
	}
}

func hold(c frame.Channel) func(float64, *frame.Values) {
	held := math.NaN()
	return func(_ float64, v *frame.Values) {
		if math.IsNaN(held) {
			held = v[c]
		}
		v[c] = held
	}
}

func exchange(a, b frame.Channel) func(float64, *frame.Values) {
	return func(_ float64, v *frame.Values) { v[a], v[b] = v[b], v[a] }
}

// What lies silently is named within 18 min, so that its alarm stands within 20, and
// nobody else is accused.
func TestSilentFaults(t *testing.T) {
	tests := map[string]struct {
		lie      func(float64, *frame.Values)
		channels []frame.Channel
		want     string
		within   time.Duration
	}{
		"a flue probe out":            {sink(frame.Flue, 0.01, 60), []frame.Channel{frame.Flue}, plausible.ProbeOut, 5 * time.Minute},
		"a flue probe half out":       {sink(frame.Flue, 0.4, 60), []frame.Channel{frame.Flue}, plausible.ProbeSlipped, 12 * time.Minute},
		"a chamber probe covered":     {sink(frame.Chamber, 0.5, 60), []frame.Channel{frame.Chamber}, plausible.ProbeCovered, 12 * time.Minute},
		"chamber and flue exchanged":  {exchange(frame.Chamber, frame.Flue), []frame.Channel{frame.Chamber, frame.Flue}, plausible.ChannelsSwapped, 30 * time.Second},
		"plenum and return exchanged": {exchange(frame.Plenum, frame.Return), []frame.Channel{frame.Plenum, frame.Return}, plausible.ChannelsSwapped, 30 * time.Second},
		"room and outdoor exchanged":  {exchange(frame.Room, frame.Outdoor), []frame.Channel{frame.Room, frame.Outdoor}, plausible.ChannelsSwapped, 30 * time.Second},
		"a frozen flue":               {hold(frame.Flue), []frame.Channel{frame.Flue}, plausible.Frozen, 8 * time.Minute},
		"a frozen plenum":             {hold(frame.Plenum), []frame.Channel{frame.Plenum}, plausible.Frozen, 8 * time.Minute},
		"a frozen room":               {hold(frame.Room), []frame.Channel{frame.Room}, plausible.Frozen, 8 * time.Minute},
		"a frozen barometer":          {hold(frame.Ambient), []frame.Channel{frame.Ambient}, plausible.Frozen, 8 * time.Minute},
		"a frozen draft":              {hold(frame.Draft), []frame.Channel{frame.Draft}, plausible.TubeBlocked, 8 * time.Minute},
		"a hose off": {
			func(since float64, v *frame.Values) { v[frame.Draft] *= 0.01 },
			[]frame.Channel{frame.Draft},
			plausible.HoseOff, 30 * time.Second,
		},
		"a hose that water closes, and that leaks": {
			func(since float64, v *frame.Values) {
				v[frame.Draft] = 12*math.Exp(-since/40) + 0.1*(v[frame.Draft]-12)
			},
			[]frame.Channel{frame.Draft},
			plausible.TubeBlocked, 4 * time.Minute,
		},
		"hoses exchanged": {
			func(_ float64, v *frame.Values) { v[frame.Draft] *= -1 },
			[]frame.Channel{frame.Draft},
			plausible.HoseSwapped, 2 * time.Minute,
		},
		"a loose contact": {
			func(since float64, v *frame.Values) {
				if int(since)%7 < 3 {
					v[frame.Flue] += 400
				}
			},
			[]frame.Channel{frame.Flue},
			plausible.Noisy, 3 * time.Minute,
		},
		"a thermocouple with its wires reversed": {
			func(_ float64, v *frame.Values) { v[frame.Plenum] = -20 - (v[frame.Plenum]-52)/2 },
			[]frame.Channel{frame.Plenum},
			plausible.Drifted, 12 * time.Minute,
		},
		"a barometer that is off": {
			func(_ float64, v *frame.Values) { v[frame.Ambient] -= 12e3 },
			[]frame.Channel{frame.Ambient},
			plausible.WrongAltitude, 6 * time.Minute,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.pressure = 98e3
			s.lie = after(tt.lie)
			s.run(lied)
			if len(s.accused) > 0 {
				t.Fatalf("accused before: %v", s.accused)
			}
			s.run(tt.within)
			for _, c := range tt.channels {
				if s.found[c] != tt.want {
					t.Errorf("%v: %q after %v, want %q", c, s.found[c], tt.within, tt.want)
				}
				delete(s.accused, c)
			}
			if len(s.accused) > 0 {
				t.Errorf("accused too: %v", s.accused)
			}
		})
	}
}

// What is hard and true is no sensor's fault; when a sensor and a danger would look alike
// the danger is what is said.
func TestNobodyIsAccused(t *testing.T) {
	tests := map[string]func(s *site){
		"a fire that dies": func(s *site) {
			s.course = func(at time.Duration) frame.Values {
				v := steady(at)
				for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
					v[c] = 20 + (v[c]-20)*math.Exp(-at.Hours()*float64(1+c))
				}
				return v
			}
		},
		"air that is shut": func(s *site) {
			s.lie = after(func(since float64, v *frame.Values) {
				sink(frame.Flue, 0.55, 60)(since, v)
				sink(frame.Chamber, 0.7, 600)(since, v)
			})
		},
		"a door for a minute": func(s *site) {
			s.lie = after(func(since float64, v *frame.Values) {
				dip := math.Exp(-math.Abs(since-60) / 60)
				v[frame.Flue] -= 140 * dip
				v[frame.Chamber] -= 120 * dip
				v[frame.Draft] -= 5 * dip
			})
		},
		"a downdraft, which cools the flue": func(s *site) {
			s.lie = after(func(since float64, v *frame.Values) {
				v[frame.Draft] = 12 - 20*(1-math.Exp(-since/4)) + (v[frame.Draft] - 12)
				sink(frame.Flue, 0.05, 40)(since, v)
			})
		},
		"a fire in the flue, and its end": func(s *site) {
			s.lie = after(func(since float64, v *frame.Values) {
				up := 1.0
				if since > 600 {
					up = math.Exp(-(since - 600) / 40)
				}
				v[frame.Flue] += 600 * up * (1 - math.Exp(-since/30))
				v[frame.Draft] += 15 * up
			})
		},
		"a fire in the flue over one that burns evenly": func(s *site) {
			s.noise[frame.Chamber] = 0.1
			s.course = func(at time.Duration) frame.Values {
				v := steady(at)
				v[frame.Chamber] = 600
				return v
			}
			s.lie = after(func(since float64, v *frame.Values) {
				up := 1.0
				if since > 600 {
					up = math.Exp(-(since - 600) / 300)
				}
				v[frame.Flue] += 420 * up * (1 - math.Exp(-since/30))
				v[frame.Draft] += 15 * up
			})
		},
		"a storm that flicks the draft through zero": func(s *site) { s.noise[frame.Draft] = 6 },
		"a log without noise, rounded": func(s *site) {
			s.noise, s.round = frame.Values{}, 1
		},
		"a log without noise": func(s *site) { s.noise, s.round = frame.Values{}, 0 },
		"a logger that repeats a whole row for ten minutes": func(s *site) {
			row := frame.Values{}
			s.lie = after(func(since float64, v *frame.Values) {
				if since == 0 {
					row = *v
				}
				if since < 600 {
					*v = row
				}
			})
		},
		"single wild samples": func(s *site) {
			s.lie = func(at time.Duration, v *frame.Values) {
				if int(at.Seconds())%600 == 599 {
					v[frame.Flue] += 300
					v[frame.Room] -= 30
				}
			}
		},
		"a quiet room": func(s *site) { s.noise[frame.Room] = 0.04 },
		"a deep low":   func(s *site) { s.pressure = 103e3 },
	}
	for name, set := range tests {
		t.Run(name, func(t *testing.T) {
			s := newSite()
			s.pressure = 98e3
			set(s)
			s.run(3 * time.Hour)
			if len(s.accused) > 0 {
				t.Errorf("accused: %v, first at %v", s.accused, s.first)
			}
		})
	}
}

// A draft that falls to nothing with its flutter as before, or of which no flutter is
// known, may be the chimney: it is named, and spillage is judged on.
func TestADraftThatIsGoneMayBeTheChimney(t *testing.T) {
	for name, noise := range map[string]float64{"flutter as before": 0.1, "a log without noise": 0} {
		s := newSite()
		s.noise[frame.Draft] = noise
		s.lie = after(func(_ float64, v *frame.Values) { v[frame.Draft] -= 12 })
		s.run(lied + 40*time.Second)
		if got := s.found[frame.Draft]; got != plausible.DraftGone || plausible.Distrusts(got) {
			t.Errorf("%s: %q", name, got)
		}
	}
}

// A flue that cools from when its draft fell to nothing has lost it, whatever the draft's
// flutter says; one that cooled before goes on cooling beside a hose that is off.
func TestAHoseThatIsOffDoesNotCoolTheFire(t *testing.T) {
	burnsDown := func(at time.Duration) frame.Values { // by 4 K a minute
		v := steady(at)
		v[frame.Flue] -= 4 * max(0, at-lied+15*time.Minute).Minutes()
		return v
	}
	for name, tt := range map[string]struct {
		course func(time.Duration) frame.Values
		cools  func(float64, *frame.Values)
		want   string
	}{
		"it burns on":         {steady, func(float64, *frame.Values) {}, plausible.HoseOff},
		"it burns down":       {burnsDown, func(float64, *frame.Values) {}, plausible.HoseOff},
		"its flue cools fast": {steady, sink(frame.Flue, 0.1, 150), plausible.DraftGone},
		"its flue cools a little, the firebox grows hotter": {steady, func(since float64, v *frame.Values) {
			sink(frame.Flue, 0.85, 40)(since, v)
			v[frame.Firebox] += 5 * (1 - math.Exp(-since/40))
		}, plausible.DraftGone},
		"it burns down, and its flue cools faster from then on": {burnsDown, sink(frame.Flue, 0.85, 40), plausible.DraftGone},
		"a door is opened a little later": {steady, func(since float64, v *frame.Values) {
			if since >= 75 {
				sink(frame.Flue, 0.6, 20)(min(since, 105)-75, v)
			}
		}, plausible.HoseOff},
	} {
		s := newSite()
		s.course = tt.course
		s.lie = after(func(since float64, v *frame.Values) {
			v[frame.Draft] *= 0.01
			tt.cools(since, v)
		})
		s.run(lied + time.Minute)
		if got := s.found[frame.Draft]; got != tt.want {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
		s.run(3 * time.Minute)
		if got := s.found[frame.Draft]; got != tt.want {
			t.Errorf("%s, later: %q, want %q", name, got, tt.want)
		}
	}
}

// A sensor that is open to the room reads its zero, and the zero wanders; a hose that is
// put back is seen all the same, also where the draft has turned by then.
func TestAHoseStaysOffWhileTheZeroWanders(t *testing.T) {
	for _, wanders := range []float64{-0.7, 0.7} {
		for _, back := range []float64{12, -1.6} {
			const off = 4 * time.Hour
			s := newSite()
			s.lie = after(func(since float64, v *frame.Values) {
				zero := wanders * min(1, since/off.Seconds())
				if v[frame.Draft] = zero + 0.06*s.rng.Normal(); since >= off.Seconds() {
					v[frame.Draft] += back + 0.3*s.rng.Normal()
				}
			})
			for s.run(lied + time.Minute); s.in.At < lied+off; s.run(time.Minute) {
				if got := s.found[frame.Draft]; got != plausible.HoseOff {
					t.Fatalf("zero %g, after %v: %q", wanders, s.in.At-lied, got)
				}
			}
			s.run(4 * time.Minute)
			if got := s.found[frame.Draft]; got != "" {
				t.Errorf("zero %g, put back onto %g Pa: %q", wanders, back, got)
			}
		}
	}
}

// Wires that were crossed before the fire was lit show by the order of the temperatures,
// unless the fire was already there: then it might be one in the flue.
func TestCrossedBeforeTheFire(t *testing.T) {
	for name, tt := range map[string]struct {
		from time.Duration
		want string
	}{"lit since": {0, plausible.ChannelsSwapped}, "already burning": {time.Hour, ""}} {
		s := newSite()
		s.course = func(at time.Duration) frame.Values {
			v := steady(at)
			lit := 1 - math.Exp(-at.Minutes()/15)
			for _, c := range []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
				v[c] = 20 + (v[c]-20)*lit
			}
			return v
		}
		s.lie = func(at time.Duration, v *frame.Values) {
			exchange(frame.Chamber, frame.Flue)(0, v)
			v[frame.Firebox] = math.NaN()
		}
		s.in.At = tt.from
		s.run(time.Hour)
		if got := s.found[frame.Flue]; got != tt.want {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
	}
}

// A probe that was left beside the pipe shows by the chimney that begins to draw.
func TestAProbeLeftBesideThePipe(t *testing.T) {
	s := newSite()
	s.in.Phase = burn.Cold
	s.course = func(at time.Duration) frame.Values {
		v := steady(at)
		for c := range v {
			if frame.Channel(c) != frame.Draft {
				v[c] = math.NaN()
			}
		}
		v[frame.Flue] = 21
		v[frame.Draft] = 3 + 10*max(0, 1-math.Exp(-(at-15*time.Minute).Minutes()/6))
		s.noise[frame.Draft] = 0.02 * v[frame.Draft]
		return v
	}
	s.run(15 * time.Minute)
	if len(s.accused) > 0 {
		t.Fatalf("accused before: %v", s.accused)
	}
	if s.run(45 * time.Minute); s.found[frame.Flue] != plausible.ProbeOut {
		t.Errorf("%q", s.found[frame.Flue])
	}
}

// The warm air tells of the fire that the probe beside the pipe does not see, where the
// chimney draws more as well.
func TestAProbeLeftBesideThePipeAndWarmAir(t *testing.T) {
	for more, want := range map[float64]string{8: plausible.ProbeOut, 0: ""} {
		s := newSite()
		s.in.Phase = burn.Cold
		s.noise[frame.Draft] = 0.2
		s.course = func(at time.Duration) frame.Values {
			v := steady(at)
			v[frame.Firebox], v[frame.Chamber] = math.NaN(), math.NaN()
			lit := max(0, 1-math.Exp(-(at-15*time.Minute).Minutes()/6))
			v[frame.Flue], v[frame.Plenum], v[frame.Draft] = 21, 20+25*lit, 3+more*lit
			return v
		}
		s.run(40 * time.Minute)
		if got := s.found[frame.Flue]; got != want {
			t.Errorf("%g Pa more: %q, want %q", more, got, want)
		}
	}
}

// A wind that rises pulls as well, and tells by its gusts that it is no fire.
func TestAWindBesideAColdFurnace(t *testing.T) {
	s := newSite()
	s.in.Phase = burn.Cold
	s.course = coldAt(3)
	s.lie = func(at time.Duration, v *frame.Values) {
		rises := min(1, max(0, (at-30*time.Minute).Minutes()/20))
		v[frame.Draft] += rises * (8 + 3*math.Sin(at.Seconds()/7) + 2*math.Sin(at.Seconds()/43))
	}
	if s.run(3 * time.Hour); len(s.accused) > 0 {
		t.Errorf("accused: %v at %v", s.accused, s.first)
	}
}

// A flue that stands still for a quarter of an hour, in whole degrees and beside a draft that
// moves, has stopped; coals that fade come to such rests by degrees.
func TestAFlueThatStandsInWholeDegrees(t *testing.T) {
	for name, tt := range map[string]struct {
		lie  func(at time.Duration, v *frame.Values)
		want string
	}{
		"stopped": {after(hold(frame.Flue)), plausible.Frozen},
		"coals": {after(func(since float64, v *frame.Values) {
			v[frame.Flue] = math.Round(20 + 220*math.Exp(-since/3600))
		}), ""},
	} {
		s := newSite()
		s.round = 1
		s.course = func(at time.Duration) frame.Values {
			v := steady(at)
			for c := range v {
				if c := frame.Channel(c); c != frame.Flue && c != frame.Draft {
					v[c] = math.NaN()
				}
			}
			return v
		}
		s.lie = tt.lie
		s.run(lied + 2*time.Hour)
		if got := s.accused[frame.Flue]; got != tt.want {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
	}
}

// Frames out of their order count as of the same moment.
func TestTimeThatRunsBackwards(t *testing.T) {
	s := newSite()
	for range 60 {
		s.run(time.Minute)
		s.in.At -= 5 * time.Second
	}
	if len(s.accused) > 0 {
		t.Errorf("accused: %v", s.accused)
	}
}
