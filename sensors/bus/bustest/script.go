// Package bustest plays recorded bus traffic to a driver under test. Unlike periph's
// i2ctest it can let each transfer fail, and says what differs instead of panicking.
package bustest

import (
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
)

// NoAck is the errno of i2c-bcm2835 when nobody acknowledges (EREMOTEIO).
const NoAck = syscall.Errno(121)

// Op is one expected transfer and its answer.
type Op struct {
	Addr uint16
	W, R []byte
	Err  error
}

// At writes ops of one chip as they are read aloud: "05 30" writes two bytes, "04 > 40"
// writes one and reads one, "> 00 3C" only reads.
func At(tb testing.TB, addr uint16, ops ...string) []Op {
	tb.Helper()
	all := make([]Op, len(ops))
	for i, op := range ops {
		w, r, _ := strings.Cut(op, ">")
		all[i] = Op{Addr: addr, W: unhex(tb, w), R: unhex(tb, r)}
	}
	return all
}

func unhex(tb testing.TB, s string) []byte {
	tb.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// Script is a bus that expects exactly its ops, in order.
type Script struct {
	tb  testing.TB
	ops []Op
}

var _ i2c.Bus = (*Script)(nil)

// New returns a bus that expects ops, all of them by the end of the test.
func New(tb testing.TB, ops ...Op) *Script {
	s := &Script{tb: tb, ops: slices.Clone(ops)}
	tb.Cleanup(func() {
		if len(s.ops) != 0 && !tb.Failed() {
			tb.Errorf("%d transfers did not happen, the next % x", len(s.ops), s.ops[0].W)
		}
	})
	return s
}

// String is the name of a usual bus.
func (s *Script) String() string { return "/dev/i2c-1" }

// SetSpeed is refused, as by i2c-dev.
func (s *Script) SetSpeed(physic.Frequency) error { return errors.ErrUnsupported }

// Tx compares the transfer with the next op and answers as that says.
func (s *Script) Tx(addr uint16, w, r []byte) error {
	s.tb.Helper()
	if len(s.ops) == 0 {
		s.tb.Errorf("unexpected transfer with 0x%02x: % x, reads %d", addr, w, len(r))
		return errors.New("unexpected transfer")
	}
	next := s.ops[0]
	s.ops = s.ops[1:]
	if addr != next.Addr {
		s.tb.Errorf("address 0x%02x, want 0x%02x", addr, next.Addr)
	}
	if diff := cmp.Diff(hex.EncodeToString(next.W), hex.EncodeToString(w)); diff != "" {
		s.tb.Errorf("written (-want +got):\n%s", diff)
	}
	if next.Err == nil && len(next.R) != len(r) {
		s.tb.Errorf("after % x reads %d bytes, want %d", w, len(r), len(next.R))
	}
	copy(r, next.R)
	return next.Err
}

// FailEach runs do once for every op, with that op failing, and wants the driver to stop
// there and to report the failure of the bus.
func FailEach(t *testing.T, ops []Op, do func(t *testing.T, b i2c.Bus) error) {
	t.Helper()
	for i := range ops {
		failing := slices.Clone(ops[:i+1])
		failing[i].Err = syscall.EIO
		err := do(t, New(t, failing...))
		if sensors.CodeOf(err) != sensors.BusError || !errors.Is(err, syscall.EIO) {
			t.Errorf("transfer %d (% x) fails: %v, want %s with its errno", i, ops[i].W, err, sensors.BusError)
		}
	}
}
