package mcp9808

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	theirs "periph.io/x/devices/v3/mcp9808"

	"fluewright/sensors"
	"fluewright/sensors/bus/bustest"
)

var (
	echoOps  = []string{"01 > 00 00", "02 > 07 D0"}
	startOps = append([]string{"06 > 00 54", "07 > 04 00", "08 03", "02 07 D0", "01 00 00"}, echoOps...)
)

func ops(tb testing.TB, groups ...[]string) []bustest.Op {
	return bustest.At(tb, 0x1A, slices.Concat(groups...)...)
}

func newDev(t *testing.T, b i2c.Bus) *Dev {
	t.Helper()
	d, err := New(b, &Opts{Address: 0x1A})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// anything answers every read with one word.
type anything struct{ word uint16 }

func (a *anything) String() string                  { return "bus" }
func (a *anything) SetSpeed(physic.Frequency) error { return nil }

func (a *anything) Tx(_ uint16, _, r []byte) error {
	if len(r) == 2 {
		r[0], r[1] = byte(a.word>>8), byte(a.word)
	}
	return nil
}

// Every word means what periph devices v3.7.4 makes of it.
func TestDecodeAsPeriph(t *testing.T) {
	b := &anything{}
	their, err := theirs.New(b, &theirs.DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	for w := range 0x10000 {
		b.word = uint16(w)
		temperature, err := their.SenseTemp()
		if err != nil {
			t.Fatal(err)
		}
		want := float64(temperature-physic.ZeroCelsius) / float64(physic.Kelvin)
		got, err := Decode(uint16(w))
		switch {
		case err != nil && (got != 0 || want >= -40 && want <= 125):
			t.Fatalf("%04x: %v beside %v, periph has %v °C", w, got, err, want)
		case err == nil && (got != want || want < -40 || want > 125):
			t.Fatalf("%04x: %v °C, periph has %v °C", w, got, want)
		}
	}
}

func TestStartAndSense(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDev(t, bustest.New(t, ops(t, startOps, echoOps, []string{"05 > C1 4A", "01 01 00"})...))
		began := time.Now()
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := time.Since(began); got < 250*time.Millisecond {
			t.Errorf("trusted after %v, before the first conversion", got)
		}
		got, err := d.Sense(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := got.Get(sensors.AirTemperature); !ok || v != 20.625 {
			t.Errorf("%v °C, %v", v, ok)
		}
		if got.Raw.String() != "c14a" {
			t.Errorf("raw %s", got.Raw)
		}
		if err := d.Halt(); err != nil {
			t.Error(err)
		}
	})
}

func TestFaults(t *testing.T) {
	for _, tc := range []struct {
		name  string
		ops   [][]string
		start bool // the fault is at the start
		code  sensors.Code
	}{
		{"line stays high", [][]string{{"06 > FF FF", "07 > FF FF"}}, true, sensors.StuckHigh},
		{"line stays low", [][]string{{"06 > 00 00", "07 > 00 00"}}, true, sensors.StuckLow},
		{"MCP9804 (jc42.c)", [][]string{{"06 > 00 54", "07 > 02 01"}}, true, sensors.WrongPart},
		{"another maker", [][]string{{"06 > 11 D4", "07 > 04 00"}}, true, sensors.WrongPart},
		{"deaf", [][]string{startOps[:5], {"01 > 00 00", "02 > 00 00"}}, true, sensors.LostConfiguration},
		{"supply dip: 0 °C follows", [][]string{startOps, {"01 > 00 00", "02 > 00 00"}}, false, sensors.LostConfiguration},
		{"shut down by another program", [][]string{startOps, {"01 > 01 00", "02 > 07 D0"}}, false, sensors.LostConfiguration},
		{"line goes high", [][]string{startOps, {"01 > FF FF", "02 > FF FF"}}, false, sensors.StuckHigh},
		{"130 °C", [][]string{startOps, echoOps, {"05 > 08 20"}}, false, sensors.ImpossibleFrame},
		{"−41 °C", [][]string{startOps, echoOps, {"05 > 1D 70"}}, false, sensors.ImpossibleFrame},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDev(t, bustest.New(t, ops(t, tc.ops...)...))
				err := d.Start(t.Context())
				if !tc.start {
					if err != nil {
						t.Fatal(err)
					}
					var s sensors.Sample
					if s, err = d.Sense(t.Context()); s != (sensors.Sample{}) {
						t.Errorf("a sample beside %v", err)
					}
				}
				var f *sensors.Fault
				if !errors.As(err, &f) || f.Code != tc.code || f.Device != d.String() {
					t.Errorf("%v, want %s", err, tc.code)
				}
			})
		})
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := newDev(t, bustest.New(t, ops(t, startOps)...)).Start(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled start: %v", err)
	}
	if _, err := New(bustest.New(t), &Opts{Address: 0x20}); err == nil {
		t.Error("address 0x20")
	}
}

func TestEachTransferFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		all := ops(t, startOps, echoOps, []string{"05 > C1 4A", "01 01 00"})
		bustest.FailEach(t, all, func(t *testing.T, b i2c.Bus) error {
			d := newDev(t, b)
			if err := d.Start(t.Context()); err != nil {
				return err
			}
			if _, err := d.Sense(t.Context()); err != nil {
				return err
			}
			return d.Halt()
		})
	})
}

// FuzzSense answers three reads with anything: a value comes only beside the chip's own
// set-up, and lies within what the chip measures.
func FuzzSense(f *testing.F) {
	f.Add(uint16(0x0000), uint16(0x07D0), uint16(0xC14A))
	f.Add(uint16(0x0000), uint16(0x0000), uint16(0x0000))
	f.Add(uint16(0xFFFF), uint16(0xFFFF), uint16(0xFFFF))
	f.Fuzz(func(t *testing.T, c, m, w uint16) {
		b := &words{c, m, w}
		d := newDev(t, b)
		s, err := d.Sense(t.Context())
		v, ok := s.Get(sensors.AirTemperature)
		switch {
		case ok != (err == nil), err != nil && sensors.CodeOf(err) == "":
			t.Errorf("%v beside %v", v, err)
		case ok && (c != 0 || m != 0x07D0 || v < -40 || v > 125):
			t.Errorf("%v °C from %04x", v, *b)
		}
	})
}

// words answers with registers 01, 02 and 05.
type words [3]uint16

func (*words) String() string                  { return "bus" }
func (*words) SetSpeed(physic.Frequency) error { return nil }

func (a *words) Tx(_ uint16, w, r []byte) error {
	v := a[map[byte]int{1: 0, 2: 1, 5: 2}[w[0]]]
	r[0], r[1] = byte(v>>8), byte(v)
	return nil
}

// counting is a chip at 20.625 °C.
type counting struct{ bytes int }

func (*counting) String() string                  { return "bus" }
func (*counting) SetSpeed(physic.Frequency) error { return nil }

func (c *counting) Tx(_ uint16, w, r []byte) error {
	c.bytes += len(w) + len(r)
	v := [...]uint16{1: 0, 2: 0x07D0, 5: 0x014A}[w[0]]
	r[0], r[1] = byte(v>>8), byte(v)
	return nil
}

func BenchmarkSense(b *testing.B) {
	c := &counting{}
	d, err := New(c, &DefaultOpts)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Sense(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(c.bytes)/float64(b.N), "busB/op")
}
