package analysis_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// house is a furnace with flue, chamber, room and draft; limits and band are invented.
func house() analysis.Settings {
	s := analysis.Settings{DraftLow: 10, DraftHigh: 15, DraftAverage: 30 * time.Second}
	for _, c := range []frame.Channel{frame.Flue, frame.Chamber, frame.Room, frame.Draft} {
		s.Fitted[c] = true
	}
	s.Limits[frame.Flue], s.Limits[frame.Chamber] = 538, 704
	return s
}

// night drives an engine at 1 Hz and keeps what it says.
type night struct {
	t      *testing.T
	engine *analysis.Engine
	frame  frame.Frame
	said   []string
	last   analysis.Assessment
}

func newNight(t *testing.T, s analysis.Settings) *night {
	t.Helper()
	e, err := analysis.New(s)
	if err != nil {
		t.Fatal(err)
	}
	n := &night{t: t, engine: e}
	n.set(frame.Flue, 20)
	n.set(frame.Chamber, 20)
	n.set(frame.Room, 20)
	n.set(frame.Draft, 2)
	return n
}

func (n *night) set(c frame.Channel, v float64) {
	n.frame.Inputs[c] = frame.Input{Value: v, Quality: frame.Good}
}

func (n *night) lose(c frame.Channel, fault string) {
	n.frame.Inputs[c] = frame.Input{Value: 12345, Quality: frame.Faulty, Fault: fault}
}

// run steps the engine each second for d.
func (n *night) run(d time.Duration) {
	for range int(d / time.Second) {
		n.last = n.engine.Step(n.frame)
		for _, e := range n.last.Events {
			n.said = append(n.said, say(e))
		}
		n.frame.At += time.Second
	}
}

// ramp takes channels to their values within d, ever more slowly as they come near.
func (n *night) ramp(d time.Duration, to map[frame.Channel]float64) {
	from, steps := n.frame, int(d/time.Second)
	for i := 1; i <= steps; i++ {
		left := 1 - float64(i)/float64(steps)
		for c, goal := range to {
			n.set(c, goal-(goal-from.Inputs[c].Value)*left*left)
		}
		n.run(time.Second)
	}
}

// lowThenCoals has too little draft under flames, and lets them go over to coals with the draft
// given.
func (n *night) lowThenCoals(draft float64) {
	n.set(frame.Draft, 7)
	n.run(10 * time.Minute)
	n.set(frame.Draft, draft)
	n.ramp(50*time.Minute, map[frame.Channel]float64{frame.Flue: 90, frame.Chamber: 220})
	n.run(20 * time.Minute)
	if n.last.Phase != burn.Coals {
		n.t.Errorf("%v, no coals", n.last.Phase)
	}
}

func say(e analysis.Event) string {
	switch e.Kind {
	case analysis.AlarmChanged:
		if e.Change == alarm.WasUpdated {
			return e.Alarm.Key.String() + " updated"
		}
		return e.Alarm.Key.String() + " " + e.Alarm.Word()
	case analysis.PhaseChanged:
		return e.To.String()
	case analysis.BurnEnded:
		return "burn ended"
	case analysis.Reloaded:
		return "reloaded"
	case analysis.NoticeGiven:
		return "notice " + string(e.Notice.Name)
	default:
		return "door"
	}
}

// alarms returns what was said of alarms, leaving out that they became known.
func (n *night) alarms() string {
	var said []string
	for _, s := range n.said {
		if strings.HasSuffix(s, " raised") || strings.HasSuffix(s, " cleared") {
			said = append(said, s)
		}
	}
	return strings.Join(said, ", ")
}

func (n *night) status(key string) alarm.Status {
	n.t.Helper()
	for _, s := range n.last.Alarms {
		if s.Key.String() == key {
			return s
		}
	}
	n.t.Fatalf("no alarm %q", key)
	return alarm.Status{}
}

// burning brings the house into an ordinary clean burn.
func burning(t *testing.T, s analysis.Settings) *night {
	n := newNight(t, s)
	n.run(3 * time.Minute)
	n.ramp(30*time.Second, map[frame.Channel]float64{frame.Draft: 12})
	n.ramp(25*time.Minute, map[frame.Channel]float64{frame.Flue: 250, frame.Chamber: 600})
	n.run(5 * time.Minute)
	if n.last.Phase != burn.CleanBurn || n.alarms() != "" {
		t.Fatalf("a clean burn to begin with is %v with alarms %q", n.last.Phase, n.alarms())
	}
	return n
}

func TestAnOrdinaryBurnRaisesNothing(t *testing.T) {
	n := burning(t, house())
	for flue := 250.0; flue > 21; flue *= 0.97 {
		n.set(frame.Flue, flue)
		n.set(frame.Chamber, flue*2)
		// Held by the regulator until a chimney of 7 m has no more than that.
		n.set(frame.Draft, min(12, (flue-10)/5))
		n.run(time.Minute)
	}
	n.set(frame.Flue, 21)
	n.run(time.Minute)
	if got := n.alarms(); got != "" {
		t.Errorf("alarms: %s", got)
	}
	var phases []string
	for _, s := range n.said {
		if !strings.Contains(s, " normal") {
			phases = append(phases, s)
		}
	}
	want := []string{"cold", "lighting", "warm-up", "clean-burn", "coals", "cold", "burn ended", "notice fire-out"}
	if !slices.Equal(phases, want) {
		t.Errorf("phases %q, want %q", phases, want)
	}
	if b := n.last.Burn; b.PeakFlue != 250 || b.PeakChamber != 600 || math.Abs(b.MeanDraft-10) > 3 {
		t.Errorf("summary %+v", b)
	}
}

func TestAlarms(t *testing.T) {
	tests := map[string]struct {
		do   func(*night)
		want string
	}{
		"a flue above its limit": {
			func(n *night) { n.set(frame.Flue, 540); n.run(3 * time.Second) },
			"overheat/flue raised",
		},
		"a flue at its limit is not above it": {
			func(n *night) {
				n.ramp(20*time.Minute, map[frame.Channel]float64{frame.Flue: 470, frame.Chamber: 660})
				n.ramp(3*time.Hour, map[frame.Channel]float64{frame.Flue: 538, frame.Chamber: 690})
				n.run(time.Hour)
			},
			"",
		},
		"a chamber above its limit, and back": {
			func(n *night) {
				n.set(frame.Chamber, 710)
				n.run(10 * time.Second)
				n.set(frame.Chamber, 690)
				n.run(2 * time.Minute)
			},
			"overheat/chamber raised, overheat/chamber cleared",
		},
		"one wild reading": {
			func(n *night) {
				n.set(frame.Flue, 900)
				n.run(time.Second)
				n.set(frame.Flue, 250)
				n.run(time.Minute)
			},
			"",
		},
		"a draft that has turned": {
			func(n *night) { n.set(frame.Draft, -3); n.run(45 * time.Second) },
			"spillage raised",
		},
		"no draft at all": {
			func(n *night) {
				n.set(frame.Draft, 20)
				n.run(time.Minute)
				n.set(frame.Draft, 0)
				n.run(90 * time.Second)
			},
			"spillage raised",
		},
		"a gust": {
			func(n *night) {
				n.set(frame.Draft, -8)
				n.run(20 * time.Second)
				n.set(frame.Draft, 12)
				n.run(10 * time.Minute)
			},
			"",
		},
		"too little draft for long": {
			func(n *night) { n.set(frame.Draft, 7); n.run(10 * time.Minute) },
			"draft-low raised",
		},
		"and over the coals as much as they need": {
			func(n *night) { n.lowThenCoals(5) },
			"draft-low raised, flue-restricted raised, draft-low cleared",
		},
		"and over the coals hardly any": {
			func(n *night) { n.lowThenCoals(2) },
			"draft-low raised, flue-restricted raised, regulator-stuck raised",
		},
		"too much draft for long, and back": {
			func(n *night) {
				n.set(frame.Draft, 25)
				n.run(5 * time.Minute)
				n.set(frame.Draft, 12)
				n.run(13 * time.Minute)
			},
			"draft-high raised, draft-high cleared",
		},
		"a dead flue wire is a lost sensor and no cold flue": {
			func(n *night) { n.lose(frame.Flue, "open-circuit"); n.run(time.Minute) },
			"sensor-lost/flue raised",
		},
		"a draft that turns while the flue's wire is off: the fire is taken to burn on": {
			func(n *night) {
				n.lose(frame.Flue, "open-circuit")
				n.run(5 * time.Second)
				n.set(frame.Draft, -3)
				n.run(time.Minute)
			},
			"sensor-lost/flue raised, spillage raised",
		},
		"not a number": {
			func(n *night) { n.set(frame.Flue, math.NaN()); n.run(time.Minute) },
			"sensor-lost/flue raised",
		},
		"an overheat stands when its sensor burns out": {
			func(n *night) {
				n.set(frame.Flue, 600)
				n.run(5 * time.Second)
				n.lose(frame.Flue, "open-circuit")
				n.run(time.Hour)
			},
			"overheat/flue raised, sensor-lost/flue raised",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			n := burning(t, house())
			tt.do(n)
			if got := n.alarms(); got != tt.want {
				t.Errorf("alarms %q, want %q", got, tt.want)
			}
		})
	}
}

func TestARaisedAlarmCarriesItsNumbers(t *testing.T) {
	n := burning(t, house())
	n.set(frame.Flue, 555)
	n.run(5 * time.Second)
	s := n.status("overheat/flue")
	if s.Value != 555 || s.Limit != 538 || s.Priority != alarm.High || s.Occurrence != 1 {
		t.Errorf("status %+v", s)
	}
	n.lose(frame.Room, "no-answer")
	n.run(20 * time.Second)
	if got := n.status("sensor-lost/room").Fault; got != "no-answer" {
		t.Errorf("fault %q", got)
	}
}

func TestBlindIsNeverNormal(t *testing.T) {
	t.Run("from the start", func(t *testing.T) {
		n := newNight(t, house())
		n.frame.Inputs[frame.Flue] = frame.Input{}
		n.lose(frame.Chamber, "open-circuit")
		n.run(time.Hour)
		for _, key := range []string{"overheat/flue", "spillage", "draft-high", "draft-low"} {
			if s := n.status(key); s.State != alarm.Unjudged || !s.Blind {
				t.Errorf("%s is %v, blind %v, without ever a flue reading", key, s.State, s.Blind)
			}
		}
	})
	t.Run("when the flue is lost in a cold house, nobody knows of a fire lit since", func(t *testing.T) {
		n := newNight(t, house())
		n.run(5 * time.Minute)
		n.lose(frame.Flue, "open-circuit")
		n.lose(frame.Chamber, "open-circuit")
		n.set(frame.Draft, -3)
		n.run(time.Minute)
		if s := n.status("spillage"); !s.Blind {
			t.Errorf("spillage is judged: %+v", s)
		}
		if !n.last.PhaseHeld {
			t.Error("the phase is not marked as held")
		}
	})
}

// A probe that is pulled out beside a fire reads the room, and reads it well. It must
// not put the fire out for the monitor: the phase stays, and a turned draft is still one.
func TestAProbeInTheRoomDoesNotEndTheFire(t *testing.T) {
	n := burning(t, house())
	for v := 250.0; v > 21; v = 20 + (v-20)*0.9 { // a thin probe, 1 s a step
		n.set(frame.Flue, v)
		n.run(time.Second)
	}
	n.run(3 * time.Minute)
	if got := n.alarms(); got != "sensor-implausible/flue raised" {
		t.Errorf("alarms %q", got)
	}
	if !n.last.PhaseHeld || !n.last.Phase.Fire() || n.last.Doubts[frame.Flue] != "probe-out" {
		t.Errorf("phase %v, held %v, doubt %q", n.last.Phase, n.last.PhaseHeld, n.last.Doubts[frame.Flue])
	}
	if s := n.status("sensor-implausible/flue"); s.Fault != "probe-out" || s.Priority != alarm.Medium {
		t.Errorf("status %+v", s)
	}
	n.set(frame.Draft, -3)
	n.run(time.Minute)
	if s := n.status("spillage"); s.State != alarm.Raised {
		t.Errorf("a turned draft is %v, blind %v", s.State, s.Blind)
	}
	if s := n.status("overheat/flue"); s.Blind {
		t.Error("the flue's limit is not judged any more: its reading is suspect and no less")
	}
}

// What looks like hoses on the wrong ports may be gas in the house: both are said, the
// hazard first.
func TestASwappedHoseIsSpillageToo(t *testing.T) {
	n := burning(t, house())
	n.set(frame.Draft, -12)
	n.run(5 * time.Minute)
	if got := n.alarms(); got != "spillage raised, sensor-implausible/draft raised" {
		t.Errorf("alarms %q", got)
	}
	if s := n.status("sensor-implausible/draft"); s.Fault != "hose-swapped" {
		t.Errorf("fault %q", s.Fault)
	}
	if n.last.Draft.Quality != frame.Suspect || n.last.Draft.Fault != "hose-swapped" {
		t.Errorf("draft %+v", n.last.Draft)
	}
}

func TestAHoseThatIsOffIsNoDraftToo(t *testing.T) {
	n := burning(t, house())
	n.set(frame.Draft, 0)
	n.run(4 * time.Minute)
	if got := n.alarms(); got != "spillage raised, sensor-implausible/draft raised" {
		t.Errorf("alarms %q", got)
	}
	// Without any noise it is not to be told from a blocked one.
	if s := n.status("sensor-implausible/draft"); s.Fault != "draft-gone" {
		t.Errorf("fault %q", s.Fault)
	}
}

// TestADoubtedDraftDrivesNothing: a climb over a draft above the band needs less time to be
// believed, unless the sensor only says so.
func TestADoubtedDraftDrivesNothing(t *testing.T) {
	for _, tt := range []struct {
		name  string
		moves int // s
		told  bool
	}{
		{"the draft is above the band", math.MaxInt, true},
		{"its reading has stood still", 30 * 60, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			n := newNight(t, house())
			for s := range 63 * 60 {
				sway := math.Sin(float64(s))
				warm := 1 - math.Exp(-float64(s)/480)
				chamber := 20 + float64(580*warm) + float64(6*max(0, float64(s)/60-50)) + sway
				if s < tt.moves {
					n.set(frame.Draft, 2+float64(14*warm)+sway/2)
				}
				n.set(frame.Chamber, chamber)
				n.set(frame.Flue, 20+float64(0.4*(chamber-20)))
				n.run(time.Second)
			}
			doubted := n.status("sensor-implausible/draft").State.Standing()
			told := n.status("runaway/chamber").State.Standing()
			if doubted == tt.told || told != tt.told {
				t.Errorf("draft doubted %t, runaway told %t; alarms %q", doubted, told, n.alarms())
			}
		})
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	n := burning(t, house())
	if got := testing.AllocsPerRun(100, func() {
		n.frame.At += time.Second
		n.engine.Step(n.frame)
	}); got != 0 {
		t.Errorf("%v allocations a frame, want none", got)
	}
}

func TestSettingsThatCannotBeJudgedByAreRefused(t *testing.T) {
	tests := map[string]func(*analysis.Settings){
		"0 < low < high":      func(s *analysis.Settings) { s.DraftLow = 20 },
		"room cannot have":    func(s *analysis.Settings) { s.Limits[frame.Room] = 40 },
		"limit of flue":       func(s *analysis.Settings) { s.Limits[frame.Flue] = math.NaN() },
		"average -1s is neg":  func(s *analysis.Settings) { s.DraftAverage = -time.Second },
		"draft band NaN to 5": func(s *analysis.Settings) { s.DraftLow, s.DraftHigh = math.NaN(), 5 },
	}
	for want, spoil := range tests {
		s := house()
		spoil(&s)
		if _, err := analysis.New(s); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
}

// Any frames, with any clock: no panic, and nothing in the assessment that is not a
// number or a state of the life cycle.
func FuzzStep(f *testing.F) {
	f.Add([]byte{0, 1, 2, 3, 4, 5, 250, 251, 252, 253})
	f.Fuzz(func(t *testing.T, script []byte) {
		e, err := analysis.New(house())
		if err != nil {
			t.Fatal(err)
		}
		values := []float64{0, -1, 12, 20, 130, 300, 600, 1e9, -1e9, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64}
		var fr frame.Frame
		for i, b := range script {
			fr.At += []time.Duration{time.Second, 0, -time.Hour, math.MaxInt64 / 4, time.Minute}[int(b)%5]
			fr.Inputs[i%int(frame.Count)] = frame.Input{
				Value:   values[int(b)%len(values)],
				Quality: frame.Quality(b / 50),
			}
			a := e.Step(fr)
			for _, v := range []float64{a.Draft.Value, a.Burn.PeakFlue, a.Burn.MeanDraft} {
				if a.Burning && math.IsInf(v, 0) || a.Draft.Usable() && math.IsNaN(a.Draft.Value) {
					t.Fatalf("assessment %+v", a)
				}
			}
			for c, f := range a.Forecasts {
				sound := f.Probability >= 0 && f.Probability <= 1
				for _, v := range []float64{f.Level, f.Gas, f.Slope, f.Peak, f.PeakError} {
					sound = sound && !math.IsNaN(v) && !math.IsInf(v, 0)
				}
				if f.Known && !sound {
					t.Fatalf("forecast of %v: %+v", frame.Channel(c), f)
				}
			}
			for _, account := range a.Accounts {
				for _, c := range account.Causes {
					if !(c.Weight > 0 && c.Weight <= 1) {
						t.Fatalf("cause %+v", c)
					}
				}
			}
			for _, s := range a.Alarms {
				if s.State > alarm.Suppressed || math.IsNaN(s.Value) || math.IsInf(s.Value, 0) {
					t.Fatalf("alarm %+v", s)
				}
			}
		}
	})
}

func BenchmarkStep(b *testing.B) {
	e, err := analysis.New(house())
	if err != nil {
		b.Fatal(err)
	}
	var fr frame.Frame
	for _, c := range frame.All() {
		fr.Inputs[c] = frame.Input{Value: 100, Quality: frame.Good}
	}
	b.ReportAllocs()
	for b.Loop() {
		fr.At += time.Second
		e.Step(fr)
	}
}

// An alarm whose reading is missing is blind, and the loss is told.
func TestAnAlarmNeedsItsReadings(t *testing.T) {
	for _, d := range analysis.Alarms() {
		for _, a := range burning(t, house()).engine.Alarms() {
			if a.Key.Name != d.Name {
				continue
			}
			for _, c := range d.Channels(a.Key.Channel) {
				n := burning(t, house())
				n.lose(c, "open-circuit")
				n.run(time.Minute)
				if s := n.status(a.Key.String()); !s.Blind {
					t.Errorf("%v is judged without %v", a.Key, c)
				}
				if s := n.status("sensor-lost/" + c.String()); s.State != alarm.Raised {
					t.Errorf("the loss of %v is %v", c, s.State)
				}
			}
		}
	}
}

func TestOnlyWhatIsJudgedIsOnThePanel(t *testing.T) {
	n := burning(t, house())
	n.run(10 * time.Minute)
	for _, s := range n.last.Alarms {
		if s.Key.Name == alarm.FlueRestricted || s.Key.Name == alarm.RegulatorStuck {
			continue // one needs burns before, the other more of this one
		}
		if s.State != alarm.Normal {
			t.Errorf("%v is %v in a clean burn", s.Key, s.State)
		}
	}
}

// What people do is told with the next frame, and outlives the engine.
func TestCommandsAndRestart(t *testing.T) {
	n := burning(t, house())
	n.ramp(time.Hour, map[frame.Channel]float64{frame.Flue: 545, frame.Chamber: 680, frame.Draft: 25})
	n.run(5 * time.Minute)
	hot := alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}
	pull := alarm.Key{Name: alarm.DraftHigh, Channel: frame.Count}
	for _, err := range []error{n.engine.Acknowledge(hot, 1), n.engine.Shelve(pull, time.Hour, "Ann")} {
		if err != nil {
			t.Fatal(err)
		}
	}
	n.said = nil
	n.run(time.Second)
	if want := []string{"overheat/flue acknowledged", "draft-high shelved"}; !slices.Equal(n.said, want) {
		t.Errorf("said %q, want %q", n.said, want)
	}
	now := time.Date(2026, 1, 17, 22, 0, 0, 0, time.UTC)
	s := n.engine.Snapshot(now, true)

	next := newNight(t, house())
	if err := next.engine.Restore(s, now.Add(time.Minute), true); err != nil {
		t.Fatal(err)
	}
	next.frame.Inputs = n.frame.Inputs
	next.run(5 * time.Minute)
	if got := next.alarms(); got != "" {
		t.Errorf("announced again: %s", got)
	}
	if s := next.status("overheat/flue"); s.State != alarm.Acknowledged || s.Occurrence != 1 {
		t.Errorf("the overheat is %+v", s)
	}
	if s := next.status("draft-high"); s.State != alarm.Shelved || !s.Silenced() {
		t.Errorf("the draft is %+v", s)
	}
	if m := next.last.AlarmMetrics; m.Standing < 1 || m.Shelved != 1 {
		t.Errorf("metrics %+v", m)
	}
	if err := next.engine.Unshelve(pull); err != nil {
		t.Fatal(err)
	}
	next.run(time.Second)
	if got := next.alarms(); got != "draft-high raised" {
		t.Errorf("after the shelf: %q", got)
	}
}
