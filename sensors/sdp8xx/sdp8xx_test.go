package sdp8xx

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
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
)

// nack is what i2c-bcm2835 reports when nobody acknowledges (EREMOTEIO).
const nack = syscall.Errno(121)

// op is one expected transfer.
type op struct {
	w, r []byte
	err  error
}

// script is a bus that expects exact traffic and can fail at each transfer, which
// i2ctest's Playback cannot.
type script struct {
	t    *testing.T
	addr uint16
	ops  []op
}

func (s *script) String() string                  { return "/dev/i2c-1" }
func (s *script) SetSpeed(physic.Frequency) error { return errors.ErrUnsupported }

func (s *script) Tx(addr uint16, w, r []byte) error {
	if len(s.ops) == 0 {
		s.t.Errorf("unexpected transfer % x", w)
		return errors.New("unexpected")
	}
	next := s.ops[0]
	s.ops = s.ops[1:]
	if addr != s.addr {
		s.t.Errorf("address 0x%02x, want 0x%02x", addr, s.addr)
	}
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
	if s.addr == 0 {
		s.addr = d.opts.Address
	}
	return d
}

var (
	stop     = op{w: []byte{0x3F, 0xF9}}
	identify = []op{{w: []byte{0x36, 0x7C}}, {w: []byte{0xE1, 0x02}}}
	begin    = op{w: []byte{0x36, 0x15}}
)

// word is a word with its checksum.
func word(high, low byte) []byte { return []byte{high, low, crc8(high, low)} }

// identity810 is SDP810-125Pa, product number 030 20B 01.
func identity810() op {
	return op{r: slices.Concat(word(0x03, 0x02), word(0x0B, 0x01), word(0, 0), word(0, 0), word(0x12, 0x34), word(0x56, 0x78))}
}

func start() []op {
	return slices.Concat([]op{stop}, identify, []op{identity810(), begin})
}

func read(tb testing.TB, s string) op { return op{r: unhex(tb, s)} }

func TestStartAndSense(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{ops: slices.Concat(start(), []op{
			read(t, "F4 48 9E 12 5C 35 00 F0 03"),
			stop,
		})}
		d := newDev(t, s, DefaultOpts)
		began := time.Now()
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got, want := time.Since(began), 21*time.Millisecond; got != want {
			t.Errorf("start took %v, want %v", got, want)
		}
		if want := (Identity{Product: 0x03020B01, Serial: 0x12345678}); d.Identity() != want {
			t.Errorf("identity %v, want %v", d.Identity(), want)
		}
		got, err := d.Sense(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := got.Get(sensors.DifferentialPressure); !ok || v != -12.5 {
			t.Errorf("pressure %v, %v, want −12.5 Pa", v, ok)
		}
		if v, ok := got.Get(sensors.AirTemperature); ok {
			t.Errorf("the gas's temperature %v passes for the air's", v)
		}
		if want := "f4489e125c3500f003"; got.Raw.String() != want {
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

// Not acknowledged: normal for 50 ms after the start or a read, a fault later.
func TestGrace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		refuse := op{err: nack}
		s := &script{ops: slices.Concat(start(), []op{
			refuse, refuse, refuse,
			read(t, "F4 48 9E 12 5C 35 00 F0 03"),
			refuse, refuse,
		})}
		d := newDev(t, s, DefaultOpts)
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, step := range []struct {
			wait time.Duration
			want sensors.Code
		}{
			{0, sensors.NotReady},
			{50 * time.Millisecond, sensors.NotReady},
			{time.Millisecond, sensors.NoAnswer},
			{0, ""},
			{50 * time.Millisecond, sensors.NotReady},
			{time.Millisecond, sensors.NoAnswer},
		} {
			time.Sleep(step.wait)
			if _, err := d.Sense(t.Context()); sensors.CodeOf(err) != step.want {
				t.Errorf("%v later: %v, want %q", step.wait, err, step.want)
			}
		}
		s.done()
	})
}

func TestSenseFaults(t *testing.T) {
	for _, tc := range []struct {
		name string
		op   op
		want sensors.Code
	}{
		{"checksum", read(t, "F4 48 9E 12 5C 36 00 F0 03"), sensors.BadChecksum},
		{"zeros with good checksums", read(t, "00 00 81 00 00 81 00 00 81"), sensors.ImpossibleFrame},
		{"scale of the other range", read(t, "FD 12 F8 12 5C 35 00 3C 39"), sensors.ImpossibleFrame},
		{"low", read(t, "00 00 00 00 00 00 00 00 00"), sensors.StuckLow},
		{"high", read(t, "FF FF FF FF FF FF FF FF FF"), sensors.StuckHigh},
		{"full scale", op{r: slices.Concat(word(0x75, 0x30), word(0x13, 0x88), word(0x00, 0xF0))}, sensors.OutOfRange},
		{"negative full scale", op{r: slices.Concat(word(0x8A, 0xD0), word(0x13, 0x88), word(0x00, 0xF0))}, sensors.OutOfRange},
		{"most negative", op{r: slices.Concat(word(0x80, 0x00), word(0x13, 0x88), word(0x00, 0xF0))}, sensors.OutOfRange},
		{"just below full scale", op{r: slices.Concat(word(0x75, 0x2F), word(0x13, 0x88), word(0x00, 0xF0))}, ""},
		{"adapter timeout", op{err: syscall.ETIMEDOUT}, sensors.BusDown},
		{"bus error", op{err: syscall.EIO}, sensors.BusError},
		{"bus gone", op{err: syscall.ENODEV}, sensors.DeviceMissing},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := &script{ops: append(start(), tc.op)}
				d := newDev(t, s, DefaultOpts)
				if err := d.Start(t.Context()); err != nil {
					t.Fatal(err)
				}
				got, err := d.Sense(t.Context())
				if tc.want == "" {
					if err != nil {
						t.Error(err)
					}
					return
				}
				var f *sensors.Fault
				if !errors.As(err, &f) || f.Code != tc.want || !strings.Contains(f.Device, "0x25") {
					t.Errorf("%v, want %s of this chip", err, tc.want)
				}
				if got != (sensors.Sample{}) {
					t.Errorf("a sample beside the fault: %v", got)
				}
			})
		})
	}
}

func TestStartFaults(t *testing.T) {
	timeout := op{w: cmdStop, err: syscall.ETIMEDOUT}
	silent := []op{{w: cmdStop, err: nack}, {w: cmdIdentify, err: nack}}
	other := op{r: unhex(t, identity800)}
	for _, tc := range []struct {
		name string
		ops  []op
		want sensors.Code
		says string
	}{
		{"nobody there", slices.Repeat(silent, 3), sensors.NoAnswer, ""},
		{"bus down, not tried again", []op{timeout}, sensors.BusDown, ""},
		{"another part", slices.Concat([]op{stop}, identify, []op{other}), sensors.WrongPart, "sdp800-125pa"},
		{"data line low", slices.Concat([]op{stop}, identify, []op{{r: make([]byte, 18)}}), sensors.StuckLow, ""},
		{"second half not acknowledged", slices.Repeat([]op{stop, identify[0], {w: cmdReadID, err: nack}}, 3), sensors.NoAnswer, ""},
		{"number not acknowledged", slices.Repeat([]op{stop, identify[0], identify[1], {err: nack}}, 3), sensors.NoAnswer, ""},
		{"start not acknowledged", slices.Concat([]op{stop}, identify, []op{identity810(), {w: cmdStart, err: nack}}), sensors.NoAnswer, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := &script{ops: slices.Clone(tc.ops)}
				d := newDev(t, s, DefaultOpts)
				err := d.Start(t.Context())
				if sensors.CodeOf(err) != tc.want {
					t.Fatalf("%v, want %s", err, tc.want)
				}
				if !strings.Contains(err.Error(), tc.says) {
					t.Errorf("%q does not say %q", err, tc.says)
				}
				s.done()
				if err := d.Halt(); err != nil {
					t.Errorf("halt of a chip that never started: %v", err)
				}
			})
		})
	}
}

// The SDP33's product number was not published: it is known by its family, by not being
// one of the others, and by the scale of its frames (20 counts per pascal).
func TestAPartWithoutAProductNumber(t *testing.T) {
	id := func(b ...byte) op {
		out := make([]byte, 0, 18)
		for i := 0; i < len(b); i += 2 {
			out = append(out, b[i], b[i+1], crc8(b[i], b[i+1]))
		}
		return op{r: out}
	}
	serial := []byte{0, 0, 0, 0, 0, 0, 0, 1}
	for _, tc := range []struct {
		name    string
		product []byte
		frame   string
		start   sensors.Code
		sense   sensors.Code
	}{
		{"an SDP33", []byte{0x03, 0x01, 0x03, 0x01}, "00F0 1388 0014", "", ""},
		{"an SDP31", []byte{0x03, 0x01, 0x01, 0x01}, "", sensors.WrongPart, ""},
		{"an SDP810", []byte{0x03, 0x02, 0x0B, 0x01}, "", sensors.WrongPart, ""},
		{"another of the family, with another scale", []byte{0x03, 0x01, 0x07, 0x01}, "00F0 1388 00F0", "", sensors.ImpossibleFrame},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ops := slices.Concat([]op{stop}, identify, []op{id(append(slices.Clone(tc.product), serial...)...)})
				if tc.start == "" {
					words := unhex(t, strings.ReplaceAll(tc.frame, " ", ""))
					ops = append(ops, op{w: cmdStart}, id(words...))
				}
				s := &script{ops: ops}
				d := newDev(t, s, Opts{Part: SDP33P1500, Address: 0x25})
				if got := sensors.CodeOf(d.Start(t.Context())); got != tc.start {
					t.Fatalf("start: %q, want %q", got, tc.start)
				}
				if tc.start != "" {
					return
				}
				sample, err := d.Sense(t.Context())
				if got := sensors.CodeOf(err); got != tc.sense {
					t.Fatalf("sense: %v, want %q", err, tc.sense)
				}
				if v, _ := sample.Get(sensors.DifferentialPressure); tc.sense == "" && v != 12 {
					t.Errorf("%v Pa, want 12", v)
				}
			})
		})
	}
}

// A sensor that slept refuses the first command and wakes by it.
func TestStartOfASleepingSensor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &script{ops: slices.Concat([]op{
			{w: cmdStop, err: nack}, {w: cmdIdentify, err: nack},
		}, start())}
		d := newDev(t, s, DefaultOpts)
		if err := d.Start(t.Context()); err != nil {
			t.Error(err)
		}
		s.done()
	})
}

func TestStartIsCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	d := newDev(t, &script{ops: []op{stop}}, DefaultOpts)
	if err := d.Start(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want %v", err, context.Canceled)
	}
}

func TestAddresses(t *testing.T) {
	for part, want := range map[Part]uint16{SDP810P125: 0x25, SDP811P500: 0x26, SDP31P500: 0x21} {
		d, err := New(&script{t: t}, &Opts{Part: part})
		if err != nil || d.opts.Address != want {
			t.Errorf("%s: address 0x%02x (%v), want 0x%02x", part, d.opts.Address, err, want)
		}
	}
	for name, o := range map[string]Opts{
		"part":    {Part: "sdp810-250pa"},
		"address": {Part: SDP810P125, Address: 0x40},
	} {
		if _, err := New(&script{t: t}, &o); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%v, want it to name the %s", err, name)
		}
	}
}

// steady answers every read with the same frame and counts bytes.
type steady struct {
	script
	frame []byte
	bytes int
}

func (s *steady) Tx(_ uint16, w, r []byte) error {
	s.bytes += 1 + len(w) + len(r) // the header too
	copy(r, s.frame)
	return nil
}

func sensing(tb testing.TB) (*Dev, *steady) {
	tb.Helper()
	b := &steady{frame: unhex(tb, "F4 48 9E 12 5C 35 00 F0 03")}
	d, err := New(b, &DefaultOpts)
	if err != nil {
		tb.Fatal(err)
	}
	return d, b
}

func TestSenseDoesNotAllocate(t *testing.T) {
	d, _ := sensing(t)
	if n := testing.AllocsPerRun(100, func() {
		if _, err := d.Sense(context.Background()); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations in a look, want none", n)
	}
}

func BenchmarkSense(b *testing.B) {
	d, s := sensing(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Sense(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(s.bytes)/float64(b.N), "busB/op")
}
