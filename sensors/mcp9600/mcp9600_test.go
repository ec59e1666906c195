package mcp9600

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
	"fluewright/sensors/bus/bustest"
	"fluewright/sensors/thermocouple"
)

// Traffic of a type N thermocouple, whose code is 3 (section 5.2.2), on an MCP9601.
var opts = Opts{Part: MCP9601, Type: thermocouple.N, Address: 0x67}

var (
	echoOps  = []string{"05 > 30", "06 > 00", "10 > 7D 00"}
	sameOps  = append([]string{"20 > 41 10"}, echoOps...)
	startOps = append([]string{"20 > 41 10", "05 30", "06 00", "10 7D 00", "04 00"}, echoOps...)
	// 625 °C over 25 °C.
	valueOps = []string{"00 > 27 10", "01 > 25 80", "02 > 01 90"}
	lookOps  = slices.Concat([]string{"04 > 40", "04 00"}, valueOps, sameOps)
)

func ops(t *testing.T, groups ...[]string) []bustest.Op {
	return bustest.At(t, 0x67, slices.Concat(groups...)...)
}

func newDev(t *testing.T, b i2c.Bus) *Dev {
	t.Helper()
	d, err := New(b, &opts)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func started(t *testing.T, groups ...[]string) *Dev {
	t.Helper()
	d := newDev(t, bustest.New(t, ops(t, append([][]string{startOps}, groups...)...)...))
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	return d
}

func TestStartAndSense(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := started(t, lookOps, []string{"06 01"})
		time.Sleep(400 * time.Millisecond)
		got, err := d.Sense(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := got.Get(sensors.HotJunction); !ok || v != 625 {
			t.Errorf("hot junction %v, %v", v, ok)
		}
		if v, ok := got.Get(sensors.ColdJunction); !ok || v != 25 {
			t.Errorf("cold junction %v, %v", v, ok)
		}
		if got.Raw.String() != "27102580019040" || got.Doubt != "" {
			t.Errorf("raw %s, doubt %q", got.Raw, got.Doubt)
		}
		if age := time.Since(got.Taken); age != 320*time.Millisecond {
			t.Errorf("taken %v ago", age)
		}
		// Section 6.2.1: no more than three looks in a conversion.
		if _, err := d.Sense(t.Context()); sensors.CodeOf(err) != sensors.NotReady {
			t.Errorf("looked again at once: %v", err)
		}
		if err := d.Halt(); err != nil {
			t.Error(err)
		}
	})
}

func TestSense(t *testing.T) {
	repeated := []string{"00 > 27 10", "01 > 27 10", "02 > 27 10"} // what a bus that does not wait reads
	for _, tc := range []struct {
		name string
		ops  [][]string
		code sensors.Code
		hint string
	}{
		{"converting", [][]string{{"04 > 00"}, sameOps}, sensors.NotReady, ""},
		{"open", [][]string{{"04 > 10"}, sameOps, {"04 > 50"}}, sensors.OpenCircuit, "screws"},
		{"short", [][]string{{"04 > 60"}, sameOps, {"04 > 20"}}, sensors.ShortCircuit, "ungrounded"},
		{"short in bytes that are not the status", [][]string{{"04 > 7D"}, sameOps, {"04 > 40"}}, sensors.ImpossibleFrame, "clock stretching"},
		{"line stays high", [][]string{{"04 > FF"}}, sensors.StuckHigh, "data"},
		{"line stays low", [][]string{{"04 > 00", "20 > 00 00", "20 > 00 00"}}, sensors.StuckLow, ""},
		{"repeated once is read again", [][]string{{"04 > 40", "04 00"}, repeated, valueOps, sameOps}, "", ""},
		{"repeated always", [][]string{{"04 > 40", "04 00"}, repeated, repeated, sameOps}, sensors.ImpossibleFrame, "clock stretching"},
		{"repeated into the identity", [][]string{{"04 > 40", "04 00"}, valueOps, {"20 > 01 90"}, sameOps}, sensors.ImpossibleFrame, "clock stretching"},
		{"and again", [][]string{{"04 > 40", "04 00"}, valueOps, {"20 > 01 90", "20 > 01 90"}}, sensors.ImpossibleFrame, "clock stretching"},
		{"repeated into the configuration", [][]string{{"04 > 00"}, {"20 > 41 10", "05 > 41", "06 > 00", "10 > 7D 00"}, sameOps}, sensors.ImpossibleFrame, "clock stretching"},
		{"type lost", [][]string{{"04 > 40", "04 00"}, valueOps, {"20 > 41 10", "05 > 00", "06 > 00", "10 > 7D 00", "20 > 41 10", "05 > 00", "06 > 00", "10 > 7D 00"}}, sensors.LostConfiguration, "supply"},
		{"a dip of the supply of a type K", [][]string{{"04 > 00"}, {"20 > 41 10", "05 > 30", "06 > 00", "10 > 00 00", "20 > 41 10", "05 > 30", "06 > 00", "10 > 00 00"}}, sensors.LostConfiguration, "supply"},
		{"put to sleep by another program", [][]string{{"04 > 00"}, {"20 > 41 10", "05 > 30", "06 > 01", "10 > 7D 00", "20 > 41 10", "05 > 30", "06 > 01", "10 > 7D 00"}}, sensors.LostConfiguration, ""},
		{"terminals at 61 °C", [][]string{{"04 > 40", "04 00"}, {"00 > 0E D0", "01 > 0B 00", "02 > 03 D0"}, sameOps}, "", ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := started(t, tc.ops...)
				got, err := d.Sense(t.Context())
				if sensors.CodeOf(err) != tc.code || (err == nil) != (tc.code == "") {
					t.Fatalf("%v, want %q", err, tc.code)
				}
				var f *sensors.Fault
				if errors.As(err, &f) && (f.Device != d.String() || !strings.Contains(f.Hint(), tc.hint)) {
					t.Errorf("device %q, hint %q", f.Device, f.Hint())
				}
				if v, ok := got.Get(sensors.HotJunction); ok != (err == nil) {
					t.Errorf("hot junction %v, %v", v, ok)
				}
				if v, _ := got.Get(sensors.ColdJunction); (v > 60) != (got.Doubt == sensors.ColdJunctionHot) {
					t.Errorf("terminals at %v: doubt %q", v, got.Doubt)
				}
			})
		})
	}
}

// A chip that never finishes is at fault after two seconds.
func TestNeverConverts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		none := append([]string{"04 > 00"}, sameOps...)
		d := started(t, none, none)
		for _, want := range []sensors.Code{sensors.NotReady, sensors.ImpossibleFrame} {
			time.Sleep(1500 * time.Millisecond)
			if _, err := d.Sense(t.Context()); sensors.CodeOf(err) != want {
				t.Errorf("%v, want %s", err, want)
			}
		}
	})
}

func TestStartFaults(t *testing.T) {
	for _, tc := range []struct {
		name string
		ops  []string
		code sensors.Code
	}{
		{"an MCP9600", []string{"20 > 40 10", "20 > 40 10"}, sensors.WrongPart},
		{"another chip", []string{"20 > 12 34", "20 > 12 34"}, sensors.WrongPart},
		{"line stays high", []string{"20 > FF FF", "20 > FF FF"}, sensors.StuckHigh},
		{"line stays low", []string{"20 > 00 00", "20 > 00 00"}, sensors.StuckLow},
		{"bytes of before", []string{"20 > 7D 00", "20 > 41 10"}, sensors.ImpossibleFrame},
		{"deaf", append(startOps[:5:5], "05 > 00", "06 > 00", "10 > 00 00", "05 > 00", "06 > 00", "10 > 00 00"), sensors.LostConfiguration},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDev(t, bustest.New(t, ops(t, tc.ops)...))
				if err := d.Start(t.Context()); sensors.CodeOf(err) != tc.code {
					t.Errorf("%v, want %s", err, tc.code)
				}
			})
		})
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := newDev(t, bustest.New(t)).Start(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled start: %v", err)
	}
}

func TestEachTransferFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		bustest.FailEach(t, ops(t, startOps, lookOps, []string{"06 01"}), func(t *testing.T, b i2c.Bus) error {
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

func TestNewRefuses(t *testing.T) {
	for _, tc := range []struct {
		opts Opts
		want string
	}{
		{Opts{Part: "mcp9602", Type: thermocouple.K}, "no part"},
		{Opts{Part: MCP9600}, "thermocouple type"},
		{Opts{Part: MCP9600, Type: thermocouple.K, Address: 0x68}, "0x60 to 0x67"},
	} {
		if _, err := New(bustest.New(t), &tc.opts); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %v", tc.opts, err)
		}
	}
}

// steady answers as a type K MCP9601 whose every look finds a new conversion.
type steady struct{ bytes int }

func (s *steady) String() string                  { return "bus" }
func (s *steady) SetSpeed(physic.Frequency) error { return nil }

var steadyRegs = map[byte][2]byte{
	0x00: {0x27, 0x10}, 0x01: {0x25, 0x80}, 0x02: {0x01, 0x90}, 0x04: {0x40}, 0x10: {0x7D, 0x00}, 0x20: {0x41, 0x10},
}

func (s *steady) Tx(_ uint16, w, r []byte) error {
	s.bytes += len(w) + len(r)
	reg := steadyRegs[w[0]]
	copy(r, reg[:])
	return nil
}

// tick moves on by a conversion at each look.
type tick struct {
	sensors.SystemClock
	now time.Time
}

func (c *tick) Now() time.Time {
	c.now = c.now.Add(conversionTime)
	return c.now
}

func BenchmarkSense(b *testing.B) {
	s := &steady{}
	o := DefaultOpts
	o.Clock = &tick{now: time.Unix(0, 0)}
	d, err := New(s, &o)
	if err != nil {
		b.Fatal(err)
	}
	if err := d.Start(context.Background()); err != nil {
		b.Fatal(err)
	}
	s.bytes = 0
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Sense(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(s.bytes)/float64(b.N), "busB/op")
}
