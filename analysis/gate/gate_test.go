package gate

import (
	"fmt"
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/chimney"
	"fluewright/analysis/drive"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/internal/noise"
	"fluewright/analysis/internal/rig"
	"fluewright/analysis/regulator"
	"fluewright/sensors/bench/furnace"
)

var band = Settings{DraftLow: 10, DraftHigh: 17.5}

// watch plays a night of the stack and returns the states in their order.
func watch(j *Judge, s rig.Stack, n rig.Night, at time.Duration) []State {
	table := s.Draft()
	var states []State
	last := j.finding.State
	n.Play(at, func(_ time.Duration, flue float64) float64 { return table.At(flue) },
		func(at time.Duration, v frame.Values, phase burn.Phase) {
			f := j.Step(Inputs{At: at, Values: v, Phase: phase})
			if f.State != last {
				states, last = append(states, f.State), f.State
			}
		})
	return states
}

func TestStatesByPhysics(t *testing.T) {
	for _, c := range []struct {
		name     string
		change   func(*rig.Stack)
		settings Settings
		want     State
	}{
		{"as it should be", func(*rig.Stack) {}, band, Holding},
		{"held shut", func(s *rig.Stack) { s.State = regulator.StuckShut }, band, StuckShut},
		{"set high", func(s *rig.Stack) { s.Set = 20 }, band, SetHigh},
		{"set low", func(s *rig.Stack) { s.Set = 5 }, band, SetLow},
		{"moved from its mark", func(s *rig.Stack) { s.Set = 15 }, Settings{DraftLow: 10, DraftHigh: 25, Set: 9}, SetHigh},
		{"at its mark", func(s *rig.Stack) { s.Set = 12 }, Settings{DraftLow: 8, DraftHigh: 25, Set: 12}, Holding},
		{
			"open, chimney known", func(s *rig.Stack) { s.State = regulator.StuckOpen; s.Outdoor = 12; s.Height = 4 },
			Settings{DraftLow: 12.5, DraftHigh: 17.5, Reach: 3.4},
			StuckOpen,
		},
		{
			"open, nothing known", func(s *rig.Stack) { s.State = regulator.StuckOpen; s.Outdoor = 12; s.Height = 4 },
			Settings{DraftLow: 12.5, DraftHigh: 17.5},
			Unknown,
		},
		{
			"blocked flue, which looks the same", func(s *rig.Stack) { s.Fittings = 60; s.Height = 5 },
			Settings{DraftLow: 12.5, DraftHigh: 17.5, Reach: 4},
			StuckOpen,
		},
		{"short chimney that opens no gate", func(s *rig.Stack) { s.Height = 2.5; s.Outdoor = 10 }, band, Unknown},
		{"no regulator", func(s *rig.Stack) { s.State = regulator.StuckShut }, Settings{DraftLow: 10, DraftHigh: 17.5, Unfitted: true}, Unknown},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := rig.Default
			c.change(&s)
			j := New(c.settings)
			states := watch(j, s, rig.Night{Peak: 280, Length: 7 * time.Hour, Every: 2 * time.Second, Noise: 0.6, Outdoor: s.Outdoor}, time.Hour)
			// A gate that is set high looks held shut until it opens.
			if c.want == SetHigh && len(states) > 0 && states[0] == StuckShut {
				states = states[1:]
			}
			got := Unknown
			if len(states) > 0 {
				got = states[0]
			}
			if got != c.want || len(states) > 1 {
				t.Errorf("got %v, want %v alone", states, c.want)
			}
		})
	}
}

// A burn that shows nothing leaves standing what an earlier one showed; one that shows
// something else replaces it.
func TestFindingsStandUntilReplaced(t *testing.T) {
	j := New(band)
	night := rig.Night{Peak: 280, Length: 5 * time.Hour, Every: 2 * time.Second, Noise: 0.6}
	shut := rig.Default
	shut.State = regulator.StuckShut
	watch(j, shut, night, 0)
	weak := night
	weak.Peak = 60
	if got := watch(j, rig.Default, weak, 12*time.Hour); len(got) != 0 {
		t.Errorf("a burn that hardly drew says %v", got)
	}
	if got := watch(j, rig.Default, night, 24*time.Hour); len(got) != 1 || got[0] != Holding {
		t.Errorf("repaired, it says %v", got)
	}
	other := New(band)
	other.Restore(j.Memory())
	if other.Memory() != j.Memory() || j.Memory().Reach == 0 || j.Memory().Held == 0 {
		t.Errorf("kept %+v, restored %+v", j.Memory(), other.Memory())
	}
	other.Restore(Memory{Reach: math.NaN()})
	if other.Memory() != (Memory{}) {
		t.Error("nonsense was restored")
	}
}

// The bench's furnace has another model: wind, gusts, a liner that warms up, a damper.
// Nothing tells the judge the weather.
func TestFurnaceOfTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	kinds := []struct {
		name  string
		set   float64
		stuck furnace.Stuck
		right map[State]bool // what may be said
		must  State
	}{
		{"free", 12.5, furnace.Free, map[State]bool{Holding: true}, Holding},
		{"shut", 12.5, furnace.StuckShut, map[State]bool{StuckShut: true}, StuckShut},
		{"high", 20, furnace.Free, map[State]bool{SetHigh: true, StuckShut: true}, Unknown},
		{"low", 5, furnace.Free, map[State]bool{SetLow: true, Holding: true}, Unknown},
	}
	found := map[string]int{}
	nights := 0
	for _, height := range []float64{5, 9} {
		for _, outdoor := range []float64{-20, 12} {
			for _, wind := range []float64{0, 6} {
				nights++
				for _, k := range kinds {
					states := bench(k.set, k.stuck, height, outdoor, wind)
					for s := range states {
						if !k.right[s] {
							t.Errorf("%s, %g m, %g °C, %g m/s: %v", k.name, height, outdoor, wind, s)
						}
						if s.Wrong() || s == Holding {
							found[k.name+" "+s.String()]++
						}
					}
					if k.must != Unknown && !states[k.must] {
						t.Errorf("%s, %g m, %g °C, %g m/s: never %v", k.name, height, outdoor, wind, k.must)
					}
				}
			}
		}
	}
	t.Logf("of %d nights each: %v", nights, found)
	if found["high set-high"]+found["high stuck-shut"] < nights {
		t.Error("a gate that was set high was missed")
	}
}

// bench burns for seven hours, with a reload, and returns the states that were found.
func bench(set float64, stuck furnace.Stuck, height, outdoor, wind float64) map[State]bool {
	f := furnace.New(furnace.Config{Outdoor: outdoor, ChimneyHeight: height}, uint64(height)+7)
	f.SetRegulator(set, stuck)
	f.SetWind(wind)
	f.Light(14, 0.16, 1)
	j := New(band)
	states := map[State]bool{}
	var tracker burn.Tracker
	for at := time.Duration(0); at < 7*time.Hour; at += time.Second {
		if at == 3*time.Hour {
			f.Reload(10, 0.16, 1)
		}
		f.Advance(time.Second)
		s := f.State()
		var v frame.Values
		for c := range v {
			v[c] = math.NaN()
		}
		v[frame.Flue], v[frame.Room], v[frame.Draft] = s.Probe.Flue, s.Probe.Room, s.Draft
		tracker.Step(burn.Inputs{At: at, Values: v})
		if got := j.Step(Inputs{At: at, Values: v, Phase: tracker.Phase, Spoilt: s.Door}).State; got != Unknown {
			states[got] = true
		}
	}
	return states
}

func TestFlutter(t *testing.T) {
	for _, c := range []struct {
		name      string
		every     time.Duration
		frequency float64
		amplitude float64 // Pa
		noise     float64 // Pa
		known     bool
		want      bool
	}{
		{"a gate that swings", 100 * time.Millisecond, 0.8, 3, 0.5, true, true},
		{"slowly", 250 * time.Millisecond, 0.35, 3, 0.5, true, true},
		{"at 2 Hz of sampling", 500 * time.Millisecond, 0.6, 3, 0.3, true, true},
		{"a little", 100 * time.Millisecond, 0.8, 0.4, 0.1, true, false},
		{"noise alone", 100 * time.Millisecond, 0.8, 0, 2, true, false},
		{"noise at 2 Hz", 500 * time.Millisecond, 0.8, 0, 2, true, false},
		{"pumping of a slow burn", 100 * time.Millisecond, 0.05, 3, 0.2, true, false},
		{"folded by a sampling of 1 Hz", time.Second, 0.8, 3, 0.3, true, true},
		{"noise at 1 Hz", time.Second, 0.8, 0, 2, true, false},
		{"sampling too slow to tell", 2 * time.Second, 0.4, 3, 0.3, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			j := New(band)
			random := noise.Source(1)
			var f Finding
			said := false
			for at := time.Duration(0); at < 15*time.Minute; at += c.every {
				v := blank()
				v[frame.Flue] = 220
				v[frame.Draft] = 14 + c.noise*random.Normal() + c.amplitude*math.Sin(2*math.Pi*c.frequency*at.Seconds())
				f = j.Step(Inputs{At: at, Values: v, Phase: burn.CleanBurn})
				said = said || f.State == Fluttering
			}
			if f.Swing.Known != c.known || said != c.want {
				t.Errorf("said %v: %+v", said, f.Swing)
			}
			if c.want && c.every < time.Second && math.Abs(f.Swing.Frequency-c.frequency) > 0.15*c.frequency {
				t.Errorf("swings at %g Hz, want %g", f.Swing.Frequency, c.frequency)
			}
		})
	}
}

func blank() frame.Values {
	var v frame.Values
	for c := range v {
		v[c] = math.NaN()
	}
	return v
}

func TestReachOf(t *testing.T) {
	s := rig.Default
	system := s.Site().System
	got := ReachOf(system, gas.SeaLevel)
	// The network with the gate shut, at a flue of 200 °C: package regulator.
	s.State = regulator.StuckShut
	table := s.Draft()
	want := table.At(200) / chimney.Theoretical(1, gas.SeaLevel, gas.DryAir().Constant(), 0, 200)
	if math.Abs(got/want-1) > 0.2 {
		t.Errorf("reach %g m, want about %g", got, want)
	}
	if high := ReachOf(system, 80000); math.Abs(high/got-1) > 0.1 {
		t.Errorf("reach %g m high up, %g at the sea", high, got)
	}
	if got := ReachOf(chimney.System{}, gas.SeaLevel); got != 0 {
		t.Errorf("no chimney reaches %g m", got)
	}
}

func TestSettings(t *testing.T) {
	for _, s := range []Settings{{}, band, {DraftLow: 5, DraftHigh: 8, Set: 6, Reach: 5}} {
		if err := s.Validate(); err != nil {
			t.Errorf("%+v: %v", s, err)
		}
	}
	for _, s := range []Settings{
		{DraftLow: 9, DraftHigh: 8}, {DraftHigh: math.NaN()}, {DraftHigh: math.Inf(1)}, {Set: 0.1}, {Set: math.NaN()}, {Reach: -1},
	} {
		if s.Validate() == nil {
			t.Errorf("%+v is accepted", s)
		}
	}
}

func TestStateNames(t *testing.T) {
	seen := map[string]bool{}
	for s := Unknown; s <= Fluttering; s++ {
		seen[s.String()] = true
	}
	if len(seen) != 7 || State(99).String() != "unknown" || StuckOpen.String() != "stuck-open" {
		t.Errorf("names %v", seen)
	}
}

func TestStepAllocatesNothing(t *testing.T) {
	j := New(band)
	at := time.Duration(0)
	v := blank()
	if n := testing.AllocsPerRun(5000, func() {
		at += time.Second
		v[frame.Flue], v[frame.Draft] = 180+100*math.Sin(at.Hours()*9), 14
		j.Step(Inputs{At: at, Values: v, Phase: burn.CleanBurn})
	}); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	j := New(band)
	at := time.Duration(0)
	v := blank()
	for b.Loop() {
		at += time.Second
		v[frame.Flue], v[frame.Draft] = 180+100*math.Sin(at.Hours()*9), 14
		j.Step(Inputs{At: at, Values: v, Phase: burn.CleanBurn})
	}
}

// Any sequence of frames: no panic, no NaN, no state outside the list.
func FuzzStep(f *testing.F) {
	f.Add([]byte{1, 200, 120, 3, 1, 210, 125, 3})
	f.Add([]byte{255, 0, 255, 9, 0, 254, 1, 4})
	f.Fuzz(func(t *testing.T, data []byte) {
		j := New(Settings{DraftLow: 10, DraftHigh: 17.5, Reach: 4, Set: 12})
		at := time.Duration(0)
		for range 60 {
			for i := 0; i+4 <= len(data); i += 4 {
				at += step(data[i])
				v := blank()
				v[frame.Flue], v[frame.Draft] = reading(data[i+1], 3), reading(data[i+2], 0.15)
				v[frame.Outdoor] = reading(data[i+3], 0.2)
				fd := j.Step(Inputs{At: at, Values: v, Phase: burn.Phase(data[i+3] % 9), Spoilt: data[i+3] > 240})
				if fd.State > Fluttering {
					t.Fatalf("state %d", fd.State)
				}
				for _, x := range []float64{
					fd.Exponent.Value, fd.Exponent.Low, fd.Exponent.High, fd.Exponent.Draft, fd.Exponent.Slope, fd.Expected,
					fd.Swing.Frequency, fd.Swing.RMS, fd.Swing.Irregular, j.Memory().Reach, j.Memory().Held,
				} {
					if math.IsNaN(x) || math.IsInf(x, 0) {
						t.Fatalf("%+v", fd)
					}
				}
			}
		}
	})
}

// step and reading make of a byte what frames can bring, the impossible included.
func step(b byte) time.Duration {
	switch {
	case b == 255:
		return -time.Hour
	case b == 254:
		return 10 * time.Minute
	case b > 200:
		return 100 * time.Millisecond
	}
	return time.Duration(b) * time.Second
}

func reading(b byte, scale float64) float64 {
	switch b {
	case 255:
		return math.NaN()
	case 254:
		return math.Inf(1)
	case 253:
		return -1e300
	}
	return float64(b) * scale
}

func ExampleJudge() {
	s := rig.Default
	s.State = regulator.StuckShut
	table := s.Draft()
	j := New(Settings{DraftLow: 10, DraftHigh: 15, Air: drive.Air{Pressure: 98000}})
	var f Finding
	rig.Night{Peak: 280, Length: 5 * time.Hour, Every: time.Second}.Play(0,
		func(_ time.Duration, flue float64) float64 { return table.At(flue) },
		func(at time.Duration, v frame.Values, phase burn.Phase) {
			f = j.Step(Inputs{At: at, Values: v, Phase: phase})
		})
	fmt.Println(f.State, f.State.Wrong(), f.State.Stuck())
	// Output: stuck-shut true true
}
