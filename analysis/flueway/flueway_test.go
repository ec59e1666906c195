package flueway

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/drive"
	"fluewright/analysis/frame"
	"fluewright/analysis/gate"
	"fluewright/analysis/internal/rig"
	"fluewright/analysis/regulator"
	"pgregory.net/rapid"
)

const day = 24 * time.Hour

// season plays one burn a day and notes when the finding changes.
type season struct {
	stack    rig.Stack // on day 0
	measured bool      // the outdoor temperature
	days     int
	// change alters the chimney of a day at an instant of its burn.
	change func(s *rig.Stack, day int, since time.Duration)
	judge  Judge
	gate   *gate.Judge
	notes  []note
	last   Finding
}

type note struct {
	day                int
	restricted, sudden bool
	known              bool
}

func (s *season) play() []note {
	if s.gate == nil {
		s.gate = gate.New(gate.Settings{DraftLow: 10, DraftHigh: 17.5, Unfitted: s.stack.State == regulator.StuckShut})
	}
	for d := range s.days {
		early, late := s.stack, s.stack
		early.Outdoor = float64((d*7)%25) - 12 // weather
		late.Outdoor = early.Outdoor
		s.change(&early, d, 0)
		s.change(&late, d, 3*time.Hour)
		before, after := early.Draft(), late.Draft()
		outdoor := math.NaN()
		if s.measured {
			outdoor = early.Outdoor
		}
		n := rig.Night{
			Peak: 200 + float64((d*37)%100), Length: 6 * time.Hour, Every: 4 * time.Second,
			Noise: 0.6, Outdoor: outdoor, Seed: uint64(d),
		}
		n.Play(time.Duration(d)*day, func(since time.Duration, flue float64) float64 {
			if since > 2*time.Hour {
				return after.At(flue)
			}
			return before.At(flue)
		}, func(at time.Duration, v frame.Values, phase burn.Phase) {
			g := s.gate.Step(gate.Inputs{At: at, Values: v, Phase: phase})
			m, full := s.gate.Minute()
			in := Inputs{At: at, Phase: phase, Minute: m, Full: full, Course: s.gate.Course(), Gate: g}
			if s.stack.State != regulator.StuckShut {
				in.DraftLow, in.DraftHigh = 10, 17.5
			}
			f := s.judge.Step(in)
			if f.Restricted != s.last.Restricted || f.Sudden != s.last.Sudden {
				s.notes = append(s.notes, note{d, f.Restricted, f.Sudden, f.Known})
			}
			s.last = f
		})
	}
	return s.notes
}

func TestSeasons(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	clean := func(*rig.Stack, int, time.Duration) {}
	creosote := func(s *rig.Stack, d int, _ time.Duration) { s.Fittings += 3 * math.Max(0, float64(d-8)) }
	nest := func(s *rig.Stack, d int, _ time.Duration) {
		if d >= 12 && d < 18 {
			s.Fittings = 40
		}
	}
	capFalls := func(s *rig.Stack, d int, since time.Duration) {
		if d == 12 && since > 0 || d > 12 && d < 18 {
			s.Fittings = 40
		}
	}
	fan := func(s *rig.Stack, d int, _ time.Duration) {
		if d == 14 {
			s.House = 4
		}
	}
	type want struct {
		from, to int // days between which it is first said; to 0: never
		sudden   bool
		over     bool // said to be gone again by the end
	}
	for _, c := range []struct {
		name   string
		days   int
		free   bool // no regulator
		height float64
		change func(*rig.Stack, int, time.Duration)
		want   want
	}{
		{"clean", 25, false, 7, clean, want{}},
		{"clean, no regulator", 25, true, 7, clean, want{}},
		{"creosote", 25, false, 7, creosote, want{from: 13, to: 22}},
		{"creosote, no regulator", 25, true, 7, creosote, want{from: 10, to: 15}},
		{"a nest for a week, no regulator", 25, true, 7, nest, want{from: 12, to: 12, sudden: true, over: true}},
		{"a nest for a week, short chimney", 25, false, 5, nest, want{from: 12, to: 12, sudden: true, over: true}},
		{"the cap falls, no regulator", 25, true, 7, capFalls, want{from: 12, to: 12, sudden: true, over: true}},
		{"a fan on one night", 25, true, 7, fan, want{}},
	} {
		for _, measured := range []bool{true, false} {
			s := season{stack: rig.Default, measured: measured, days: c.days, change: c.change}
			s.stack.Height = c.height
			if c.free {
				s.stack.State = regulator.StuckShut
			}
			notes := s.play()
			switch {
			case c.want.to == 0:
				if len(notes) != 0 {
					t.Errorf("%s (%v): said %v", c.name, measured, notes)
				}
				continue
			case len(notes) == 0:
				t.Errorf("%s (%v): said nothing, loss %.2f, over coals %.2f", c.name, measured, s.last.Loss, s.last.Onset)
				continue
			}
			first := notes[0]
			if !first.restricted || first.sudden != c.want.sudden || first.day < c.want.from || first.day > c.want.to+2 {
				t.Errorf("%s (%v): said %v, want %+v", c.name, measured, notes, c.want)
			}
			if s.last.Restricted == c.want.over || len(notes) > 3 {
				t.Errorf("%s (%v): in the end %v after %v", c.name, measured, s.last.Restricted, notes)
			}
		}
	}
}

// What falls into the chimney in the first burn that is seen is said, whether or not the fire
// has been as hot since as it was before.
func TestAFallInTheFirstBurn(t *testing.T) {
	s := season{stack: rig.Default, measured: true, days: 1, change: func(s *rig.Stack, _ int, since time.Duration) {
		if since > 0 {
			s.Fittings = 60
		}
	}}
	s.stack.State = regulator.StuckShut
	said := s.play()
	if len(said) == 0 || !said[0].sudden || !said[0].known {
		t.Errorf("said %+v", said)
	}
}

// The whole of what is known survives a restart between two burns.
func TestMemory(t *testing.T) {
	grow := func(s *rig.Stack, d int, _ time.Duration) { s.Fittings += 3 * math.Max(0, float64(d-8)) }
	a := season{stack: rig.Default, measured: true, days: 24, change: grow}
	a.stack.State = regulator.StuckShut
	a.play()
	var j Judge
	j.Restore(a.judge.Memory())
	if j.Memory() != a.judge.Memory() || !j.finding.Restricted || j.finding.Loss != a.last.Loss {
		t.Errorf("restored %+v", j.finding)
	}
	if m := a.judge.Memory(); !m.Fixed || m.Flames.Burns != learnt || m.Losses.Burns != window {
		t.Errorf("kept %v, %d burns of baseline, %d losses", m.Fixed, m.Flames.Burns, m.Losses.Burns)
	}
	if e := a.last.Excluded; e&(Wind|ColdChimney|Weather|House) != Wind|ColdChimney|Weather|House || e&OpenGate != 0 {
		t.Errorf("excluded %b", e)
	}
	for name, spoil := range map[string]func(*Memory){
		"a NaN":             func(m *Memory) { m.Flames.Bins[9].Draft = math.NaN() },
		"an infinite loss":  func(m *Memory) { m.Losses.Loss[1] = math.Inf(1) },
		"negative burns":    func(m *Memory) { m.Coals.Burns = -1 },
		"a negative square": func(m *Memory) { m.Flames.Bins[9].Square = -1 },
	} {
		m := a.judge.Memory()
		spoil(&m)
		var j Judge
		if j.Restore(m); j.Memory() != (Memory{}) {
			t.Errorf("%s was restored", name)
		}
	}
}

// Whoever sets a regulator lower does not block the flue, nor does a burn that hardly
// deserves the name.
func TestBurnsThatDoNotCount(t *testing.T) {
	for name, change := range map[string]func(*rig.Stack, int, time.Duration){
		"set lower": func(s *rig.Stack, d int, _ time.Duration) {
			if d > 12 {
				s.Set = 5
			}
		},
		"held shut for one burn, and freed within it": func(s *rig.Stack, d int, since time.Duration) {
			if d == 1 && since == 0 {
				s.State = regulator.StuckShut
			}
		},
		"held shut for days, and freed within a burn": func(s *rig.Stack, d int, since time.Duration) {
			if d < 12 || d == 12 && since == 0 {
				s.State = regulator.StuckShut
			}
		},
		"held shut": func(s *rig.Stack, d int, _ time.Duration) {
			if d > 12 {
				s.State = regulator.StuckShut
			}
		},
	} {
		s := season{stack: rig.Default, measured: true, days: 18, change: change}
		if notes := s.play(); len(notes) != 0 {
			t.Errorf("%s: said %v", name, notes)
		}
	}
}

func TestMedianIsKindToOddBurns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r Recent
		for _, l := range rapid.SliceOfN(rapid.Float64Range(-1, 1), 1, 8).Draw(t, "losses") {
			r.add(l)
		}
		above := 0
		for _, l := range r.Loss[:r.Burns] {
			if l >= r.Median() {
				above++
			}
		}
		if above < min(2, r.Burns) {
			t.Fatalf("%v has the median %g", r, r.Median())
		}
	})
}

func TestStepAllocatesNothing(t *testing.T) {
	g := gate.New(gate.Settings{DraftLow: 10, DraftHigh: 17.5})
	var j Judge
	at := time.Duration(0)
	var v frame.Values
	for c := range v {
		v[c] = math.NaN()
	}
	if n := testing.AllocsPerRun(5000, func() {
		at += 10 * time.Second
		v[frame.Flue], v[frame.Draft] = 180+100*math.Sin(at.Hours()*9), 14
		phase := burn.Phase(int(at.Hours()) % 7)
		f := g.Step(gate.Inputs{At: at, Values: v, Phase: phase})
		m, full := g.Minute()
		j.Step(Inputs{At: at, Phase: phase, Minute: m, Full: full, Course: g.Course(), Gate: f})
	}); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	var j Judge
	var course drive.Course
	at := time.Duration(0)
	for b.Loop() {
		at += time.Second
		m := drive.Minute{At: at, Weight: 60, Drive: 4, Draft: 12}
		j.Step(Inputs{At: at, Phase: burn.CleanBurn, Minute: m, Full: at%time.Minute == 0, Course: &course})
	}
}

// Any sequence of minutes and phases: no panic, no NaN, a memory that can be restored.
func FuzzStep(f *testing.F) {
	f.Add([]byte{3, 60, 120, 1, 4, 60, 60, 2, 1, 0, 0, 0})
	f.Add([]byte{3, 60, 255, 9, 6, 250, 1, 4})
	f.Fuzz(func(t *testing.T, data []byte) {
		var j Judge
		var course drive.Course
		at := time.Duration(0)
		for range 100 {
			for i := 0; i+4 <= len(data); i += 4 {
				at += time.Duration(int8(data[i+3])) * time.Minute
				m := drive.Minute{At: at, Weight: 60, Drive: float64(data[i+1]) / 20, Draft: float64(int8(data[i+2])) / 4, Measured: data[i+3]&1 != 0}
				course.Add(m)
				fd := j.Step(Inputs{
					At: at, Phase: burn.Phase(data[i] % 7), Minute: m, Full: data[i] < 200, Course: &course,
					Gate: gate.Finding{State: gate.State(data[i] % 9)},
				})
				for _, x := range []float64{fd.Loss, fd.Onset, fd.Now.Loss, fd.Now.Spread, fd.Now.Pascals, fd.Change.Ratio} {
					if math.IsNaN(x) || math.IsInf(x, 0) {
						t.Fatalf("%+v", fd)
					}
				}
				if fd.Sudden && !fd.Restricted {
					t.Fatal("sudden and not restricted")
				}
			}
		}
		m := j.Memory()
		if !m.valid() {
			t.Fatalf("a memory that is not valid: %+v", m)
		}
	})
}
