package spillage_test

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/internal/noise"
	"fluewright/analysis/spillage"

	"pgregory.net/rapid"
)

// chimney is a furnace of which a test says what happens.
type chimney struct {
	judge            spillage.Judge
	in               spillage.Inputs
	found            spillage.Finding
	period           time.Duration
	level            float64 // Pa
	noise            float64 // Pa
	rng              noise.Source
	longest, present time.Duration // that the verdict was Present at a stretch
}

func newChimney(period time.Duration) *chimney {
	c := &chimney{period: period, level: 12, noise: 0.3, rng: 1}
	for i := range c.in.Values {
		c.in.Values[i] = math.NaN()
	}
	c.in.Values[frame.Flue] = 220
	c.in.Phase = burn.CleanBurn
	return c
}

// visit opens a door after a minute, which is told by said and leaves the draft at a level.
func (c *chimney) visit(said *bool, level float64, d time.Duration) {
	c.run(time.Minute)
	*said, c.level, c.noise = true, level, 0.1
	c.run(d)
}

func (c *chimney) run(d time.Duration) {
	for t := time.Duration(0); t < d; t += c.period {
		c.in.Values[frame.Draft] = c.level + c.noise*c.rng.Normal()
		c.found = c.judge.Step(c.in)
		c.in.At += c.period
		if c.found.Verdict != alarm.Present {
			c.present = 0
			continue
		}
		c.present += c.period
		c.longest = max(c.longest, c.present)
	}
}

// warm lets a channel climb, K/s.
func (c *chimney) warm(ch frame.Channel, rate float64, d time.Duration) {
	for range int(d / time.Second) {
		c.in.Values[ch] += rate
		c.run(time.Second)
	}
}

func TestVerdicts(t *testing.T) {
	tests := map[string]struct {
		do   func(*chimney)
		want alarm.Verdict
	}{
		"a chimney that draws": {func(c *chimney) { c.run(10 * time.Minute) }, alarm.Absent},
		"a draft that turned": {
			func(c *chimney) { c.run(time.Minute); c.level = -6; c.run(20 * time.Second) }, alarm.Present,
		},
		"one that hovers about zero": {
			func(c *chimney) { c.run(time.Minute); c.level, c.noise = 0, 0.6; c.run(2 * time.Minute) }, alarm.Present,
		},
		"and draws again": {
			func(c *chimney) {
				c.run(time.Minute)
				c.level = -6
				c.run(2 * time.Minute)
				c.level = 9
				c.run(30 * time.Second)
			}, alarm.Absent,
		},
		"little draft": {func(c *chimney) { c.level = 0.9; c.run(5 * time.Minute) }, alarm.Between},
		"no fire": {
			func(c *chimney) {
				c.in.Phase, c.in.Values[frame.Flue] = burn.Cold, 15
				c.level = -3
				c.run(5 * time.Minute)
			}, alarm.Absent,
		},
		"no draft reading": {
			func(c *chimney) { c.level = math.NaN(); c.run(time.Minute) }, alarm.Blind,
		},
		"nobody knows whether there is a fire": {
			func(c *chimney) {
				c.in.Phase, c.in.Values[frame.Flue] = burn.Unknown, math.NaN()
				c.level = -3
				c.run(time.Minute)
			}, alarm.Blind,
		},
		"coals that the flue does not show": {
			func(c *chimney) {
				c.in.Phase, c.in.Values[frame.Flue], c.in.Values[frame.Firebox] = burn.Cold, 30, 320
				c.level = -3
				c.run(time.Minute)
			}, alarm.Present,
		},
		"coals in a flue that grew cold because nothing flows": {
			func(c *chimney) {
				c.run(time.Minute)
				c.level = -1
				c.run(10 * time.Minute)
				c.in.Phase, c.in.Values[frame.Flue] = burn.Cold, 25
				c.run(30 * time.Minute)
			}, alarm.Present,
		},
		"a loading door takes the draft to nothing": {
			func(c *chimney) { c.visit(&c.in.DoorOpen, 0.1, 2*time.Minute) }, alarm.Between,
		},
		"and no more than a sensor's zero is off": {
			func(c *chimney) { c.visit(&c.in.DoorOpen, -0.3, 2*time.Minute) }, alarm.Between,
		},
		"but not for long": {
			func(c *chimney) { c.visit(&c.in.DoorOpen, -0.3, 4*time.Minute) }, alarm.Present,
		},
		"a door is likely": {
			func(c *chimney) { c.visit(&c.in.DoorLikely, -0.2, 50*time.Second) }, alarm.Between,
		},
		"and a person must be told in time": {
			func(c *chimney) { c.visit(&c.in.DoorLikely, -0.2, time.Minute) }, alarm.Present,
		},
		"it comes to be likely": {
			func(c *chimney) {
				c.run(time.Minute)
				c.level, c.noise = -0.2, 0.1
				c.run(20 * time.Second)
				c.in.DoorLikely = true
				c.run(20 * time.Second)
			}, alarm.Between,
		},
		"a door does not excuse a turned draft": {
			func(c *chimney) {
				c.run(time.Minute)
				c.in.DoorOpen, c.level = true, -4
				c.run(time.Minute)
			}, alarm.Present,
		},
		"one wild reading": {
			func(c *chimney) {
				c.run(time.Minute)
				c.level = -400
				c.run(time.Second)
				c.level = 12
				c.run(time.Second)
			}, alarm.Absent,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := newChimney(time.Second)
			tt.do(c)
			if c.found.Verdict != tt.want {
				t.Errorf("verdict %v, want %v: %+v", c.found.Verdict, tt.want, c.found)
			}
		})
	}
}

// Whatever the rate of readings, a turned draft is called so within 20 s, which leaves
// the alarm's hold its half minute, and goes on to be.
func TestPromptAtAnyRate(t *testing.T) {
	for _, period := range []time.Duration{100 * time.Millisecond, time.Second, 2 * time.Second, 5 * time.Second} {
		for _, level := range []float64{0, -0.3, -8} {
			c := newChimney(period)
			c.run(5 * time.Minute)
			c.level = level
			c.run(25 * time.Second)
			c.longest = 0
			c.run(35 * time.Second)
			if c.longest < 30*time.Second {
				t.Errorf("every %v at %g Pa: turned for %v only", period, level, c.longest)
			}
		}
	}
}

// A storm takes the draft through zero again and again, for seconds.
func TestGustsAreNoSpillage(t *testing.T) {
	for _, period := range []time.Duration{100 * time.Millisecond, time.Second, 5 * time.Second} {
		c := newChimney(period)
		c.noise = 3
		for i := range 100 {
			c.level = 12
			c.run(time.Duration(15+i%30) * time.Second)
			c.level = -15
			c.run(time.Duration(2+i%7) * time.Second)
		}
		if c.longest >= 30*time.Second {
			t.Errorf("every %v: turned for %v", period, c.longest)
		}
	}
}

// Where no air is drawn past it any more, a probe in warm brick climbs without a fire. One
// that is lit there meanwhile climbs further.
func TestWarmBrickIsNoFire(t *testing.T) {
	c := newChimney(time.Second)
	c.in.Phase = burn.Cold
	c.in.Values[frame.Flue], c.in.Values[frame.Room], c.in.Values[frame.Firebox] = 33, 20, 90
	c.warm(frame.Firebox, -0.02, 20*time.Minute)
	c.level = -4
	c.warm(frame.Firebox, 0.2, time.Minute)
	fell := c.longest
	c.level = 12
	c.warm(frame.Firebox, -0.02, 10*time.Minute)
	if fell != 0 || c.longest != 0 {
		t.Errorf("called spillage for %v", c.longest)
	}
	c.level = -4
	c.warm(frame.Firebox, 0.5, 90*time.Second)
	if c.found.Verdict != alarm.Present {
		t.Errorf("a fire that is lit: %+v", c.found)
	}
}

func TestLightingInAColdChimney(t *testing.T) {
	tests := map[string]func(*chimney){
		"seen in the firebox": func(c *chimney) {
			c.in.Values[frame.Firebox] = 18
			c.warm(frame.Firebox, 0.5, 90*time.Second)
		},
		"seen in the chamber": func(c *chimney) {
			c.in.Values[frame.Chamber] = 18
			c.warm(frame.Chamber, 0.2, 90*time.Second)
		},
		"seen in a flue that hardly warms": func(c *chimney) { c.warm(frame.Flue, 0.05, 5*time.Minute) },
		"told by the phase":                func(c *chimney) { c.in.Phase = burn.Lighting; c.run(time.Minute) },
	}
	for name, light := range tests {
		t.Run(name, func(t *testing.T) {
			c := newChimney(time.Second)
			c.in.Phase, c.level = burn.Cold, -2
			c.in.Values[frame.Flue], c.in.Values[frame.Room], c.in.Values[frame.Outdoor] = 17, 18, 12
			c.run(30 * time.Minute)
			if c.found.Fire || c.found.Verdict != alarm.Absent {
				t.Fatalf("a fire before it is lit: %+v", c.found)
			}
			light(c)
			if !c.found.Fire || !c.found.Cold || c.found.Verdict != alarm.Present {
				t.Errorf("not seen: %+v", c.found)
			}
		})
	}
}

// Before it is warm a chimney in still air draws by less than a sensor's zero may be off. A
// draft that fell short is not told over the fire that is lit then, unless it stays.
func TestAChimneyThatHardlyDraws(t *testing.T) {
	light := func(before, level float64, d time.Duration) *chimney {
		c := newChimney(time.Second)
		c.in.Phase, c.level, c.noise = burn.Cold, before, 0.05
		c.in.Values[frame.Flue], c.in.Values[frame.Room], c.in.Values[frame.Chamber] = 17, 18, 18
		c.run(30 * time.Minute)
		c.level = level
		c.run(time.Minute)
		c.warm(frame.Chamber, 0.5, d)
		return c
	}
	for _, before := range []float64{0, 0.2, 0.3} {
		if c := light(before, 0.32, 5*time.Minute); !c.found.Fire || c.longest != 0 {
			t.Errorf("0.32 Pa, before the fire %g: called spillage for %v: %+v", before, c.longest, c.found)
		}
	}
	for level, within := range map[float64]time.Duration{0.2: 85 * time.Second, 0: 45 * time.Second, -0.3: 45 * time.Second} {
		if c := light(level, level, within); c.found.Verdict != alarm.Present {
			t.Errorf("%g Pa for %v: %+v", level, within, c.found)
		}
	}
}

// The weather warms a flue too, slowly.
func TestAMorningIsNoFire(t *testing.T) {
	c := newChimney(time.Second)
	c.in.Phase, c.level = burn.Cold, -1
	c.in.Values[frame.Flue], c.in.Values[frame.Room], c.in.Values[frame.Outdoor] = 12, 18, 12
	for range 3 * 3600 {
		c.in.Values[frame.Flue] += 18.0 / 10800
		c.in.Values[frame.Outdoor] += 18.0 / 10800
		c.run(time.Second)
		if c.found.Fire {
			t.Fatalf("the sun is taken for a fire at %v", c.in.At)
		}
	}
}

func TestDoubt(t *testing.T) {
	c := newChimney(time.Second)
	c.run(5 * time.Minute)
	c.level, c.noise = 0, 0.03 // the hose is off
	doubted := time.Duration(0)
	for range 60 {
		c.run(time.Second)
		if c.found.Doubtful {
			doubted += time.Second
			if c.found.Verdict != alarm.Between {
				t.Fatalf("doubtful and %v", c.found.Verdict)
			}
		}
	}
	if doubted < 20*time.Second {
		t.Errorf("doubted for %v: too short for anybody to find that the hose is off", doubted)
	}
	if c.found.Verdict != alarm.Present {
		t.Errorf("still kept back after a minute: %+v", c.found)
	}

	c = newChimney(time.Second)
	c.run(5 * time.Minute)
	c.level, c.noise = -0.1, 0.3 // a live flue
	c.run(15 * time.Second)
	if c.found.Doubtful {
		t.Error("a flue that is heard is doubted")
	}

	c = newChimney(time.Second)
	c.run(5 * time.Minute)
	c.level, c.noise = 0, 0.01
	c.warm(frame.Flue, -1, 20*time.Second) // the gas stands
	if c.found.Doubtful {
		t.Error("a flue that grows cold is doubted")
	}
}

// An hour without a reading does not join what was before it to what is behind.
func TestGap(t *testing.T) {
	c := newChimney(time.Second)
	c.level = -5
	c.run(10 * time.Second)
	c.in.At += 10 * time.Minute
	c.level = 12
	c.run(2 * time.Second)
	if c.found.Verdict == alarm.Present {
		t.Errorf("%+v", c.found)
	}
}

func TestAnyFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var j spillage.Judge
		var in spillage.Inputs
		for range rapid.IntRange(1, 200).Draw(t, "frames") {
			in.At += time.Duration(rapid.Int64Range(-5e9, 200e9).Draw(t, "dt"))
			in.Phase = burn.Phase(rapid.IntRange(0, 6).Draw(t, "phase"))
			in.DoorOpen, in.DoorLikely = rapid.Bool().Draw(t, "door"), rapid.Bool().Draw(t, "likely")
			for c := range in.Values {
				in.Values[c] = rapid.SampledFrom([]float64{math.NaN(), -1e300, -12, 0, 0.1, 20, 150, 600, 1e300, math.Inf(1)}).Draw(t, "value")
			}
			legal(t, in, j.Step(in))
		}
	})
}

type failer interface{ Fatalf(string, ...any) }

// legal is what holds of any finding.
func legal(t failer, in spillage.Inputs, f spillage.Finding) {
	draft := in.Values[frame.Draft]
	has := math.Abs(draft) < 5000
	switch {
	case f.Verdict > alarm.Present:
		t.Fatalf("verdict %d", f.Verdict)
	case has == math.IsNaN(f.Draft) || math.IsInf(f.Draft, 0):
		t.Fatalf("draft %g of reading %g", f.Draft, draft)
	case !has && f.Verdict != alarm.Blind:
		t.Fatalf("%v without a reading", f.Verdict)
	case f.Verdict == alarm.Present && (!f.Turned || !f.Fire || f.Doubtful):
		t.Fatalf("present: %+v", f)
	}
}

func FuzzStep(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27, 28})
	f.Fuzz(func(t *testing.T, data []byte) {
		var j spillage.Judge
		var in spillage.Inputs
		for len(data) >= 28 {
			in.At = time.Duration(binary.LittleEndian.Uint64(data))
			in.Phase, in.DoorOpen, in.DoorLikely = burn.Phase(data[8]%7), data[9]&1 == 1, data[9]&2 == 2
			for c := range in.Values {
				in.Values[c] = float64(math.Float32frombits(uint32(binary.LittleEndian.Uint16(data[10+2*c:])) << 16))
			}
			data = data[28:]
			legal(t, in, j.Step(in))
		}
	})
}

func TestNoAllocation(t *testing.T) {
	c := newChimney(time.Second)
	if n := testing.AllocsPerRun(1000, func() { c.run(time.Second) }); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	c := newChimney(time.Second)
	for b.Loop() {
		c.judge.Step(c.in)
		c.in.At += time.Second
	}
}
