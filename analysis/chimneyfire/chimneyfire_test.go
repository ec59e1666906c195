package chimneyfire_test

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/chimneyfire"
	"fluewright/analysis/frame"
	"fluewright/analysis/internal/noise"

	"pgregory.net/rapid"
)

// chimney is a furnace of which a test says what its gas and its draft are; probes
// follow behind their sheaths.
type chimney struct {
	judge  chimneyfire.Judge
	in     chimneyfire.Inputs
	found  chimneyfire.Finding
	period time.Duration

	flue, chamber float64 // °C, gas
	tip, upTip    float64 // °C, at the probes
	draft, noise  float64 // Pa
	wind          float64 // Pa of gusts
	gust          float64
	beat, pace    float64 // Pa and rad/s of a gate that hangs loose
	jitter        float64 // of the period
	both          bool    // a chamber probe is fitted
	stopped       bool    // its reading has
	lost          bool    // the draft is
	rng           noise.Source
	seen          time.Duration // when it was first named
	named         bool
}

func newChimney(period time.Duration, both bool) *chimney {
	c := &chimney{
		period: period, both: both, rng: 7,
		flue: 240, chamber: 600, tip: 240, upTip: 600, draft: 14, noise: 0.25,
	}
	for i := range c.in.Values {
		c.in.Values[i] = math.NaN()
	}
	c.in.Phase = burn.CleanBurn
	return c
}

func (c *chimney) run(d time.Duration) {
	for t := time.Duration(0); t < d; t += c.period {
		dt := c.period.Seconds()
		c.tip += (c.flue - c.tip) * -math.Expm1(-dt/25)
		c.upTip += (c.chamber - c.upTip) * -math.Expm1(-dt/40)
		keep := math.Exp(-dt / 8)
		c.gust = c.gust*keep + c.wind*math.Sqrt(1-keep*keep)*c.rng.Normal()
		v := &c.in.Values
		v[frame.Flue] = math.Round(4*(c.tip+0.2*c.rng.Normal())) / 4
		if c.both && !c.stopped {
			v[frame.Chamber] = math.Round(4*(c.upTip+0.2*c.rng.Normal())) / 4
		}
		if v[frame.Draft] = math.NaN(); !c.lost {
			v[frame.Draft] = c.draft + c.gust + c.noise*c.rng.Normal() + c.beat*math.Sin(c.pace*c.in.At.Seconds())
		}
		c.in.At += c.period
		if c.jitter > 0 {
			c.in.At += time.Duration(c.jitter * math.Abs(c.rng.Normal()) * float64(c.period))
		}
		c.found = c.judge.Step(c.in)
		if c.found.Verdict == alarm.Present && !c.named {
			c.named, c.seen = true, c.in.At
		}
	}
}

// drift lets flue, chamber and draft go straight to other values.
func (c *chimney) drift(flue, chamber, draft float64, d time.Duration) {
	step := max(time.Second, c.period)
	for ; d > 0; d -= step {
		share := min(1, step.Seconds()/d.Seconds())
		c.flue += share * (flue - c.flue)
		c.chamber += share * (chamber - c.chamber)
		c.draft += share * (draft - c.draft)
		c.run(step)
	}
}

// fires are chimney fires, from the moment at which they begin.
var fires = map[string]func(*chimney){
	"violent": func(c *chimney) { c.noise = 2; c.drift(900, 610, 45, 90*time.Second) },
	"mild":    func(c *chimney) { c.noise = 0.8; c.drift(380, 605, 19, 60*time.Second) },
	"high up, the collar falls": func(c *chimney) {
		c.noise = 1.2
		c.drift(232, 598, 20, 40*time.Second)
		c.run(20 * time.Second)
	},
	"behind a regulator that holds the draft": func(c *chimney) {
		c.noise = 1
		c.drift(500, 605, 16.5, 60*time.Second)
	},
	"violent, out of a fire that burns low": func(c *chimney) {
		c.noise = 2
		c.drift(1000, 610, 15, 60*time.Second)
	},
}

// Of a fire high up behind a regulator that holds all of it only the noise is left, and
// that must first be told from a gate that beats.
func TestNamedByItsNoise(t *testing.T) {
	for _, both := range []bool{false, true} {
		for _, period := range []time.Duration{500 * time.Millisecond, time.Second, 2 * time.Second} {
			c := newChimney(period, both)
			c.run(20 * time.Minute)
			from := c.in.At
			for range 90 {
				c.noise = min(5, c.noise+0.2)
				c.run(max(time.Second, c.period))
			}
			if !c.named || c.seen-from > 90*time.Second {
				t.Errorf("chamber %v, every %v: named after %v: %+v", both, period, c.seen-from, c.found)
			}
		}
	}
}

// Over a fire that has burnt down wind is heard as well, and what lasts is named all the same.
func TestNamedOverAFireThatHasBurntDown(t *testing.T) {
	for _, both := range []bool{false, true} {
		c := newChimney(time.Second, both)
		c.run(40 * time.Minute)
		c.drift(190, 350, 13, 40*time.Minute)
		c.run(15 * time.Minute)
		from := c.in.At
		c.noise = 1.6
		c.drift(189, 345, 17, 10*time.Second)
		c.run(2 * time.Minute)
		if d := c.seen - from; !c.named || d > 75*time.Second {
			t.Errorf("chamber %v: named %v after %v: %+v", both, c.named, d, c.found)
		}
	}
}

// A deposit that burns quietly behind a regulator that holds the draft is told when the collar
// gets hotter than the gas before it. What lets more of that gas's heat through does not.
func TestACollarHotterThanTheChamber(t *testing.T) {
	tests := map[string]struct {
		flue, chamber  float64
		stopped, named bool
	}{
		"the deposit burns":                 {430, 345, false, true},
		"a bypass is open":                  {335, 338, false, false},
		"a hotter fire":                     {430, 560, false, false},
		"the probe before it is covered":    {345, 250, false, false},
		"the reading before it has stopped": {430, 340, true, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := newChimney(time.Second, true)
			c.drift(280, 340, 14, 20*time.Minute)
			c.run(20 * time.Minute)
			from := c.in.At
			c.stopped = tt.stopped
			c.drift(tt.flue, tt.chamber, 14.3, 5*time.Minute)
			c.run(5 * time.Minute)
			if c.named != tt.named || c.named && c.seen-from > 4*time.Minute {
				t.Errorf("named %v after %v: %+v", c.named, c.seen-from, c.found.Evidence)
			}
		})
	}
}

// What no half minute alone makes sure is named when the next one, which shares no reading
// with it, says the same; and it ends.
func TestAFaintOneIsNamedWhenItLasts(t *testing.T) {
	c := newChimney(time.Second, true)
	c.run(40 * time.Minute)
	from := c.in.At
	c.noise = 0.6
	c.drift(246, 602, 17, 15*time.Second)
	c.run(3 * time.Minute)
	if d := c.seen - from; !c.named || d > 75*time.Second {
		t.Errorf("named %v after %v: %+v", c.named, d, c.found)
	}
	c.noise = 0.25
	c.drift(240, 600, 14, 30*time.Second)
	c.run(5 * time.Minute)
	if c.found.Verdict != alarm.Absent {
		t.Errorf("does not end: %+v", c.found)
	}
}

// A column that fills with heat lifts the draft over half a minute, without a roar, and the
// collar follows; a gate that falls shut lifts it as far at once, and the fire follows no
// quicker. The way alone tells them apart.
func TestTheWayTheDraftComesUp(t *testing.T) {
	for _, both := range []bool{false, true} {
		swells := newChimney(time.Second, both)
		swells.run(40 * time.Minute)
		from := swells.in.At
		swells.drift(255, 601, 19, 35*time.Second)
		swells.drift(285, 604, 21, 35*time.Second)
		if d := swells.seen - from; !swells.named || d > time.Minute {
			t.Errorf("chamber %v: the fire is named %v after %v: %+v", both, swells.named, d, swells.found)
		}
		shut := newChimney(time.Second, both)
		shut.run(40 * time.Minute)
		shut.draft = 19
		shut.drift(255, 620, 19, 35*time.Second)
		shut.drift(285, 650, 21, 2*time.Minute)
		shut.run(10 * time.Minute)
		if shut.named {
			t.Errorf("chamber %v: the gate is named at %v", both, shut.seen-from)
		}
	}
}

// Whoever has just laid wood on opened the door; that does not make 500 K a minute.
func TestViolentAfterADoor(t *testing.T) {
	c := newChimney(time.Second, false)
	c.run(20 * time.Minute)
	c.in.DoorOpen = true
	c.drift(140, 480, 10, 30*time.Second)
	c.in.DoorOpen = false
	from := c.in.At
	c.noise = 1
	c.drift(900, 500, 15, time.Minute)
	if !c.named || c.seen-from > 45*time.Second {
		t.Errorf("named %v after %v: %+v", c.named, c.seen-from, c.found)
	}
}

func TestNamedWithinAMinute(t *testing.T) {
	for name, fire := range fires {
		for _, both := range []bool{false, true} {
			for _, period := range []time.Duration{100 * time.Millisecond, 500 * time.Millisecond, time.Second, 2 * time.Second} {
				c := newChimney(period, both)
				c.run(30 * time.Minute)
				if c.named {
					t.Fatalf("%s: named before it began", name)
				}
				from := c.in.At
				fire(c)
				c.run(5 * time.Second)
				if !c.named {
					t.Errorf("%s, chamber %v, every %v: not named: %+v", name, both, period, c.found)
				} else if d := c.seen - from; d > time.Minute {
					t.Errorf("%s, chamber %v, every %v: named after %v", name, both, period, d)
				}
			}
		}
	}
}

// Read every five seconds, noise and wind look alike; a violent one is still named.
func TestNamedWhenReadSlowly(t *testing.T) {
	c := newChimney(5*time.Second, false)
	c.run(30 * time.Minute)
	from := c.in.At
	c.noise, c.draft, c.flue = 2, 45, 900
	c.run(time.Minute)
	if !c.named || c.seen-from > time.Minute {
		t.Errorf("named %v after %v: %+v", c.named, c.seen-from, c.found)
	}
}

func TestItStays(t *testing.T) {
	c := newChimney(time.Second, false)
	c.run(30 * time.Minute)
	fires["violent"](c)
	c.chamber = 400 // the air is shut
	for range 20 {
		c.run(time.Minute)
		if c.found.Verdict != alarm.Present {
			t.Fatalf("gone after %v: %+v", c.found.For, c.found)
		}
	}
	if c.found.For < 19*time.Minute {
		t.Errorf("for %v only", c.found.For)
	}
	c.noise = 0.25
	c.drift(230, 400, 14, 3*time.Minute)
	c.run(5 * time.Minute)
	if c.found.Verdict == alarm.Present {
		t.Errorf("does not end: %+v", c.found)
	}
}

func TestLegitimate(t *testing.T) {
	tests := map[string]func(*chimney){
		"an even fire": func(c *chimney) { c.run(3 * time.Hour) },
		"a hot fire behind a regulator stuck shut": func(c *chimney) {
			c.drift(430, 720, 26, 8*time.Minute)
			c.run(time.Hour)
		},
		"the regulator sticks shut at once": func(c *chimney) {
			c.draft, c.noise = 30, 0.3
			c.drift(340, 680, 31, 4*time.Minute)
			c.run(time.Hour)
		},
		"a gate stuck shut pulls the flames through": func(c *chimney) {
			c.drift(242, 600, 55, 15*time.Second)
			c.drift(330, 585, 60, time.Minute)
			c.drift(400, 640, 64, 2*time.Minute)
			c.run(20 * time.Minute)
		},
		"a gate hangs loose": func(c *chimney) {
			for _, pace := range []float64{0.5, 1.1, 2.5} {
				c.pace = pace
				for c.beat = 0; c.beat < 4; c.beat += 0.1 {
					c.run(time.Second)
				}
				c.run(20 * time.Minute)
			}
		},
		"a gate hangs loose and is shut for longer than before": func(c *chimney) {
			c.pace = 1.1
			for c.beat = 0; c.beat < 4; c.beat += 0.1 {
				c.draft += 0.05
				c.run(time.Second)
			}
			c.run(20 * time.Minute)
		},
		"a gate hangs loose, looked at now and then": func(c *chimney) {
			c.jitter = 0.25
			for _, pace := range []float64{1.8, 2.5, 3.4} {
				c.pace = pace
				for c.beat = 0; c.beat < 3; c.beat += 0.1 {
					c.run(time.Second)
				}
				c.run(20 * time.Minute)
			}
		},
		"resinous wood on coals": func(c *chimney) {
			if !c.both { // nobody could tell
				return
			}
			c.drift(100, 200, 14, 10*time.Minute)
			c.run(20 * time.Minute)
			c.noise = 0.5
			c.drift(520, 640, 15.2, 50*time.Second)
			c.run(10 * time.Minute)
		},
		"an ash door that cools what is upstream": func(c *chimney) {
			c.drift(240, 560, 14, 10*time.Second)
			c.noise = 0.35
			c.drift(350, 570, 14.2, time.Minute)
			c.run(10 * time.Minute)
		},
		"the draft is lost again and again": func(c *chimney) {
			for i := range 6 { // whichever measure's turn it is when it is back
				c.lost = true
				c.run(4*time.Hour + time.Duration(i)*5*time.Second)
				c.lost = false
				c.run(10 * time.Minute)
			}
		},
		"a quick climb that was seen to come falls back and stops": func(c *chimney) {
			if !c.both { // nobody could tell
				return
			}
			c.drift(100, 200, 14, 10*time.Minute)
			c.run(20 * time.Minute)
			c.noise = 0.5
			c.drift(580, 640, 15.2, 50*time.Second)
			c.drift(330, 760, 15, time.Minute)
			c.drift(325, 765, 14.5, time.Minute)
			c.run(10 * time.Minute)
		},
		"flames out of coals behind a regulator that gives way a little": func(c *chimney) {
			c.drift(120, 300, 13, 20*time.Minute)
			c.run(20 * time.Minute)
			c.noise = 0.45
			c.drift(320, 600, 14.4, 90*time.Second)
			c.run(10 * time.Minute)
		},
		"gusts over a fire that has burnt down": func(c *chimney) {
			c.run(20 * time.Minute)
			c.drift(190, 350, 13, 40*time.Minute)
			for range 5 {
				c.run(15 * time.Minute)
				c.noise = 1.6
				c.drift(189, 345, 17, 8*time.Second)
				c.run(2 * time.Second)
				c.noise = 0.25
				c.drift(188, 340, 13, 5*time.Second)
			}
		},
		"a gust": func(c *chimney) {
			c.draft = 35
			c.run(15 * time.Second)
			c.draft = 14
			c.run(10 * time.Minute)
		},
		"a storm": func(c *chimney) {
			for c.wind < 5 {
				c.wind += 0.1
				c.draft += 0.1
				c.run(10 * time.Second)
			}
			c.run(2 * time.Hour)
		},
		"a reload and its flare": func(c *chimney) {
			c.in.DoorOpen = true
			c.drift(140, 480, 8, 30*time.Second)
			c.in.DoorOpen = false
			c.drift(230, 560, 14, time.Minute)
			c.noise = 0.4
			c.drift(380, 720, 15.5, 3*time.Minute)
			c.run(20 * time.Minute)
		},
		"a reload whose door nobody saw": func(c *chimney) {
			c.drift(140, 480, 8, 30*time.Second)
			c.drift(230, 560, 14, time.Minute)
			c.noise = 0.4
			c.drift(380, 720, 15.5, 3*time.Minute)
			c.run(20 * time.Minute)
		},
		"an ash door": func(c *chimney) { c.drift(420, 800, 10, 3*time.Minute); c.run(10 * time.Minute) },
		"a door slams": func(c *chimney) {
			for range 5 {
				c.draft = -20
				c.run(time.Second)
				c.draft = 40
				c.run(time.Second)
				c.draft = 14
				c.run(time.Minute)
			}
		},
		"single wild readings of the draft": func(c *chimney) {
			for range 60 {
				for _, wild := range []float64{65, -50, 43} {
					c.draft = 14 + wild
					c.run(c.period)
					c.draft = 14
					c.run(9 * time.Second)
				}
				c.run(time.Minute)
			}
		},
		"readings that jump": func(c *chimney) {
			for range 20 {
				tip := c.tip
				c.tip = 1300
				c.run(c.period)
				c.tip = tip
				c.run(time.Minute)
			}
		},
		"a downdraft and its end": func(c *chimney) {
			c.drift(120, 560, -8, 20*time.Second)
			c.run(4 * time.Minute)
			c.drift(250, 600, 15, 20*time.Second)
			c.run(20 * time.Minute)
		},
		"a fan in the house is switched off": func(c *chimney) {
			c.draft = 18
			c.run(time.Hour)
		},
		"a cold start": func(c *chimney) {
			c.in.Phase = burn.Lighting
			c.flue, c.chamber, c.draft, c.noise = 20, 20, 3, 0.1
			c.tip, c.upTip = 20, 20
			c.judge = chimneyfire.Judge{}
			c.run(5 * time.Minute)
			c.drift(200, 250, 13, 6*time.Minute)
			c.in.Phase, c.noise = burn.WarmUp, 0.25
			c.drift(260, 600, 14, 20*time.Minute)
			c.run(time.Hour)
		},
		"coals flame up": func(c *chimney) {
			c.drift(110, 300, 11, time.Hour)
			c.noise = 0.12
			c.run(time.Hour)
			c.noise = 0.3
			c.drift(260, 620, 14, 6*time.Minute)
			c.run(time.Hour)
		},
		"wires of flue and chamber are swapped": func(c *chimney) {
			c.flue, c.chamber = c.chamber, c.flue
			c.tip, c.upTip = c.upTip, c.tip
			c.run(time.Hour)
		},
	}
	for name, do := range tests {
		for _, both := range []bool{false, true} {
			if !both && name == "wires of flue and chamber are swapped" {
				continue
			}
			for _, period := range []time.Duration{500 * time.Millisecond, time.Second} {
				c := newChimney(period, both)
				c.run(20 * time.Minute)
				do(c)
				if c.named {
					t.Errorf("%s, chamber %v, every %v: named at %v", name, both, period, c.seen)
				}
			}
		}
	}
}

func TestBlindWithoutAFlue(t *testing.T) {
	c := newChimney(time.Second, false)
	if f := c.judge.Step(c.in); f.Verdict != alarm.Blind {
		t.Errorf("%v", f.Verdict)
	}
	c.run(time.Minute)
	if c.found.Verdict != alarm.Absent {
		t.Errorf("%v", c.found.Verdict)
	}
	// The fire takes the probe: what was seen is not withdrawn.
	c.run(20 * time.Minute)
	fires["violent"](c)
	lost := c.in
	lost.At += time.Second
	lost.Values[frame.Flue] = math.NaN()
	if f := c.judge.Step(lost); f.Verdict != alarm.Blind || f.Evidence.Score() < 3 {
		t.Errorf("%+v", f)
	}
}

// Without a draft, only a climb that no appliance makes can decide.
func TestFlueAlone(t *testing.T) {
	c := newChimney(time.Second, false)
	c.draft = math.NaN()
	c.run(20 * time.Minute)
	c.drift(380, 600, 0, 5*time.Minute)
	if c.named {
		t.Errorf("a hot fire is named")
	}
	c.draft = math.NaN()
	c.flue = 1000
	c.run(time.Minute)
	if !c.named {
		t.Errorf("not named: %+v", c.found)
	}
}

func TestAnyFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := chimneyfire.New(chimneyfire.Settings{FlueLimit: rapid.SampledFrom([]float64{0, 1, 480}).Draw(t, "limit")})
		var in chimneyfire.Inputs
		for range rapid.IntRange(1, 300).Draw(t, "frames") {
			in.At += time.Duration(rapid.Int64Range(-5e9, 30e9).Draw(t, "dt"))
			in.Phase = burn.Phase(rapid.IntRange(0, 6).Draw(t, "phase"))
			in.DoorOpen = rapid.Bool().Draw(t, "door")
			for c := range in.Values {
				in.Values[c] = rapid.SampledFrom([]float64{math.NaN(), -1e300, -12, 0, 0.1, 20, 150, 600, 1e300, math.Inf(1)}).Draw(t, "value")
			}
			legal(t, in, j.Step(in))
		}
	})
}

type failer interface{ Fatalf(string, ...any) }

// legal is what holds of any finding.
func legal(t failer, in chimneyfire.Inputs, f chimneyfire.Finding) {
	e := f.Evidence
	for _, part := range []float64{e.Rise, e.Level, e.Surge, e.Roar, e.Upstream, e.Hotter, e.Air} {
		if !(math.Abs(part) <= 10) {
			t.Fatalf("evidence %+v", e)
		}
	}
	switch {
	case f.Verdict > alarm.Present, f.For < 0, e.Air > 0:
		t.Fatalf("%+v", f)
	case math.IsInf(f.Rate, 0), math.IsInf(f.Draft, 0), math.IsInf(f.Explained, 0), math.IsInf(f.Noise, 0), math.IsInf(f.Usual, 0):
		t.Fatalf("infinite: %+v", f)
	case math.IsNaN(in.Values[frame.Flue]) && f.Verdict != alarm.Blind:
		t.Fatalf("%v without a flue", f.Verdict)
	}
}

func FuzzStep(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27, 28})
	f.Fuzz(func(t *testing.T, data []byte) {
		var j chimneyfire.Judge
		var in chimneyfire.Inputs
		for len(data) >= 28 {
			in.At = time.Duration(binary.LittleEndian.Uint64(data))
			in.Phase, in.DoorOpen = burn.Phase(data[8]%7), data[9]&1 == 1
			for c := range in.Values {
				in.Values[c] = float64(math.Float32frombits(uint32(binary.LittleEndian.Uint16(data[10+2*c:])) << 16))
			}
			data = data[28:]
			legal(t, in, j.Step(in))
		}
	})
}

func TestNoAllocation(t *testing.T) {
	c := newChimney(time.Second, true)
	if n := testing.AllocsPerRun(1000, func() { c.run(time.Second) }); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	c := newChimney(time.Second, true)
	c.run(20 * time.Minute)
	for b.Loop() {
		c.in.At += time.Second
		c.judge.Step(c.in)
	}
}
