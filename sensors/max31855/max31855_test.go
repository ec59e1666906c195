package max31855

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// script is a port and its connection that answers transfer by transfer. Each must be
// four bytes, written zero.
type script struct {
	t       testing.TB
	frames  [][]byte
	errs    map[int]error // by the number of the transfer
	n       int
	mode    spi.Mode
	freq    physic.Frequency
	refused error
}

func (s *script) String() string               { return "SPI0.0" }
func (s *script) Duplex() conn.Duplex          { return conn.Full }
func (s *script) TxPackets([]spi.Packet) error { return errors.New("not expected") }

func (s *script) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	s.freq, s.mode = f, mode
	return s, s.refused
}

func (s *script) Tx(w, r []byte) error {
	n := s.n
	s.n++
	if len(r) != 4 || !slices.Equal(w, []byte{0, 0, 0, 0}) {
		s.t.Errorf("transfer %d: writes % x, reads %d bytes", n, w, len(r))
	}
	if err := s.errs[n]; err != nil {
		return err
	}
	copy(r, s.frames[min(n, len(s.frames)-1)])
	return nil
}

func newDev(t testing.TB, s *script) *Dev {
	t.Helper()
	s.t = t
	d, err := New(s, &Opts{Type: thermocouple.K})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestStartAndSense(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{frames: [][]byte{unhex(t, "06 4C 19 00")}}
		d := newDev(t, s)
		if s.mode != spi.Mode0 || s.freq > 5*physic.MegaHertz {
			t.Errorf("connected in %v at %v", s.mode, s.freq)
		}
		began := time.Now()
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := time.Since(began); got < 200*time.Millisecond {
			t.Errorf("trusted after %v, want 200 ms (p. 4 note 6)", got)
		}
		got, err := d.Sense(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		// 100.75 °C reported over 25 °C: V = 41.276 µV/°C · 75.75 °C = 3.12666 mV (p. 8),
		// E(25 °C) = 1.000 mV, and 4.127 mV is 100.8 °C (NIST Monograph 175, type K).
		if v, ok := got.Get(sensors.HotJunction); !ok || math.Abs(v-100.8) > 0.1 {
			t.Errorf("hot junction %v, %v", v, ok)
		}
		if v, ok := got.Get(sensors.ColdJunction); !ok || v != 25 {
			t.Errorf("cold junction %v, %v", v, ok)
		}
		if got.Raw.String() != "064c1900" || got.Doubt != "" {
			t.Errorf("raw %s, doubt %q", got.Raw, got.Doubt)
		}
		if age := time.Since(got.Taken); age != 100*time.Millisecond {
			t.Errorf("taken %v ago", age)
		}
		if _, err := d.Sense(t.Context()); sensors.CodeOf(err) != sensors.NotReady || s.n != 2 {
			t.Errorf("looked again at once: %v, %d transfers", err, s.n)
		}
		time.Sleep(100 * time.Millisecond)
		if _, err := d.Sense(t.Context()); err != nil {
			t.Errorf("after a conversion: %v", err)
		}
		if err := errors.Join(d.Halt(), d.Halt()); err != nil {
			t.Error(err)
		}
	})
}

func TestHotTerminalsAreSuspect(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDev(t, &script{frames: [][]byte{unhex(t, "0C 80 3C 10")}}) // 60.0625 °C
		got, err := d.Sense(t.Context())
		if err != nil || got.Doubt != sensors.ColdJunctionHot {
			t.Errorf("doubt %q (%v)", got.Doubt, err)
		}
	})
}

func TestFaults(t *testing.T) {
	for _, tc := range []struct {
		name         string
		frame        string
		err          error
		start, sense sensors.Code
		hint         string
	}{
		{"dead wire", "00 00 00 00", nil, sensors.StuckLow, sensors.StuckLow, "3.3 V"},
		{"no chip", "FF FF FF FF", nil, sensors.StuckHigh, sensors.StuckHigh, "chip select"},
		{"another chip", "01 92 19 00", nil, sensors.ImpossibleFrame, sensors.ImpossibleFrame, "configured one"},
		{"open is the wiring's, and no reason not to start", "7F FD 19 01", nil, "", sensors.OpenCircuit, "screws"},
		{"ground", "01 91 19 02", nil, "", sensors.ShortToGround, "ungrounded"},
		{"supply", "01 91 19 04", nil, "", sensors.ShortToSupply, "3.3 V"},
		{"hot terminals", "06 4C 60 00", nil, "", sensors.ColdJunctionRange, "away from the furnace"},
		{"beyond", "64 00 19 00", nil, "", sensors.OutOfRange, "type"},
		{"transfer", "06 4C 19 00", syscall.EIO, sensors.BusError, sensors.BusError, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := &script{frames: [][]byte{unhex(t, tc.frame)}, errs: map[int]error{0: tc.err, 1: tc.err}}
				d := newDev(t, s)
				if err := d.Start(t.Context()); sensors.CodeOf(err) != tc.start {
					t.Errorf("start: %v, want %q", err, tc.start)
				}
				got, err := d.Sense(t.Context())
				var f *sensors.Fault
				if !errors.As(err, &f) || f.Code != tc.sense {
					t.Fatalf("sense: %v, want %q", err, tc.sense)
				}
				if f.Device != "max31855 on SPI0.0" || !strings.Contains(f.Hint(), tc.hint) {
					t.Errorf("device %q, hint %q", f.Device, f.Hint())
				}
				if _, ok := got.Get(sensors.HotJunction); ok {
					t.Error("a value beside the fault")
				}
			})
		})
	}
}

func TestCancelledStart(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := newDev(t, &script{frames: [][]byte{unhex(t, "06 4C 19 00")}}).Start(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// No type is none of the chip's, and B has no chip.
func TestNewRefuses(t *testing.T) {
	for _, typ := range []thermocouple.Type{0, thermocouple.B} {
		if _, err := New(&script{t: t}, &Opts{Type: typ}); err == nil || !strings.Contains(err.Error(), "suffix") {
			t.Errorf("type %v: %v", typ, err)
		}
	}
	if _, err := New(&script{t: t, refused: syscall.ENOTTY}, &Opts{Type: thermocouple.K}); sensors.CodeOf(err) != sensors.BusError {
		t.Errorf("connect fails: %v", err)
	}
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
	s := &script{t: b, frames: [][]byte{unhex(b, "3E 80 19 00")}}
	d, err := New(s, &Opts{Type: thermocouple.K, Clock: &tick{now: time.Unix(0, 0)}})
	if err != nil {
		b.Fatal(err)
	}
	s.n = 0
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Sense(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(4*float64(s.n)/float64(b.N), "busB/op")
}
