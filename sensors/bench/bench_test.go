package bench

import (
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"

	"fluewright/sensors"
)

// wait lets d pass on the computer's clock, which is a synctest bubble's in these tests.
func wait(d time.Duration) { _ = sensors.SystemClock{}.Sleep(context.Background(), d) }

// always is a physical input that does not move.
func always(v float64) func() float64 { return func() float64 { return v } }

func newBench(t *testing.T, cfg Config) *Bench {
	t.Helper()
	b, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func do(t *testing.T, b *Bench, line string) string {
	t.Helper()
	reply, err := b.Do(line)
	if err != nil {
		t.Fatal(err)
	}
	return reply
}

// The night must show what the demo promises, in the bench's own words.
func TestNightShowsItsEvents(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, Config{Scenario: Night(), Seed: 1})
		type seen struct{ clean, hot, reversed, open int } // seconds
		var s seen
		var last Truth
		for range 3 * 3600 {
			wait(time.Second)
			last = b.Truth()
			p := last.Furnace.Probe
			if p.Chamber > 510 && p.Chamber < 704 && p.Flue > 180 && p.Flue < 320 {
				s.clean++
			}
			if p.Chamber > 704 {
				s.hot++
			}
			if last.Furnace.Draft < -1 && last.Furnace.Char > 0.5 {
				s.reversed++
			}
			if len(last.Faults["flue"]) > 0 {
				s.open++
			}
		}
		for _, c := range []struct {
			name       string
			is, lo, hi int
		}{
			{"clean burn", s.clean, 1800, 7200},
			{"chamber over 704 °C", s.hot, 600, 2400},
			{"reversed draft", s.reversed, 100, 130},
			{"flue wire off", s.open, 299, 301},
		} {
			if c.is < c.lo || c.is > c.hi {
				t.Errorf("%s for %d s, want %d to %d", c.name, c.is, c.lo, c.hi)
			}
		}
		if f := last.Furnace.Probe.Flue; f > 150 {
			t.Errorf("after three hours the flue is still at %.0f °C", f)
		}
		wait(75 * time.Minute)
		if w := b.Truth().Furnace.Wood; w < 5 {
			t.Errorf("the night does not begin again: %.1f kg of wood", w)
		}
	})
}

func TestRegisteredBusesOpenThroughPeriph(t *testing.T) {
	b := newBench(t, Config{Quiet: true})
	if err := b.Register(); err != nil {
		t.Fatal(err)
	}
	if err := newBench(t, Config{}).Register(); err == nil {
		t.Error("a second bench could be registered")
	}
	bus, err := i2creg.Open("bench-i2c-1")
	if err != nil {
		t.Fatal(err)
	}
	id := []byte{0}
	if err := bus.Tx(AmbientAddr, []byte{0xD0}, id); err != nil || id[0] != 0x60 {
		t.Errorf("BME280 id %#x, %v", id[0], err)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
	if err := bus.Tx(AmbientAddr, []byte{0xD0}, id); err == nil {
		t.Error("a closed bus still works")
	}
	for _, name := range []string{"bench-spi-0.0", "bench-spi-0.1", "bench-spi-1.0"} {
		p, err := spireg.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		c, err := p.Connect(5*physic.MegaHertz, spi.Mode1, 8)
		if err != nil {
			t.Fatal(err)
		}
		r := make([]byte, 3)
		if err := c.Tx([]byte{0x01, 0, 0}, r); err != nil || r[1] != 0x03 || r[2] != 0xFF {
			t.Errorf("%s: CR1 and MASK % x, %v", name, r[1:], err)
		}
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := i2creg.Open("bench-i2c-1"); err == nil {
		t.Error("the bus can be opened after Close")
	}
}

func TestControlLines(t *testing.T) {
	for _, c := range []struct {
		line, err string // err empty when it must be taken
	}{
		{"light 12 20%", ""},
		{"reload 6.5 8% 2.5", ""},
		{"door open", ""},
		{"door shut", ""},
		{"blower off", ""},
		{"demand 0.5", ""},
		{"wind 8", ""},
		{"regulator free", ""},
		{"regulator stuck-shut", ""},
		{"regulator stuck-open 15", ""},
		{"downdraft 30 2m", ""},
		{"chimney-fire 90s", ""},
		{"pin flue 620", ""},
		{"free flue", ""},
		{"fault draft nack", ""},
		{"fault i2c-1 timeout", ""},
		{"clear draft", ""},
		{"truth", ""},
		{"", "empty line"},
		{"boil 3", `unknown command "boil"`},
		{"light", "a number is missing"},
		{"light much 20%", `"much" is not a number`},
		{"light 12 20", `"20" is not a moisture`},
		{"light 12 80%", `"80%" is not a moisture`},
		{"light 1000 20%", "not within 0 to 100"},
		{"door ajar", `"ajar" is none of open, shut`},
		{"downdraft 30 2", `"2" is not a duration`},
		{"pin attic 3", `"attic" is none of`},
		{"pin flue NaN", "is not a number"},
		{"fault flue nack", "max31856 cannot have it"},
		{"fault flue sleepy", `unknown fault "sleepy"`},
		{"fault attic open", `"attic" is none of`},
		{"truth now", "too many words"},
	} {
		t.Run(c.line, func(t *testing.T) {
			reply, err := newBench(t, Config{}).Do(c.line)
			switch {
			case c.err == "" && (err != nil || reply == "" || strings.Contains(reply, "\n")):
				t.Errorf("reply %q, error %v", reply, err)
			case c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)):
				t.Errorf("error %v, want %q", err, c.err)
			}
		})
	}
}

func TestTruthIsOneLineOfJSON(t *testing.T) {
	b := newBench(t, Config{})
	do(t, b, "pin flue 620")
	do(t, b, "fault flue open")
	var got struct {
		Furnace  struct{ Draft float64 }
		Channels map[string]float64
		Pinned   []string
		Faults   map[string][]string
	}
	if err := json.Unmarshal([]byte(do(t, b, "truth")), &got); err != nil {
		t.Fatal(err)
	}
	if got.Channels["flue"] != 620 || got.Pinned[0] != "flue" || got.Faults["flue"][0] != "open" || got.Furnace.Draft == 0 {
		t.Errorf("truth %+v", got)
	}
	do(t, b, "free flue")
	do(t, b, "clear flue")
	if tr := b.Truth(); len(tr.Pinned) != 0 || len(tr.Faults) != 0 || tr.Channels["flue"] > 100 {
		t.Errorf("after free and clear: %+v", tr)
	}
}

func TestScenarioErrorsNameTheLine(t *testing.T) {
	for _, c := range []struct{ name, text, err string }{
		{"no time", "light 12 20%", `line 1: "light" is not a time`},
		{"bad minute", "0:61:00 truth", `line 1: "0:61:00"`},
		{"no command", "\n0:01:00", "line 2: nothing to do"},
		{"backwards", "0:02:00 truth\n0:01:00 truth", "line 2: 0:01:00 is before"},
		{"after repeat", "0:01:00 repeat\n0:02:00 truth", "line 2: a line after repeat"},
		{"repeat at once", "0:00:00 repeat", "line 1: repeat at the start"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := ParseScenario(strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("error %v, want %q", err, c.err)
			}
		})
	}
	if _, err := New(Config{Scenario: Scenario{Steps: []Step{{time.Minute, "boil"}}}}); err == nil {
		t.Error("a scenario with an unknown command was accepted")
	}
}

func TestScenarioHappensOnTimeHoweverSeldomOneLooks(t *testing.T) {
	scenario := Scenario{Steps: []Step{{time.Minute, "light 12 16%"}, {40 * time.Minute, "wind 5"}}}
	run := func(every time.Duration) (tr Truth) {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, Config{Scenario: scenario})
			for range time.Hour / every {
				wait(every)
				tr = b.Truth()
			}
		})
		return tr
	}
	often, once := run(time.Second), run(time.Hour)
	if often.Furnace != once.Furnace {
		t.Errorf("every second %+v\nonce %+v", often.Furnace, once.Furnace)
	}
}

func TestClockRunsAtItsSpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(60)
		start, real := c.Now(), time.Now()
		if err := c.Sleep(context.Background(), 10*time.Minute); err != nil {
			t.Fatal(err)
		}
		if d := time.Since(real); d != 10*time.Second {
			t.Errorf("ten minutes took %s at 60 times", d)
		}
		if d := c.Now().Sub(start); d != 10*time.Minute {
			t.Errorf("the clock moved by %s", d)
		}
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if err := c.Sleep(ctx, time.Hour); err != context.Canceled {
			t.Errorf("sleep with an ended context: %v", err)
		}
	})
}

func TestCatchingUpIsCheap(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, Config{})
		do(t, b, "light 12 16%")
		read := b.reader("flue")
		if n := testing.AllocsPerRun(50, func() { wait(time.Second); read() }); n > 10 {
			t.Errorf("%g allocations for a look", n) // the sleep itself makes some
		}
		if v := read(); math.IsNaN(v) {
			t.Error("no flue temperature")
		}
	})
}
