package commissioning_test

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/burn"
	. "fluewright/analysis/commissioning"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/setting"
)

func site() Site {
	return Site{
		DraftLow: 10, DraftHigh: 15, Construction: Insulated, Height: 7.6, Diameter: 0.15, AboveRoof: 1, AboveNear: 1,
		Regulator: Regulator{Fitted: true, Scale: setting.Scale{Low: 1, High: 7}, Mark: 3},
	}
}

// scene is a person and a furnace whose readings are what they are set to.
type scene struct {
	t  *testing.T
	s  *State
	at time.Duration
	v  frame.Values
	p  burn.Phase
}

func newScene(t *testing.T) *scene {
	c := &scene{t: t, s: New(), p: burn.Cold}
	c.v = frame.Values{20, 20, 20, 20, 20, 20, 0, 6, gas.SeaLevel}
	return c
}

func (c *scene) wait(seconds int) {
	for range seconds {
		c.at += time.Second
		c.s.Step(Look{c.at, c.v, c.p})
	}
}

func (c *scene) try(e Entry) error {
	e.Step, e.Task = c.s.Now, c.s.Task
	return c.s.Answer(e)
}

func (c *scene) do(e Entry) {
	c.t.Helper()
	if err := c.try(e); err != nil {
		c.t.Fatalf("%v, %s: %v", c.s.Now, c.s.Task, err)
	}
}

func (c *scene) refused(e Entry, code string) {
	c.t.Helper()
	before, _ := json.Marshal(c.s)
	err := c.try(e)
	var r *Refusal
	if !errors.As(err, &r) || r.Code != code {
		c.t.Errorf("%v, %s: refused with %v, want %s", c.s.Now, c.s.Task, err, code)
	}
	if after, _ := json.Marshal(c.s); string(after) != string(before) {
		c.t.Errorf("what was refused has changed something:\n%s\n%s", before, after)
	}
}

func yes() *[Checks]Seen {
	var seen [Checks]Seen
	for i := range seen {
		seen[i] = Yes
	}
	return &seen
}

// to goes to a step, skipping what may be skipped.
func (c *scene) to(step Step) {
	c.t.Helper()
	c.wait(1)
	st := site()
	c.do(Entry{Kind: Give, Site: &st})
	c.do(Entry{Kind: Give, Checks: yes()})
	for c.s.Now < step {
		c.do(Entry{Kind: Skip, Reason: "for a test"})
	}
}

func (c *scene) found(step Step, code Code) Finding {
	c.t.Helper()
	f, ok := c.s.Results[step].Find(code)
	if !ok {
		c.t.Fatalf("%v has no %s: %+v", step, code, c.s.Results[step])
	}
	return f
}

var ready = Entry{Kind: Ready}

func TestWhatIsRefused(t *testing.T) {
	t.Run("zero beside a fire", func(t *testing.T) {
		c := newScene(t)
		c.to(Sensors)
		c.v[frame.Flue] = 90
		c.wait(1)
		c.refused(ready, FireBurns)
		c.v[frame.Flue] = 25
		c.p = burn.Coals
		c.wait(1)
		c.refused(ready, FireBurns)
	})
	t.Run("zero without a flue reading, unless somebody has looked", func(t *testing.T) {
		c := newScene(t)
		c.to(Sensors)
		c.v[frame.Flue] = math.NaN()
		c.wait(1)
		c.refused(ready, FireNotSeen)
		c.do(Entry{Kind: Ready, Looked: true})
	})
	t.Run("nobody who has looked is believed against a warm flue", func(t *testing.T) {
		c := newScene(t)
		c.to(Sensors)
		c.v[frame.Flue] = 150
		c.wait(1)
		c.refused(Entry{Kind: Ready, Looked: true}, FireBurns)
	})
	t.Run("wrong order", func(t *testing.T) {
		c := newScene(t)
		c.wait(1)
		if err := c.s.Answer(Entry{Kind: Ready, Step: Setting, Task: ReadMark}); err == nil || err.Error() != OutOfOrder {
			t.Error(err)
		}
		c.refused(ready, NotPossible)
		c.refused(Entry{Kind: Skip, Reason: "no"}, NotPossible)
		if err := c.s.Answer(Entry{Kind: Repeat, Step: Proof}); err == nil || err.Error() != NotYetThere {
			t.Error(err)
		}
	})
	t.Run("impossible site", func(t *testing.T) {
		c := newScene(t)
		bad := site()
		bad.Height, bad.DraftHigh, bad.Regulator.Mark = 700, 5, 9
		err := c.try(Entry{Kind: Give, Site: &bad})
		for _, part := range []string{"height", "highest draft", "present mark"} {
			if err == nil || !strings.Contains(err.Error(), part) {
				t.Errorf("%v does not tell of %s", err, part)
			}
		}
	})
	t.Run("an unanswered check", func(t *testing.T) {
		c := newScene(t)
		st := site()
		c.do(Entry{Kind: Give, Site: &st})
		seen := yes()
		seen[COAlarm] = Unseen
		c.refused(Entry{Kind: Give, Checks: seen}, Incomplete)
		seen[COAlarm] = NotApplicable
		c.refused(Entry{Kind: Give, Checks: seen}, Impossible)
	})
	t.Run("no fire after a failed check by eye", func(t *testing.T) {
		c := newScene(t)
		st := site()
		c.do(Entry{Kind: Give, Site: &st})
		seen := yes()
		seen[COAlarm] = No
		c.do(Entry{Kind: Give, Checks: seen})
		if c.s.Task != Failed {
			t.Fatalf("the task is %s", c.s.Task)
		}
		c.refused(Entry{Kind: GoOn}, PutRight)
		c.refused(Entry{Kind: Skip, Reason: "never mind"}, PutRight)
		if err := c.s.Answer(Entry{Kind: Repeat, Step: ByEye}); err != nil {
			t.Fatal(err)
		}
		c.do(Entry{Kind: Give, Checks: yes()})
		if c.s.Now != Sensors {
			t.Errorf("put right, it stands at %v", c.s.Now)
		}
	})
	t.Run("lighting into a reversed draft", func(t *testing.T) {
		c := newScene(t)
		c.to(FirstFire)
		c.v[frame.Draft] = -3
		c.wait(1)
		c.refused(ready, DraftTurned)
	})
	t.Run("reading a mark without a fire, or off the scale", func(t *testing.T) {
		c := newScene(t)
		c.to(Setting)
		c.wait(1)
		c.refused(Entry{Kind: Ready, Mark: 3}, NoFireYet)
		c.v[frame.Flue] = 200
		c.wait(1)
		c.refused(Entry{Kind: Ready, Mark: 9}, Impossible)
		c.v[frame.Draft] = math.NaN()
		c.wait(1)
		c.refused(Entry{Kind: Ready, Mark: 3}, NoDraftRead)
	})
	t.Run("a skip without a reason", func(t *testing.T) {
		c := newScene(t)
		c.to(Sensors)
		c.refused(Entry{Kind: Skip, Reason: "  "}, ReasonNeeded)
		c.refused(Entry{Kind: Skip, Reason: strings.Repeat("x", 300)}, Impossible)
	})
	t.Run("a limit that cannot be", func(t *testing.T) {
		c := newScene(t)
		c.to(Limits)
		c.refused(Entry{Kind: Give, Limits: &LimitEntry{FanOn: 40, FanOff: 50, Untouched: true}}, Impossible)
		c.do(Entry{Kind: Give, Limits: &LimitEntry{FanOn: 41, FanOff: 33}})
		if f := c.found(Limits, "high-limit-touched"); f.Grade != Bad {
			t.Errorf("a high limit that was touched is graded %d", f.Grade)
		}
	})
}

func TestColdDraftStops(t *testing.T) {
	for _, c := range []struct {
		draft float64
		code  Code
		grade Grade
		stops bool
	}{
		{-4, "reversed", Stop, true},
		{0.1, "dead-flue", Stop, true},
		{6, "cold-draft", Good, false},
	} {
		t.Run(string(c.code), func(t *testing.T) {
			s := newScene(t)
			s.v[frame.Outdoor] = -10
			s.to(ColdDraft)
			s.v[frame.Draft] = c.draft
			s.wait(1)
			s.do(ready)
			s.wait(400)
			if f := s.found(ColdDraft, c.code); f.Grade != c.grade {
				t.Errorf("graded %d", f.Grade)
			}
			if (s.s.Task == Failed) != c.stops {
				t.Fatalf("then comes %s", s.s.Task)
			}
			if c.stops {
				s.refused(Entry{Kind: Skip, Reason: "it will do"}, PutRight)
				s.refused(Entry{Kind: GoOn}, PutRight)
			}
		})
	}
}

func TestFansThatReverseStop(t *testing.T) {
	s := newScene(t)
	s.to(ColdDraft)
	s.do(ready)
	s.wait(400)
	s.v[frame.Draft] = -2
	s.do(ready)
	s.wait(400)
	if f := s.found(ColdDraft, "fans-reverse"); f.Grade != Stop || math.Abs(f.Value-8) > 0.1 {
		t.Errorf("%+v", f)
	}
}

func TestWires(t *testing.T) {
	for _, c := range []struct {
		name string
		move map[frame.Channel]float64
		code Code
	}{
		{"right", map[frame.Channel]float64{frame.Flue: 6}, "probe-flue"},
		{"the wrong way round", map[frame.Channel]float64{frame.Flue: -6}, "reversed-flue"},
		{"on another's terminals", map[frame.Channel]float64{frame.Chamber: 6}, "exchanged-flue"},
		{"nowhere", nil, "unmoved-flue"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t)
			s.to(Sensors)
			s.v[frame.Draft] = 0
			s.do(ready)
			s.wait(65)
			s.do(ready)
			s.wait(8)
			s.v[frame.Draft] = 30
			s.wait(2)
			s.v[frame.Draft] = 0
			s.wait(8)
			s.do(ready)
			s.wait(15)
			if s.s.Task != WarmProbe {
				t.Fatalf("it stands at %s: %+v", s.s.Task, s.s.Results[Sensors])
			}
			s.do(ready)
			s.wait(7)
			for ch, by := range c.move {
				s.v[ch] += by
			}
			s.wait(200)
			s.found(Sensors, c.code)
		})
	}
}

func TestSpillageEndsTheFirstFire(t *testing.T) {
	s := newScene(t)
	s.to(FirstFire)
	s.wait(1)
	s.do(ready)
	s.v[frame.Flue], s.v[frame.Draft], s.p = 80, -5, burn.Lighting
	s.wait(60)
	if f := s.found(FirstFire, "spillage"); f.Grade != Stop {
		t.Errorf("%+v", f)
	}
	s.refused(Entry{Kind: GoOn}, PutRight)
}

// Smoke that comes back ends any step beside a fire.
func TestSpillageEndsASetting(t *testing.T) {
	s := newScene(t)
	s.to(Setting)
	s.v[frame.Flue], s.v[frame.Draft], s.p = 200, 12, burn.CleanBurn
	s.wait(1)
	s.do(Entry{Kind: Ready, Mark: 3})
	s.wait(60)
	s.v[frame.Draft] = -4
	s.wait(60)
	if f := s.found(Setting, "spillage"); f.Grade != Stop || s.s.Task != Failed {
		t.Errorf("%+v, then comes %s", f, s.s.Task)
	}
	s.refused(Entry{Kind: GoOn}, PutRight)
}

func TestTheGateIsNotHeldOverAFireThatIsTooHot(t *testing.T) {
	s := newScene(t)
	s.to(Proof)
	s.v[frame.Flue], s.v[frame.Draft], s.p = 200, 12, burn.CleanBurn
	s.wait(1)
	s.do(ready)
	s.wait(70)
	s.v[frame.Flue] = 450
	s.wait(1)
	s.refused(ready, TooHot)
	s.v[frame.Flue] = 200
	s.wait(1)
	s.do(ready)
}

// A lighter makes the flue probe warm, which is no fire for the next probe.
func TestAWarmedProbeIsNoFire(t *testing.T) {
	s := newScene(t)
	s.to(Sensors)
	s.v[frame.Draft] = 0
	s.do(ready)
	s.wait(65)
	s.do(ready)
	s.wait(8)
	s.v[frame.Draft] = 30
	s.wait(2)
	s.v[frame.Draft] = 0
	s.wait(8)
	s.do(ready)
	s.wait(15)
	s.do(ready)
	s.wait(7)
	s.v[frame.Flue] = 140
	s.wait(2)
	if s.s.Task != WarmProbe || s.s.Channel != frame.Chamber {
		t.Fatalf("it stands at %s of %v", s.s.Task, s.s.Channel)
	}
	s.do(ready)
	s.wait(7)
	s.v[frame.Chamber] = 40
	s.wait(2)
	s.found(Sensors, "probe-chamber")
}

// A flue that is blocked while the day is mild shows only once it is hot.
func TestAHotFlueWithoutDraftStops(t *testing.T) {
	s := newScene(t)
	s.v[frame.Outdoor] = 20
	s.to(ColdDraft)
	s.v[frame.Draft] = 0.1
	s.wait(1)
	s.do(ready)
	s.wait(400)
	if f := s.found(ColdDraft, "mild-day"); f.Grade != Caution {
		t.Errorf("no draft on a mild day is graded %d", f.Grade)
	}
	s.do(Entry{Kind: Without})
	s.wait(1)
	s.do(ready)
	s.v[frame.Flue], s.p = 60, burn.Lighting
	s.wait(300)
	if s.s.Task != LightFire {
		t.Fatal("it stopped before the flue was hot")
	}
	s.v[frame.Flue] = 120
	s.wait(70)
	if f := s.found(FirstFire, "no-draw"); f.Grade != Stop {
		t.Errorf("%+v", f)
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	s := newScene(t)
	s.to(Setting)
	s.v[frame.Flue], s.v[frame.Draft], s.p = 200, 12, burn.CleanBurn
	s.wait(1)
	s.do(Entry{Kind: Ready, Mark: 3})
	i := 0
	step := func() {
		i++
		s.v[frame.Draft] = 8 + float64(i%900)/50 // never settles
		s.at += time.Second
		s.s.Step(Look{s.at, s.v, s.p})
	}
	for range 1000 {
		step()
	}
	if n := testing.AllocsPerRun(500, step); n != 0 {
		t.Errorf("%g allocations a frame", n)
	}
	if s.s.Task != ReadMark || !s.s.Running {
		t.Error("it settled")
	}
}

func TestASlowStartIsACaution(t *testing.T) {
	s := newScene(t)
	s.to(FirstFire)
	s.wait(1)
	s.do(ready)
	s.v[frame.Flue], s.v[frame.Draft], s.p = 80, 12, burn.WarmUp
	s.wait(92 * 60)
	s.found(FirstFire, "clean-never")
	if o := s.s.Results[FirstFire].Outcome; o != Cautioned {
		t.Errorf("the outcome is %v", o)
	}
}

func TestWarnings(t *testing.T) {
	air := Air{Outdoor: 0, Room: 20, Pressure: gas.SeaLevel}
	for _, c := range []struct {
		code   Code
		change func(*Site)
	}{
		{"short", func(s *Site) { s.Height = 2.5 }},
		{"exterior", func(s *Site) { s.Outside = true }},
		{"termination-roof", func(s *Site) { s.AboveRoof = 0.8 }},
		{"termination-near", func(s *Site) { s.AboveNear = 0.5 }},
		{"connector-long", func(s *Site) { s.ConnectorLength, s.ConnectorRise = 4, 1 }},
		{"connector-flat", func(s *Site) { s.ConnectorLength = 2 }},
		{"connector-elbows", func(s *Site) { s.Elbows = 4 }},
		{"ducts", func(s *Site) { s.DuctArea = 0.1 }},
		{"altitude", func(s *Site) { s.Altitude = 1500 }},
		{"no-regulator", func(s *Site) { s.Regulator = Regulator{} }},
		{"regulator-room", func(s *Site) { s.Regulator.OtherRoom = true }},
		{"wet-wood", func(s *Site) { s.Moisture = 0.35 }},
		{"dry-wood", func(s *Site) { s.Moisture = 0.06 }},
	} {
		has := func(s Site) bool {
			return slices.ContainsFunc(s.Warnings(air), func(f Finding) bool { return f.Code == c.code })
		}
		plain := site()
		changed := plain
		c.change(&changed)
		if has(plain) || !has(changed) {
			t.Errorf("%s: %v without and %v with the cause", c.code, has(plain), has(changed))
		}
	}
}

// Draft is proportional to the air's pressure (1500 m: 0.8345) as long as friction is small;
// a taller chimney draws more, a warmer day less.
func TestPredictionFollowsPhysics(t *testing.T) {
	air := Air{Outdoor: 0, Measured: true, Room: 20, Pressure: gas.SeaLevel}
	s := site()
	base := s.Predict(air, 0)
	if !(base.Cold.Low < base.Cold.Value && base.Cold.Value < base.Cold.High && base.Shut.Low < base.Shut.Value) {
		t.Errorf("%+v", base)
	}
	high := air
	high.Pressure = gas.StandardAtmosphere(1500).Pressure
	if r := s.Predict(high, 0).Cold.Value / base.Cold.Value; math.Abs(r-0.8345) > 0.001 {
		t.Errorf("at 1500 m the cold draft is %.4f of that at the sea", r)
	}
	tall := s
	tall.Height = 12
	mild := air
	mild.Outdoor = 15
	if tall.Predict(air, 0).Shut.Value <= base.Shut.Value || s.Predict(mild, 0).Shut.Value >= base.Shut.Value {
		t.Error("height or weather count the wrong way")
	}
	guess := air
	guess.Measured = false
	if w := s.Predict(guess, 0).Cold; w.High-w.Low <= base.Cold.High-base.Cold.Low {
		t.Error("a guessed outdoor temperature is as sure as a measured one")
	}
}

// Any frames and entries: no panic, and a state that can be written down.
func FuzzAnything(f *testing.F) {
	f.Add([]byte{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20})
	f.Fuzz(func(t *testing.T, data []byte) {
		s := New()
		st := site()
		if data, ok := take(&data, 1); ok && data[0]&1 == 1 {
			s, _ = NewSeason(st, 3)
		}
		at := time.Duration(0)
		for {
			op, ok := take(&data, 2)
			if !ok {
				break
			}
			switch op[0] % 4 {
			case 0, 1:
				var v frame.Values
				for c := range v {
					v[c] = []float64{20, 150, 600, 12.5, -5, 0, math.NaN(), math.Inf(1), 1e300, 101325}[(int(op[1])+c*int(op[0]))%10]
				}
				if raw, ok := take(&data, 8); ok {
					v[frame.Draft] = math.Float64frombits(binary.LittleEndian.Uint64(raw))
				}
				step := []time.Duration{0, time.Second, 10 * time.Second, -time.Minute, 5 * time.Minute}[op[1]%5]
				for range int(op[1]) {
					at += step
					s.Step(Look{at, v, burn.Phase(op[0] % 7)})
				}
			case 2:
				e := Entry{
					Kind: []Kind{Ready, Give, Without, Skip, Repeat, GoOn}[op[1]%6], Step: s.Now, Task: s.Task, Reason: "a reason",
					Mark: float64(op[1] % 9), Looked: op[1]&1 == 1, Site: &st, Checks: yes(),
					Limits: &LimitEntry{41, 35, op[1]&2 == 2}, Alarm: &AlarmEntry{true, op[1]&4 == 4}, People: &People{Installer: "I"},
				}
				if op[1] > 200 {
					e.Step = Step(op[1] % 12)
				}
				_ = s.Answer(e)
			case 3:
				s.Resume(time.Duration(op[1]) * time.Hour)
			}
			if s.Now >= Steps {
				t.Fatalf("step %d", s.Now)
			}
			s.Progress()
		}
		if _, err := json.Marshal(s); err != nil {
			t.Fatal(err)
		}
	})
}

func take(data *[]byte, n int) ([]byte, bool) {
	if len(*data) < n {
		return nil, false
	}
	out := (*data)[:n]
	*data = (*data)[n:]
	return out, true
}
