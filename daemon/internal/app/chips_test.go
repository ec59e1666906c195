package app

import (
	"context"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/scan"
)

// Every chip that a configuration may name is wired here, and nothing else.
func TestEveryChipIsWired(t *testing.T) {
	var wired []string
	for name, c := range chips {
		wired = append(wired, name)
		if (c.i2c == nil) == (c.spi == nil) || c.quantity == nil {
			t.Errorf("%s is on one bus of two and has a quantity: %+v", name, c)
		}
	}
	slices.Sort(wired)
	known := config.Chips()
	slices.Sort(known)
	if !slices.Equal(wired, known) {
		t.Errorf("wired %v\nknown %v", wired, known)
	}
}

// everyChip are configurations that fit, between them, one chip of each kind on the bench.
var everyChip = map[string]string{
	"behind a multiplexer": `
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "bench-spi-0.0"
thermocouple = "K"
[[sensor]]
channels = ["firebox"]
chip = "max31855"
bus = "bench-spi-1.1"
thermocouple = "K"
[[sensor]]
channels = ["ambient", "room"]
chip = "bme280"
bus = "bench-i2c-1"
[[sensor]]
channels = ["outdoor"]
chip = "mcp9601"
bus = "bench-i2c-2"
mux = "0x70/0"
thermocouple = "K"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "bench-i2c-2"
mux = "0x70/3"
[[sensor]]
channels = ["return"]
chip = "mcp9808"
bus = "bench-i2c-2"
`,
	"a transmitter": `
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "bench-spi-0.0"
thermocouple = "K"
[[sensor]]
channels = ["draft"]
chip = "ads1115"
bus = "bench-i2c-2"
signal = "0.5-4.5 V"
range-low = "-100 Pa"
range-high = "100 Pa"
`,
}

// From the configuration to the frame, with real drivers on virtual chips.
func TestFromConfigurationToFrame(t *testing.T) {
	pins := map[frame.Channel]float64{
		frame.Flue: 240, frame.Firebox: 620, frame.Outdoor: -12, frame.Return: 19, frame.Room: 21,
		frame.Draft: 14, frame.Ambient: 98000,
	}
	for name, text := range everyChip {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				cfg, err := config.Parse("every.toml", []byte(text))
				if err != nil {
					t.Fatal(err)
				}
				b := newBasement(t)
				for c, v := range pins {
					b.do("pin %v %v", c, v)
				}
				a := b.run(cfg)
				b.pass(5 * time.Second)
				f, _ := a.frame(time.Now())
				for _, c := range frame.All() {
					in := f.Inputs[c]
					switch fitted := cfg.Analysis.Fitted[c]; {
					case fitted != (in.Quality == frame.Good):
						t.Errorf("%v: fitted %v, %+v", c, fitted, in)
					case fitted && math.Abs(in.Value-pins[c]) > max(0.3, 1e-3*math.Abs(pins[c])):
						t.Errorf("%v is %v, want %v", c, in.Value, pins[c])
					}
				}
			})
		})
	}
}

// What the owner is told when the multiplexer fails: it, and not the chips behind it.
func TestMultiplexerIsNamed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		cfg, err := config.Parse("every.toml", []byte(everyChip["behind a multiplexer"]))
		if err != nil {
			t.Fatal(err)
		}
		b := newBasement(t)
		a := b.run(cfg)
		b.pass(5 * time.Second)
		b.do("fault pca9548 nack")
		b.pass(5 * time.Second)
		f, _ := a.frame(time.Now())
		for _, c := range []frame.Channel{frame.Draft, frame.Outdoor} {
			if in := f.Inputs[c]; in.Quality != frame.Faulty || in.Fault != string(sensors.MuxNoAnswer) {
				t.Errorf("%v: %+v, want %s", c, in, sensors.MuxNoAnswer)
			}
		}
		if in := f.Inputs[frame.Return]; in.Quality != frame.Good {
			t.Errorf("the chip before the multiplexer: %+v", in)
		}
		b.do("clear pca9548")
		b.pass(20 * time.Second)
		f, _ = a.frame(time.Now())
		if in := f.Inputs[frame.Draft]; in.Quality != frame.Good {
			t.Errorf("draft does not come back: %+v", in)
		}
	})
}

// breakages are the faults of a soak by what they break; without those that leave a value
// as it is, which are the signal path's to notice.
var breakages = map[string]map[string][]string{
	"behind a multiplexer": {
		"flue":     {"timeout", "stuck-00", "stuck-ff", "brown-out", "open", "over-voltage", "out-of-range", "wrong-part", "cold-junction-hot"},
		"max31855": {"timeout", "stuck-00", "stuck-ff", "brown-out", "open", "short-ground", "short-supply", "out-of-range", "wrong-part", "cold-junction-hot"},
		"ambient":  {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out"},
		"mcp9601":  {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out", "open", "short-ground", "out-of-range", "wrong-part", "cold-junction-hot", "stretch"},
		"sdp810":   {"nack", "timeout", "crc", "stuck-00", "stuck-ff", "brown-out", "wrong-part"},
		"mcp9808":  {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out", "wrong-part"},
		"pca9548":  {"nack", "timeout", "brown-out"},
		"i2c-1":    {"nack", "timeout"},
		"i2c-2":    {"nack", "timeout"},
	},
	"a transmitter": {
		"flue":        {"timeout", "brown-out", "open"},
		"transmitter": {"nack", "timeout", "stuck-00", "stuck-ff", "brown-out", "open", "short-supply", "out-of-range", "supply-low"},
		"i2c-2":       {"nack", "timeout"},
	},
}

// What a soak allows between a good value and the truth at the time that the reading
// names: the chip's resolution, and what the truth moves in a conversion (0.35 s).
var tolerances = map[frame.Channel]float64{
	frame.Flue: 0.3, frame.Firebox: 0.45, frame.Outdoor: 0.3, frame.Return: 0.4, frame.Room: 0.3,
	frame.Draft: 0.1, frame.Ambient: 30,
}

// A minute of faults that come and go by chance, at ten looks a second: no value passes
// for good that is not what the chip was given, and all is well again in the end.
func TestSoak(t *testing.T) {
	for name, text := range everyChip {
		for seed := range uint64(5) {
			t.Run(fmt.Sprint(name, seed), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) { soak(t, seed, text, breakages[name]) })
			})
		}
	}
}

func soak(t *testing.T, seed uint64, text string, breakages map[string][]string) {
	cfg, err := config.Parse("soak.toml", []byte("[sampling]\nperiod = \"0.1 s\"\nstale-after = \"2 s\"\n"+text))
	if err != nil {
		t.Fatal(err)
	}
	b := newBasement(t)
	began := time.Now()
	truth := func(c frame.Channel, at time.Time) float64 {
		s := at.Sub(began).Seconds()
		switch c {
		case frame.Flue, frame.Firebox:
			return 300 + 0.5*s
		case frame.Draft:
			return 12 + 0.05*s
		case frame.Ambient:
			return 98000
		}
		return -5 + 0.2*s
	}
	a := b.run(cfg)
	rng := rand.New(rand.NewPCG(seed, 60))
	names := slices.Sorted(maps.Keys(breakages))
	var good, looks int
	var lost [frame.Count]time.Duration // since the last good value, once all is mended
	for range 900 {
		for _, c := range frame.All() {
			if cfg.Analysis.Fitted[c] {
				b.do("pin %v %v", c, truth(c, time.Now()))
			}
		}
		minute := time.Since(began) < time.Minute
		switch name := names[rng.IntN(len(names))]; {
		case !minute:
			for _, name := range names {
				b.do("clear %s", name)
			}
		case rng.IntN(12) == 0:
			b.do("fault %s %s", name, breakages[name][rng.IntN(len(breakages[name]))])
		case rng.IntN(4) == 0:
			b.do("clear %s", name)
		}
		b.pass(100 * time.Millisecond)
		f, taken := a.frame(time.Now())
		for _, c := range frame.All() {
			in := f.Inputs[c]
			if !cfg.Analysis.Fitted[c] {
				continue
			}
			looks++
			lost[c] += 100 * time.Millisecond
			if in.Quality != frame.Good {
				continue
			}
			good, lost[c] = good+1, 0
			if want := truth(c, taken[c]); !(math.Abs(in.Value-want) <= tolerances[c]) {
				t.Fatalf("after %v: %v is %v for good, true %v", time.Since(began), c, in.Value, want)
			}
			if age := time.Since(taken[c]); age > cfg.Sampling.StaleAfter {
				t.Fatalf("after %v: %v is good at %v", time.Since(began), c, age)
			}
		}
	}
	for _, c := range frame.All() {
		if lost[c] > 2*time.Second {
			t.Errorf("%v has had no good value for %v, long after the last fault", c, lost[c])
		}
	}
	if good < looks/5 || good == looks {
		t.Errorf("%d good values of %d: too few, or no fault has shown", good, looks)
	}
}

// basement is a bench with one of each chip, and what reads it.
type basement struct {
	t     *testing.T
	bench *bench.Bench
}

func newBasement(t *testing.T) *basement {
	t.Helper()
	b, err := bench.New(bench.Config{Every: true, Quiet: true})
	if err == nil {
		err = b.Register()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return &basement{t, b}
}

func (b *basement) do(format string, args ...any) {
	b.t.Helper()
	if _, err := b.bench.Do(fmt.Sprintf(format, args...)); err != nil {
		b.t.Fatal(err)
	}
}

func (b *basement) pass(d time.Duration) { _ = sensors.SystemClock{}.Sleep(b.t.Context(), d) }

// run starts the reading loops, which end with the test.
func (b *basement) run(cfg *config.Config) *assembler {
	b.t.Helper()
	board := scan.NewBoard()
	loops, err := buses(cfg, board, sensors.SystemClock{})
	if err != nil {
		b.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	for _, l := range loops {
		running.Go(func() {
			if err := l.Run(ctx); err != nil {
				b.t.Error(err)
			}
		})
	}
	b.t.Cleanup(func() { cancel(); running.Wait() })
	return &assembler{sources: sources(cfg), board: board, altitudePressure: 101325}
}
