package max31856

import (
	"context"
	"errors"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// op is one expected transfer. A read's request is given in full.
type op struct {
	w, r []byte
	err  error
}

// script is a port and its connection that expect exact traffic, and can fail at each
// transfer, which spitest's Playback cannot.
type script struct {
	t       *testing.T
	ops     []op
	freq    physic.Frequency
	mode    spi.Mode
	bits    int
	refused error
}

func (s *script) String() string      { return "SPI0.0" }
func (s *script) Duplex() conn.Duplex { return conn.Full }

func (s *script) TxPackets([]spi.Packet) error { return errors.New("not expected") }

func (s *script) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	s.freq, s.mode, s.bits = f, mode, bits
	return s, s.refused
}

func (s *script) Tx(w, r []byte) error {
	if len(s.ops) == 0 {
		s.t.Errorf("unexpected transfer % x", w)
		return errors.New("unexpected")
	}
	next := s.ops[0]
	s.ops = s.ops[1:]
	if diff := cmp.Diff(next.w, w); diff != "" {
		s.t.Errorf("transfer (-want +got):\n%s", diff)
	}
	if len(next.r) != len(r) && next.err == nil {
		s.t.Errorf("reads %d bytes, want %d", len(r), len(next.r))
	}
	copy(r, next.r)
	return next.err
}

func (s *script) done() {
	s.t.Helper()
	if len(s.ops) != 0 {
		s.t.Errorf("%d transfers did not happen", len(s.ops))
	}
}

func newDev(t *testing.T, s *script, o Opts) *Dev {
	t.Helper()
	s.t = t
	d, err := New(s, &o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// read answers a read of all registers.
func read(regs []byte) op { return op{w: make([]byte, 17), r: append([]byte{0}, regs...)} }

// powerOn is the dump of Table 6, p. 18.
var powerOn = []byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0, 0, 0, 0, 0, 0}

// with returns the power-on registers with b from at on.
func with(at int, b ...byte) []byte {
	r := slices.Clone(powerOn)
	copy(r[at:], b)
	return r
}

// Type K, average of 4, 50 Hz: CR0 0x11, CR1 0x23.
var opts = Opts{Type: thermocouple.K, Averaging: 4, Mains: 50}

// set is the configuration of opts as the chip echoes it, with the request's number and
// the six data bytes.
func set(number byte, data ...byte) []byte {
	return append([]byte{0x11, 0x23, 0xFF, 0x55, 0xC9, 0x7F, 0xFF, 0x80, number, 0x00}, data...)
}

// request is the burst that asks for a conversion.
func request(number byte) op {
	return op{w: []byte{0x80, 0x51, 0x23, 0xFF, 0x55, 0xC9, 0x7F, 0xFF, 0x80, number}}
}

// start is the traffic of a Start that succeeds.
func start(number byte) []op {
	return []op{
		read(powerOn),
		{w: []byte{0x80, 0x00}},
		{w: []byte{0x83, 0x5A, 0xA5, 0x3C, 0xC3, 0x96, 0x69}},
		read(with(3, pattern[:]...)),
		{w: []byte{0x80, 0x11, 0x23, 0xFF, 0x55, 0xC9, 0x7F, 0xFF, 0x80, number - 1, 0x00}},
		read(set(number-1, 0, 0, 0, 0, 0, 0)),
		request(number),
	}
}

func TestStartAndSense(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{ops: slices.Concat(start(1), []op{
			read(set(1, 0x19, 0x00, 0x06, 0x4F, 0x00, 0x00)),
			request(2),
			{w: []byte{0x80, 0x11}},
			{w: []byte{0x80, 0x11}},
		})}
		d := newDev(t, s, opts)
		if s.freq != physic.MegaHertz || s.mode != spi.Mode1 || s.bits != 8 {
			t.Errorf("connected at %v, %v, %d bits", s.freq, s.mode, s.bits)
		}
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		asked := time.Now()
		time.Sleep(time.Second)
		got, err := d.Sense(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := got.Get(sensors.HotJunction); !ok || v != 100.9375 {
			t.Errorf("hot junction %v, %v", v, ok)
		}
		if v, ok := got.Get(sensors.ColdJunction); !ok || v != 25 {
			t.Errorf("cold junction %v, %v", v, ok)
		}
		if got.Doubt != "" {
			t.Errorf("doubt %s", got.Doubt)
		}
		if !got.Taken.Equal(asked) {
			t.Errorf("taken %v after the request, want 0", got.Taken.Sub(asked))
		}
		if want := "1123ff55c97fff8001001900064f0000"; got.Raw.String() != want {
			t.Errorf("raw %s, want %s", got.Raw, want)
		}
		for range 2 {
			if err := d.Halt(); err != nil {
				t.Error(err)
			}
		}
		s.done()
	})
}

func TestHotTerminalsAreSuspect(t *testing.T) {
	s := &script{ops: slices.Concat(start(1), []op{
		read(set(1, 0x3C, 0x04, 0x06, 0x4F, 0x00, 0x00)), // 60.015625 °C
		request(2),
	})}
	d := newDev(t, s, opts)
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	got, err := d.Sense(t.Context())
	if err != nil || got.Doubt != sensors.ColdJunctionHot {
		t.Errorf("doubt %q (%v), want %q", got.Doubt, err, sensors.ColdJunctionHot)
	}
}

func TestSenseFaults(t *testing.T) {
	all := func(b byte) op { return op{w: make([]byte, 17), r: slices.Repeat([]byte{b}, 17)} }
	good := []byte{0x19, 0x00, 0x06, 0x4F, 0x00, 0x00}
	for _, tc := range []struct {
		name   string
		ops    []op
		code   sensors.Code
		advice string
	}{
		{"supply dip", []op{read(powerOn)}, sensors.LostConfiguration, "power supply"},
		{"another's type", []op{read(func() []byte { r := set(1, good...); r[1] = 0x22; return r }())}, sensors.LostConfiguration, "power supply"},
		{"automatic mode", []op{read(func() []byte { r := set(1, good...); r[0] |= 0x80; return r }())}, sensors.LostConfiguration, "power supply"},
		{"request did not arrive", []op{read(set(0, good...))}, sensors.LostConfiguration, "MOSI"},
		{"stuck low", []op{all(0x00)}, sensors.StuckLow, "3.3 V"},
		{"stuck high", []op{all(0xFF)}, sensors.StuckHigh, "data-out"},
		{"open", []op{read(set(1, 0x19, 0, 0x06, 0x4F, 0, 0x01)), request(2)}, sensors.OpenCircuit, "screws"},
		{"input voltage", []op{read(set(1, 0x19, 0, 0x06, 0x4F, 0, 0x02)), request(2)}, sensors.InputVoltage, "ground loop"},
		{"open, and the request fails", []op{
			read(set(1, 0x19, 0, 0x06, 0x4F, 0, 0x01)),
			{w: request(2).w, err: syscall.EIO},
		}, sensors.OpenCircuit, ""},
		{"converting", []op{read(func() []byte { r := set(1, good...); r[0] |= 0x40; return r }())}, sensors.NotReady, ""},
		{"read fails", []op{{w: make([]byte, 17), err: syscall.EIO}}, sensors.BusError, ""},
		{"request fails", []op{read(set(1, good...)), {w: request(2).w, err: syscall.EIO}}, sensors.BusError, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := &script{ops: slices.Concat(start(1), tc.ops)}
			d := newDev(t, s, opts)
			if err := d.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
			got, err := d.Sense(t.Context())
			var f *sensors.Fault
			if !errors.As(err, &f) || f.Code != tc.code || f.Device != "max31856 on SPI0.0" {
				t.Errorf("%v, want %s of this chip", err, tc.code)
			} else if !strings.Contains(f.Hint(), tc.advice) {
				t.Errorf("hint %q does not say %q", f.Hint(), tc.advice)
			}
			if got != (sensors.Sample{}) {
				t.Errorf("a sample beside the fault: %v", got)
			}
			s.done()
		})
	}
}

func TestConversionThatNeverEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		busy := set(1, 0x19, 0x00, 0x06, 0x4F, 0x00, 0x00)
		busy[0] |= 0x40
		s := &script{ops: slices.Concat(start(1), []op{read(busy), read(busy)})}
		d := newDev(t, s, opts)
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, want := range []sensors.Code{sensors.NotReady, sensors.ImpossibleFrame} {
			if _, err := d.Sense(t.Context()); sensors.CodeOf(err) != want {
				t.Errorf("after %v: %v, want %s", time.Since(d.triggered), err, want)
			}
			time.Sleep(time.Second)
		}
	})
}

func TestStartFaults(t *testing.T) {
	shifted := make([]byte, len(pattern))
	for i, b := range pattern {
		shifted[i] = b << 1 // what a wrong clock phase makes of it
	}
	for _, tc := range []struct {
		name string
		// after that many transfers of a good start, these
		good   int
		ops    []op
		code   sensors.Code
		advice string
	}{
		{"no chip", 0, []op{read(slices.Repeat([]byte{0xFF}, 16))}, sensors.StuckHigh, ""},
		{"no power", 0, []op{read(make([]byte, 16))}, sensors.StuckLow, ""},
		{"wrong mode", 3, []op{read(with(3, shifted...))}, sensors.ImpossibleFrame, "configured one"},
		{"deaf chip", 3, []op{read(powerOn)}, sensors.ImpossibleFrame, "MOSI"},
		{"configuration not kept", 5, []op{read(powerOn)}, sensors.LostConfiguration, ""},
		{"first read fails", 0, []op{{w: make([]byte, 17), err: syscall.EIO}}, sensors.BusError, ""},
		{"switching off fails", 1, []op{{w: []byte{0x80, 0x00}, err: syscall.EIO}}, sensors.BusError, ""},
		{"pattern fails", 2, []op{{w: start(1)[2].w, err: syscall.EIO}}, sensors.BusError, ""},
		{"pattern's read fails", 3, []op{{w: make([]byte, 17), err: syscall.EIO}}, sensors.BusError, ""},
		{"configuration fails", 4, []op{{w: start(1)[4].w, err: syscall.EIO}}, sensors.BusError, ""},
		{"its read fails", 5, []op{{w: make([]byte, 17), err: syscall.EIO}}, sensors.BusError, ""},
		{"request fails", 6, []op{{w: request(1).w, err: syscall.EIO}}, sensors.BusError, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := &script{ops: slices.Concat(start(1)[:tc.good], tc.ops)}
			d := newDev(t, s, opts)
			err := d.Start(t.Context())
			var f *sensors.Fault
			if !errors.As(err, &f) || f.Code != tc.code {
				t.Fatalf("%v, want %s", err, tc.code)
			}
			if !strings.Contains(f.Hint(), tc.advice) {
				t.Errorf("hint %q does not say %q", f.Hint(), tc.advice)
			}
			s.done()
		})
	}
}

// A chip that another program left in automatic mode is given the time to end its
// conversion; a cancelled start does not wait.
func TestStartOfARunningChip(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ops := start(1)
		ops[0] = read(with(0, 0x90))
		s := &script{ops: slices.Clone(ops)}
		d := newDev(t, s, opts)
		began := time.Now()
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := time.Since(began); got < time.Duration(0.91*float64(time.Second)) {
			t.Errorf("waited %v, less than the longest conversion", got)
		}
		s.done()

		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		d = newDev(t, &script{ops: slices.Clone(ops[:2])}, opts)
		if err := d.Start(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled start: %v", err)
		}
	})
}

func TestNewRefuses(t *testing.T) {
	for _, tc := range []struct {
		name string
		opts Opts
		want string
	}{
		{"type", Opts{Averaging: 1, Mains: 50}, "thermocouple type"},
		{"averaging", Opts{Type: thermocouple.K, Averaging: 3, Mains: 50}, "averaging"},
		{"mains", Opts{Type: thermocouple.K, Averaging: 1, Mains: 55}, "mains"},
		{"open test", Opts{Type: thermocouple.K, Averaging: 1, Mains: 50, OpenTest: 4}, "open-circuit test"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := New(&script{t: t}, &tc.opts)
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("%v, want it to name %q", err, tc.want)
			}
		})
	}
	_, err := New(&script{t: t, refused: syscall.ENOTTY}, &DefaultOpts)
	if sensors.CodeOf(err) != sensors.BusError {
		t.Errorf("connect fails: %v, want %s", err, sensors.BusError)
	}
}

// Pages 4, 14 and 20: one-shot maxima, (n−1) × 33.33 or 40 ms, and the open test.
func TestConversionTime(t *testing.T) {
	for _, tc := range []struct {
		opts Opts
		want time.Duration
	}{
		{Opts{Averaging: 1, Mains: 60, OpenTest: Below5kOhm}, 170 * time.Millisecond},
		{Opts{Averaging: 1, Mains: 50, OpenTest: Below40kOhm}, 222 * time.Millisecond},
		{Opts{Averaging: 16, Mains: 50, OpenTest: Below40kOhmSlow}, 910 * time.Millisecond},
		{Opts{Averaging: 4, Mains: 60, OpenTest: Below5kOhm}, 269990 * time.Microsecond},
	} {
		if got := tc.opts.ConversionTime(); got != tc.want {
			t.Errorf("%+v: %v, want %v", tc.opts, got, tc.want)
		}
	}
}

// echoing answers every read with what was written, and counts bytes.
type echoing struct {
	script
	regs  [16]byte
	bytes int
}

func (e *echoing) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) { return e, nil }

func (e *echoing) Tx(w, r []byte) error {
	e.bytes += len(w)
	if w[0]&writeBit != 0 {
		copy(e.regs[w[0]&^writeBit:], w[1:])
		e.regs[regCR0] &^= cr0OneShot
		return nil
	}
	copy(r[1:], e.regs[w[0]:])
	return nil
}

func sensing(tb testing.TB) (*Dev, *echoing) {
	tb.Helper()
	e := &echoing{regs: [16]byte(with(regCJTH, 0x19, 0x00, 0x06, 0x4F))}
	d, err := New(e, &DefaultOpts)
	if err != nil {
		tb.Fatal(err)
	}
	if err := d.Start(tb.Context()); err != nil {
		tb.Fatal(err)
	}
	return d, e
}

// The request's number comes round without the echo ever failing.
func TestManyRequests(t *testing.T) {
	d, _ := sensing(t)
	for i := range 600 {
		if _, err := d.Sense(t.Context()); err != nil {
			t.Fatalf("look %d: %v", i, err)
		}
	}
	if n := testing.AllocsPerRun(100, func() { _, _ = d.Sense(context.Background()) }); n != 0 {
		t.Errorf("%v allocations in a look, want none", n)
	}
}

func BenchmarkSense(b *testing.B) {
	d, e := sensing(b)
	e.bytes = 0
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Sense(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(e.bytes)/float64(b.N), "busB/op")
}
