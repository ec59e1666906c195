package path

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/sensors"
)

var start = time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC)

// thermocouple is an amplifier with 0.05 K of noise and a 3 mm probe, read twice a second.
func thermocouple(t testing.TB, o Opts) *Path {
	t.Helper()
	if o.Probe == nil {
		o.Probe = &Probe{TimeConstant: 35 * time.Second, Noise: 0.05, Indoors: true}
	}
	return newPath(t, o)
}

func newPath(t testing.TB, o Opts) *Path {
	t.Helper()
	p, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func at(i int) time.Time { return start.Add(time.Duration(i) * 500 * time.Millisecond) }

func junctions(hot, cold float64) sensors.Sample {
	var s sensors.Sample
	s.Set(sensors.HotJunction, hot)
	s.Set(sensors.ColdJunction, cold)
	return s
}

func pressure(v float64) sensors.Sample {
	var s sensors.Sample
	s.Set(sensors.DifferentialPressure, v)
	return s
}

// hots runs hot junctions through a path; what was withheld is NaN.
func hots(t testing.TB, p *Path, values ...float64) []float64 {
	t.Helper()
	out := make([]float64, len(values))
	for i, v := range values {
		s, ok, err := p.Step(junctions(v, 25), at(i))
		if err != nil {
			t.Fatalf("look %d: %v", i, err)
		}
		out[i] = math.NaN()
		if ok {
			out[i], _ = s.Get(sensors.HotJunction)
		}
	}
	return out
}

var gone = math.NaN()

func TestSpikes(t *testing.T) {
	tests := map[string]struct{ in, want []float64 }{
		"one spike is withheld, upwards and downwards": {
			[]float64{250, 250, 250, 600, 250, 250, 90, 251}, []float64{250, 250, 250, gone, 250, 250, gone, 251},
		},
		"a step passes with its second sample": {
			[]float64{250, 250, 620, 621, 622}, []float64{250, 250, gone, 621, 622},
		},
		"a step behind a spike passes with its second sample": {
			[]float64{250, 250, 50, 620, 621, 622}, []float64{250, 250, gone, gone, 621, 622},
		},
		// The trap of Hampel's filter: the median absolute deviation of a quiet quantised
		// signal is zero, and any last digit would be a spike.
		"one step of the last digit": {
			[]float64{5, 5, 5, 5, 5.25, 5, 5, 5, 5}, []float64{5, 5, 5, 5, 5.25, 5, 5, 5, 5},
		},
		"what the sheath can follow passes, however far from a quiet past": {
			[]float64{250, 250, 250, 250, 250, 280, 310, 340}, []float64{250, 250, 250, 250, 250, 280, 310, 340},
		},
		"the first sample is whatever it is": {[]float64{900}, []float64{900}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := hots(t, thermocouple(t, Opts{}), tt.in...)
			for i := range got {
				if got[i] != tt.want[i] && !(math.IsNaN(got[i]) && math.IsNaN(tt.want[i])) {
					t.Fatalf("got %v, want %v", got, tt.want)
				}
			}
		})
	}
}

// Whatever gas a probe of the stated sheath, or of one up to twice as quick, is exposed
// to, none of its samples is withheld.
func TestWhatAProbeCanMeasureIsNeverWithheld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tau := rapid.Float64Range(5, 90).Draw(t, "tau")
		stated := tau * rapid.Float64Range(0.5, 2).Draw(t, "stated")
		p, err := New(Opts{Probe: &Probe{TimeConstant: time.Duration(stated * 1e9), Noise: 0.05}})
		if err != nil {
			t.Fatal(err)
		}
		probe, gas := 20.0, 20.0
		for i := range 200 {
			if rapid.IntRange(0, 9).Draw(t, "turn") == 0 {
				gas = rapid.Float64Range(-40, 1300).Draw(t, "gas")
			}
			probe = gas + (probe-gas)*math.Exp(-0.5/tau)
			noise := rapid.Float64Range(-0.1, 0.1).Draw(t, "noise")
			if _, ok, err := p.Step(junctions(probe+noise, 25), at(i)); !ok || err != nil {
				t.Fatalf("look %d: %.1f °C withheld, %v", i, probe, err)
			}
		}
	})
}

// Whatever came before, a level that stays is passed on within two samples of its own,
// unless a spike came right before it: then within the same two.
func TestAStepPassesWithinTwoSamples(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, err := New(Opts{Probe: &Probe{TimeConstant: 35 * time.Second, Noise: 0.05}})
		if err != nil {
			t.Fatal(err)
		}
		i := 0
		step := func(v float64) bool {
			_, ok, err := p.Step(junctions(v, 25), at(i))
			if err != nil {
				t.Fatal(err)
			}
			i++
			return ok
		}
		for _, v := range rapid.SliceOfN(rapid.Float64Range(-100, 1300), 0, 50).Draw(t, "before") {
			step(v)
		}
		level := rapid.Float64Range(-100, 1300).Draw(t, "level")
		if first, second := step(level), step(level); !first && !second {
			t.Fatalf("%g °C is withheld twice", level)
		}
	})
}

func TestManySpikesAreNoise(t *testing.T) {
	p := thermocouple(t, Opts{})
	for i := range 40 {
		v := 250.0
		if i%10 == 9 {
			v = 700
		}
		s, ok, err := p.Step(junctions(v, 25), at(i))
		if err != nil {
			t.Fatal(err)
		}
		if want := sensors.Code(""); i < 29 && s.Doubt != want {
			t.Fatalf("look %d: %s after fewer than three spikes", i, s.Doubt)
		}
		if i >= 30 && ok && s.Doubt != sensors.Noisy {
			t.Fatalf("look %d: doubt %q after three spikes in half a minute", i, s.Doubt)
		}
	}
	if n := p.Counts().Spikes; n != 4 {
		t.Errorf("%d spikes counted, want 4", n)
	}
}

func TestAFaultEndsWhatIsExpected(t *testing.T) {
	p := thermocouple(t, Opts{})
	hots(t, p, 250, 250, 250)
	p.Interrupt() // the wire was off, and now is on again
	if _, ok, _ := p.Step(junctions(620, 25), at(4)); !ok {
		t.Error("the first sample after a fault is withheld")
	}
}

func TestBurst(t *testing.T) {
	p := newPath(t, Opts{Burst: 3})
	var got []float64
	for i, v := range []float64{10, 10, 99, 11, 12, 13} {
		s, _, err := p.Step(pressure(v), at(i))
		if err != nil {
			t.Fatal(err)
		}
		v, _ := s.Get(sensors.DifferentialPressure)
		got = append(got, v)
		if age := at(i).Sub(s.Taken); age < 0 || age > time.Second {
			t.Errorf("look %d: the sample is %v old, the burst lasts 1 s", i, age)
		}
	}
	for i, want := range []float64{10, 10, 10, 11, 12, 12} {
		if got[i] != want {
			t.Fatalf("got %v", got)
		}
	}
}

func TestFrozen(t *testing.T) {
	p := newPath(t, Opts{FrozenAfter: 30 * time.Second})
	for i := range 61 {
		s := pressure(12.5)
		s.Raw = sensors.RawOf([]byte{byte(i)}) // a driver may number its requests
		_, ok, err := p.Step(s, at(i))
		if frozen := sensors.CodeOf(err) == sensors.Frozen; frozen != (i == 60) || ok == frozen {
			t.Fatalf("look %d: ok %v, %v", i, ok, err)
		}
	}
	if _, ok, err := p.Step(pressure(12.504), at(62)); !ok || err != nil {
		t.Errorf("moves again: %v", err)
	}
	if n := p.Counts().Frozen; n != 1 {
		t.Errorf("%d looks counted, want 1", n)
	}
}

// A chip that converts more slowly than it is looked at repeats itself and is well.
func TestASlowChipIsNotFrozen(t *testing.T) {
	p := newPath(t, Opts{FrozenAfter: 30 * time.Second})
	for i := range 1000 {
		if _, _, err := p.Step(pressure(float64(i/50)), start.Add(time.Duration(i)*100*time.Millisecond)); err != nil {
			t.Fatalf("look %d: %v", i, err)
		}
	}
}

func TestWiresSwapped(t *testing.T) {
	p := thermocouple(t, Opts{})
	step := func(i int, hot float64) (sensors.Code, error) {
		s, _, err := p.Step(junctions(hot, 25), at(i))
		return s.Doubt, err
	}
	for i := range 130 { // it heats, and reads the other way
		doubt, err := step(i, 25-float64(i)/2)
		below := i > 20 // 10 K
		switch code := sensors.CodeOf(err); {
		case i >= 21+120 && code != sensors.WiresSwapped, i < 21+120 && code != "":
			t.Fatalf("look %d: %v", i, err)
		case code == "" && (doubt == sensors.WiresSwapped) != below:
			t.Fatalf("look %d: doubt %q", i, doubt)
		}
	}
	for i := 130; i < 145; i++ {
		_, err := step(i, -40)
		if i > 142 && sensors.CodeOf(err) != sensors.WiresSwapped {
			t.Fatalf("look %d: %v", i, err)
		}
	}
	// The fire is out: near the room it reads right, and is not believed until it has
	// shown that it can be above.
	if doubt, err := step(200, 24); err != nil || doubt != sensors.WiresSwapped {
		t.Errorf("cold: doubt %q, %v", doubt, err)
	}
	if doubt, err := step(220, 45); err != nil || doubt != "" {
		t.Errorf("mended: doubt %q, %v", doubt, err)
	}
}

func TestOutdoorsMayBeColder(t *testing.T) {
	p := thermocouple(t, Opts{Probe: &Probe{Noise: 0.05}})
	for i := range 400 {
		if s, ok, err := p.Step(junctions(-15, 20), at(i)); !ok || err != nil || s.Doubt != "" {
			t.Fatalf("look %d: doubt %q, %v", i, s.Doubt, err)
		}
	}
}

func TestColdJunctionJumps(t *testing.T) {
	p := thermocouple(t, Opts{})
	doubts := 0
	for i := range 1200 {
		cold := 25 + float64(i)*0.05 // 6 K a minute, as beside a warming furnace
		if i >= 600 {
			cold += 8
		}
		s, ok, err := p.Step(junctions(400, cold), at(i))
		if !ok || err != nil {
			t.Fatalf("look %d: %v", i, err)
		}
		if s.Doubt == sensors.ColdJunctionJump {
			doubts++
		}
	}
	if n := p.Counts().Jumps; n != 1 || doubts != 120 {
		t.Errorf("%d jumps and %d doubtful looks, want 1 and 120", n, doubts)
	}
}

func TestHoseFallsStill(t *testing.T) {
	rng := uint64(1)
	noise := func(sigma float64) float64 { // twelve uniform numbers make a normal one
		sum := -6.0
		for range 12 {
			rng = rng*6364136223846793005 + 1442695040888963407
			sum += float64(rng>>11) / (1 << 53)
		}
		return sigma * sum
	}
	tests := map[string]struct {
		before, after float64 // movement beside the sensor's own noise
		want          bool
	}{
		"a fire, then nothing":     {0.25, 0, true},
		"a fire, then coals":       {0.25, 0.08, false},
		"never anything":           {0, 0, false},
		"a fire, and more of it":   {0.25, 0.4, false},
		"a faint fire, then still": {0.05, 0, false},
		"a fire that burns out":    {0.25, -1, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := newPath(t, Opts{Hose: 0.03})
			var doubt sensors.Code
			looks := 1200
			if tt.after < 0 {
				looks = 40000
			}
			for i := range looks {
				moves, level := tt.before, 12.0
				if i >= 600 {
					moves, level = tt.after, 12-float64(i-600)*0.02 // and a slow fall
				}
				if moves < 0 { // over hours
					moves = 0.25 * math.Exp(-float64(i-600)/7200)
				}
				s, ok, err := p.Step(pressure(level+noise(moves)+noise(0.02)), at(i))
				if !ok || err != nil {
					t.Fatal(err)
				}
				if doubt = s.Doubt; i < 600 && doubt != "" {
					t.Fatalf("look %d: doubt %q", i, doubt)
				}
			}
			if got := doubt == sensors.TubeBlocked; got != tt.want {
				t.Errorf("doubt %q", doubt)
			}
		})
	}
}

// The chip's own doubt comes before the path's.
func TestFirstDoubtStays(t *testing.T) {
	p := thermocouple(t, Opts{})
	s := junctions(300, 65)
	s.Doubt = sensors.ColdJunctionHot
	p.Step(s, at(0))
	out, _, err := p.Step(func() sensors.Sample { s.Set(sensors.ColdJunction, 75); return s }(), at(1))
	if err != nil || out.Doubt != sensors.ColdJunctionHot {
		t.Errorf("doubt %q, %v", out.Doubt, err)
	}
}

func TestNewRefuses(t *testing.T) {
	for name, o := range map[string]Opts{
		"burst too long":   {Burst: MaxBurst + 1},
		"burst below zero": {Burst: -1},
		"no noise":         {Probe: &Probe{}},
		"negative lag":     {Probe: &Probe{Noise: 1, TimeConstant: -1}},
		"negative hose":    {Hose: -1},
	} {
		if _, err := New(o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Printed by a thermocouple maker for insulated junctions in air: time to 50 % and to
// 90 % in seconds, by diameter in mm. A first-order lag has 3.32 between them.
func TestSheaths(t *testing.T) {
	printed := map[float64][2]float64{1.5: {8, 25}, 3: {23, 80}, 4.5: {37, 120}, 6: {60, 200}, 8: {100, 360}}
	if len(printed) != len(Sheaths()) {
		t.Errorf("sheaths %v", Sheaths())
	}
	for mm, times := range printed {
		tau, ok := SheathTimeConstant(mm)
		if !ok {
			t.Errorf("no sheath of %g mm", mm)
			continue
		}
		for i, share := range []float64{0.5, 0.9} {
			got := -tau.Seconds() * math.Log(1-share)
			if math.Abs(got/times[i]-1) > 0.1 {
				t.Errorf("%g mm: %.1f s to %g %%, printed %g s", mm, got, 100*share, times[i])
			}
		}
	}
	if _, ok := SheathTimeConstant(2); ok {
		t.Error("a sheath that was not published")
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	p := thermocouple(t, Opts{Burst: 5, FrozenAfter: time.Minute, Hose: 0.03})
	i := 0
	if n := testing.AllocsPerRun(1000, func() {
		s := junctions(250+float64(i%7)/100, 25)
		s.Set(sensors.DifferentialPressure, float64(i%5))
		if _, _, err := p.Step(s, at(i)); err != nil {
			t.Fatal(err)
		}
		i++
	}); n != 0 {
		t.Errorf("%v allocations a look, want none", n)
	}
}

// Any samples at any times: no panic, no value that was not measured, no value beside a
// fault, and none that is newer than the look.
func FuzzStep(f *testing.F) {
	f.Add([]byte{1, 200, 3, 250, 250, 250, 9, 80}, uint8(3))
	f.Add([]byte{0, 0, 0, 0, 0, 0, 0, 0}, uint8(1))
	f.Fuzz(func(t *testing.T, script []byte, size uint8) {
		p, err := New(Opts{
			Burst: int(size % (MaxBurst + 1)), FrozenAfter: 5 * time.Second, Hose: 0.03,
			Probe: &Probe{Noise: 0.05, Indoors: size%2 == 0},
		})
		if err != nil {
			t.Fatal(err)
		}
		seen := map[float64]bool{}
		now := start
		for i, b := range script {
			hot := float64(b)*8 - 300
			if b == 255 {
				hot = math.NaN()
			}
			now = now.Add(time.Duration(int(b)*37%4000-200) * time.Millisecond)
			seen[hot] = true
			s, ok, err := p.Step(junctions(hot, float64(i%60)), now)
			var fault *sensors.Fault
			if err != nil && (ok || !errors.As(err, &fault) || fault.Hint() == "") {
				t.Fatalf("ok %v with %v", ok, err)
			}
			v, _ := s.Get(sensors.HotJunction)
			if ok && !seen[v] && !math.IsNaN(v) {
				t.Fatalf("%v was never measured", v)
			}
			if ok && s.Taken.After(now) && size < 2 {
				t.Fatalf("taken %v after the look", s.Taken.Sub(now))
			}
		}
	})
}

func BenchmarkStep(b *testing.B) {
	for name, o := range map[string]Opts{
		"thermocouple": {Probe: &Probe{TimeConstant: 35 * time.Second, Noise: 0.05, Indoors: true}, FrozenAfter: time.Hour},
		"burst of 3":   {Burst: 3, Probe: &Probe{TimeConstant: 35 * time.Second, Noise: 0.05, Indoors: true}, FrozenAfter: time.Hour},
	} {
		b.Run(name, func(b *testing.B) {
			p := newPath(b, o)
			b.ReportAllocs()
			i := 0
			for b.Loop() {
				p.Step(junctions(250+float64(i%7)/100, 25), at(i))
				i++
			}
		})
	}
}
