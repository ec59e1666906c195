package plenum_test

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/internal/noise"
	"fluewright/analysis/plenum"

	"pgregory.net/rapid"
)

// furnace heats an exchanger that the blower cools; the plenum's probe sees air.
type furnace struct {
	judge  plenum.Judge
	in     plenum.Inputs
	found  plenum.Finding
	period time.Duration

	heat      float64 // W into the exchanger
	steel     float64 // °C of the exchanger
	air       float64 // °C of the plenum
	flue      float64
	power     bool
	running   bool
	on, off   float64
	flow      float64 // W/K of the air that the blower moves
	warms     float64 // K of the flue by a K of the exchanger
	chamber   bool    // has a probe
	noise     float64
	rng       noise.Source
	firstStop time.Duration
}

func newFurnace() *furnace {
	f := &furnace{period: time.Second, steel: 20, air: 20, flue: 20, power: true, on: 41, off: 32, flow: 500, warms: 0.3, noise: 0.1, rng: 3}
	for c := range f.in.Values {
		f.in.Values[c] = math.NaN()
	}
	f.in.Phase = burn.WarmUp
	return f
}

func (f *furnace) run(d time.Duration) {
	for t := time.Duration(0); t < d; t += f.period {
		dt := f.period.Seconds()
		switch {
		case !f.power || f.air < f.off:
			f.running = false
		case f.air > f.on:
			f.running = true
		}
		taken, aim, tau := 15*(f.steel-20), 20+0.55*(f.steel-20), 120.0
		if f.running {
			taken = 250 * (f.steel - 20)
			aim, tau = 20+taken/f.flow, 15
		}
		f.steel += (f.heat - taken) / 80e3 * dt
		f.air += (aim - f.air) * -math.Expm1(-dt/tau)
		f.flue += (20 + f.heat/50 + f.warms*(f.steel-20) - f.flue) * -math.Expm1(-dt/60)
		v := &f.in.Values
		v[frame.Plenum] = math.Round(4*(f.air+f.noise*f.rng.Normal())) / 4
		v[frame.Flue] = f.flue + f.rng.Normal()
		if f.chamber {
			v[frame.Chamber] = 20 + f.heat/20 + f.rng.Normal()
		}
		f.found = f.judge.Step(f.in)
		f.in.At += f.period
		if f.found.Stopped == alarm.Present && f.firstStop == 0 {
			f.firstStop = f.in.At
		}
	}
}

// to lets the fire grow or sink evenly.
func (f *furnace) to(heat float64, d time.Duration) {
	n := int(d / time.Second)
	for i := range n {
		f.heat += (heat - f.heat) / float64(n-i)
		f.run(time.Second)
	}
}

func TestBlowerStopped(t *testing.T) {
	tests := map[string]struct {
		do   func(*furnace)
		want bool
	}{
		"an ordinary burn": {func(f *furnace) {
			f.to(10e3, 20*time.Minute)
			f.run(2 * time.Hour)
			f.to(500, time.Hour)
			f.run(time.Hour)
		}, false},
		"never started": {
			func(f *furnace) { f.power = false; f.to(10e3, 20*time.Minute); f.run(15 * time.Minute) }, true,
		},
		"the power is cut at full fire": {
			func(f *furnace) {
				f.to(12e3, 20*time.Minute)
				f.run(time.Hour)
				f.power = false
				f.run(8 * time.Minute)
			}, true,
		},
		"the power is cut while the fire grows": {
			func(f *furnace) {
				f.to(6e3, 20*time.Minute)
				f.run(time.Hour)
				f.power = false
				f.to(9e3, 12*time.Minute)
			}, true,
		},
		"it comes back": {
			func(f *furnace) {
				f.to(12e3, 20*time.Minute)
				f.run(time.Hour)
				f.power = false
				f.run(8 * time.Minute)
				f.power = true
				f.run(10 * time.Minute)
			}, false,
		},
		"the fire is turned up to full": {
			func(f *furnace) {
				f.to(6e3, 20*time.Minute)
				f.run(time.Hour)
				f.to(16e3, 6*time.Minute)
				f.run(time.Hour)
			}, false,
		},
		"the blower takes a lower speed": {
			func(f *furnace) { f.to(12e3, 20*time.Minute); f.run(time.Hour); f.flow = 350; f.run(time.Hour) }, false,
		},
		"the fire is turned up and the blower takes a lower speed": {
			func(f *furnace) {
				f.to(8e3, 20*time.Minute)
				f.run(time.Hour)
				f.flow = 300
				f.to(14e3, 10*time.Minute)
				f.run(time.Hour)
			}, false,
		},
		"the power is cut as wood is laid on what the blower only cycled at": {
			func(f *furnace) {
				f.to(3e3, 20*time.Minute)
				f.run(2 * time.Hour)
				f.power = false
				f.to(9e3, 10*time.Minute)
				f.run(9 * time.Minute)
			}, true,
		},
		"wood is laid on what the blower only cycled at": {
			func(f *furnace) {
				f.to(3e3, 20*time.Minute)
				f.run(2 * time.Hour)
				f.to(9e3, 10*time.Minute)
				f.run(time.Hour)
			}, false,
		},
		"the power is cut where an exchanger that is not cooled heats the flue": {
			func(f *furnace) {
				f.warms, f.chamber = 1, true
				f.to(5e3, 20*time.Minute)
				f.run(2 * time.Hour)
				f.power = false
				f.run(18 * time.Minute)
			}, true,
		},
		"it cycles": {func(f *furnace) { f.to(5e3, 20*time.Minute); f.run(3 * time.Hour) }, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f := newFurnace()
			tt.do(f)
			if got := f.found.Stopped == alarm.Present; got != tt.want {
				t.Errorf("stopped %v, want %v: %+v", got, tt.want, f.found)
			}
			if !tt.want && name != "it comes back" && f.firstStop != 0 {
				t.Errorf("stopped at %v", f.firstStop)
			}
		})
	}
}

// Where the air's wire has the gas on it, the air would be hotter than what heats it.
func TestCrossedWiresAreNoStoppedBlower(t *testing.T) {
	for name, flue := range map[string]float64{"with the flue": 0.5, "with the chamber": 7} {
		var j plenum.Judge
		in := plenum.Inputs{Phase: burn.Lighting}
		for c := range in.Values {
			in.Values[c] = math.NaN()
		}
		for ; in.At < 15*time.Minute; in.At += time.Second {
			m := in.At.Minutes()
			in.Values[frame.Plenum], in.Values[frame.Flue], in.Values[frame.Chamber] = 20+14*m, 20+flue*m, 20+0.5*m
			if j.Step(in).Stopped == alarm.Present {
				t.Errorf("exchanged %s: stopped at %v", name, in.At)
				break
			}
		}
	}
}

// What a running blower makes of a hot fire's gas is no sign of one that stands, however the
// air climbs.
func TestHotGasMakesWarmAir(t *testing.T) {
	for flue, want := range map[float64]bool{700: false, 300: true} {
		var j plenum.Judge
		in := plenum.Inputs{Phase: burn.CleanBurn}
		for c := range in.Values {
			in.Values[c] = math.NaN()
		}
		stopped := false
		for ; in.At < 30*time.Minute; in.At += time.Second {
			in.Values[frame.Plenum], in.Values[frame.Flue] = 30+2.5*in.At.Minutes(), flue
			stopped = stopped || j.Step(in).Stopped == alarm.Present
		}
		if stopped != want {
			t.Errorf("air at %.0f °C beside a flue at %g °C: stopped %v, want %v", in.Values[frame.Plenum], flue, stopped, want)
		}
	}
}

func TestFanIsLearned(t *testing.T) {
	f := newFurnace()
	f.on, f.off, f.flow = 49, 38, 700
	f.to(6e3, 15*time.Minute)
	f.run(3 * time.Hour)
	if math.Abs(f.found.FanOn-49) > 3 {
		t.Errorf("fan on at %g °C, want 49", f.found.FanOn)
	}
	if f.found.Starts == 0 {
		t.Error("no start within the hour")
	}
	if !math.IsNaN(f.found.FanOff) && math.Abs(f.found.FanOff-38) > 4 {
		t.Errorf("fan off at %g °C, want 38", f.found.FanOff)
	}
	starts := f.found.Starts
	f.to(0, time.Minute)
	f.run(2 * time.Hour)
	if f.found.Starts != 0 {
		t.Errorf("%d of %d starts are remembered for two hours", f.found.Starts, starts)
	}
}

// A blower that starts cools the flue too: that is no fire that goes down.
func TestFanIsLearnedWhereItCoolsTheFlue(t *testing.T) {
	f := newFurnace()
	f.warms = 3
	f.to(5e3, 20*time.Minute)
	f.run(2 * time.Hour)
	if math.Abs(f.found.FanOn-41) > 3 {
		t.Errorf("fan on at %g °C, want 41", f.found.FanOn)
	}
}

func TestFlow(t *testing.T) {
	f := newFurnace()
	if f.run(time.Minute); f.found.Flow != plenum.Unknown {
		t.Errorf("flow %v of a cold furnace", f.found.Flow)
	}
	f.to(12e3, 20*time.Minute)
	f.run(90 * time.Minute)
	if f.found.Flow != plenum.Moving {
		t.Errorf("flow %v of a steady plenum over a fire", f.found.Flow)
	}
	f.power = false
	f.run(8 * time.Minute)
	if f.found.Flow != plenum.Still {
		t.Errorf("flow %v without the blower", f.found.Flow)
	}
}

func TestOverheat(t *testing.T) {
	tests := map[string]struct {
		limit, air float64
		want       alarm.Verdict
	}{
		"cool":                {0, 60, alarm.Absent},
		"near":                {0, 90, alarm.Between},
		"over the default":    {0, 94, alarm.Present},
		"over the site's own": {75, 76, alarm.Present},
		"under the site's":    {110, 99, alarm.Absent},
		"no reading":          {0, math.NaN(), alarm.Blind},
		"no plenum's":         {0, 1e6, alarm.Blind},
	}
	for name, tt := range tests {
		j := plenum.New(plenum.Settings{Limit: tt.limit})
		in := plenum.Inputs{}
		for c := range in.Values {
			in.Values[c] = math.NaN()
		}
		in.Values[frame.Plenum] = tt.air
		var f plenum.Finding
		for range 5 {
			in.At += time.Second
			f = j.Step(in)
		}
		if f.Overheat != tt.want {
			t.Errorf("%s: %v, want %v", name, f.Overheat, tt.want)
		}
		in.Values[frame.Plenum] = 300 // one wild reading
		in.At += time.Second
		if f = j.Step(in); tt.want == alarm.Absent && f.Overheat == alarm.Present {
			t.Errorf("%s: one wild reading decides", name)
		}
	}
}

func TestAnyFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var j plenum.Judge
		var in plenum.Inputs
		for range rapid.IntRange(1, 300).Draw(t, "frames") {
			in.At += time.Duration(rapid.Int64Range(-5e9, 60e9).Draw(t, "dt"))
			in.Phase = burn.Phase(rapid.IntRange(0, 6).Draw(t, "phase"))
			for c := range in.Values {
				in.Values[c] = rapid.SampledFrom([]float64{math.NaN(), -1e300, -12, 0, 20, 41, 60, 95, 600, 1e300, math.Inf(1)}).Draw(t, "value")
			}
			legal(t, in, j.Step(in))
		}
	})
}

type failer interface{ Fatalf(string, ...any) }

// legal is what holds of any finding.
func legal(t failer, in plenum.Inputs, f plenum.Finding) {
	air := in.Values[frame.Plenum]
	switch {
	case f.Overheat > alarm.Present, f.Stopped > alarm.Present, f.Flow > plenum.Moving, f.Starts < 0:
		t.Fatalf("%+v", f)
	case math.IsInf(f.FanOn, 0), math.IsInf(f.FanOff, 0), math.IsInf(f.Air, 0), !(f.Limit > 0):
		t.Fatalf("%+v", f)
	case math.IsNaN(air) && (f.Overheat != alarm.Blind || f.Stopped != alarm.Blind || !math.IsNaN(f.Air)):
		t.Fatalf("without a reading: %+v", f)
	case air > -50 && air < 2000 && (f.Overheat == alarm.Blind || f.Stopped == alarm.Blind || math.IsNaN(f.Air)):
		t.Fatalf("of %g °C: %+v", air, f)
	}
}

func FuzzStep(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27})
	f.Fuzz(func(t *testing.T, data []byte) {
		var j plenum.Judge
		var in plenum.Inputs
		for len(data) >= 27 {
			in.At = time.Duration(binary.LittleEndian.Uint64(data))
			in.Phase = burn.Phase(data[8] % 7)
			for c := range in.Values {
				in.Values[c] = float64(math.Float32frombits(uint32(binary.LittleEndian.Uint16(data[9+2*c:])) << 16))
			}
			data = data[27:]
			legal(t, in, j.Step(in))
		}
	})
}

func TestNoAllocation(t *testing.T) {
	f := newFurnace()
	if n := testing.AllocsPerRun(1000, func() { f.run(time.Second) }); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	f := newFurnace()
	f.to(10e3, 20*time.Minute)
	f.run(time.Hour)
	for b.Loop() {
		f.in.At += time.Second
		f.judge.Step(f.in)
	}
}
