package pca9548

import (
	"errors"
	"strings"
	"syscall"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
	"fluewright/sensors/bus"
	"fluewright/sensors/bus/bustest"
)

func channel(t testing.TB, g *Group, address uint16, n int) i2c.Bus {
	t.Helper()
	b, err := g.Channel(address, n)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func group(t testing.TB, b i2c.Bus, addresses ...uint16) *Group {
	t.Helper()
	g, err := New(b, addresses...)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func write(addr uint16, b ...byte) bustest.Op { return bustest.Op{Addr: addr, W: b} }

func failing(op bustest.Op, err error) bustest.Op {
	op.Err = err
	return op
}

// Every transfer opens its channel, whatever was open before: after a dip of the supply
// the multiplexer has closed them all.
func TestSelectsBeforeEveryTransfer(t *testing.T) {
	read := bustest.Op{Addr: 0x25, R: []byte{1, 2, 3}}
	g := group(t, bustest.New(t,
		write(0x70, 0x08), read, write(0x70, 0x00),
		write(0x70, 0x08), read, write(0x70, 0x00),
		write(0x70, 0x01), write(0x25, 0x36, 0x15), write(0x70, 0x00),
	), 0x70)
	third, first := channel(t, g, 0x70, 3), channel(t, g, 0x70, 0)
	for range 2 {
		var r [3]byte
		if err := third.Tx(0x25, nil, r[:]); err != nil || r != [3]byte{1, 2, 3} {
			t.Errorf("%x, %v", r, err)
		}
	}
	if err := first.Tx(0x25, []byte{0x36, 0x15}, nil); err != nil {
		t.Error(err)
	}
	if got := third.String(); got != "/dev/i2c-1 mux 0x70/3" {
		t.Errorf("called %q", got)
	}
}

// What an earlier process left open at another multiplexer is closed first, once.
func TestClosesTheOthers(t *testing.T) {
	for _, tc := range []struct {
		name string
		err  error // of closing the other
		want sensors.Code
	}{
		{"there", nil, ""},
		{"not there", bustest.NoAck, ""},
		{"the bus is down", syscall.ETIMEDOUT, sensors.BusDown},
	} {
		t.Run(tc.name, func(t *testing.T) {
			ops := []bustest.Op{failing(write(0x71, 0x00), tc.err)}
			if tc.want == "" {
				ops = append(ops,
					write(0x70, 0x80), write(0x25, 0x01), write(0x70, 0x00),
					write(0x70, 0x80), write(0x25, 0x02), write(0x70, 0x00),
					write(0x71, 0x01), write(0x25, 0x03), write(0x71, 0x00))
			}
			g := group(t, bustest.New(t, ops...), 0x70, 0x71)
			err := channel(t, g, 0x70, 7).Tx(0x25, []byte{1}, nil)
			if sensors.CodeOf(err) != tc.want {
				t.Fatalf("%v, want %q", err, tc.want)
			}
			if err != nil {
				return
			}
			err = errors.Join(
				channel(t, g, 0x70, 7).Tx(0x25, []byte{2}, nil),
				channel(t, g, 0x71, 0).Tx(0x25, []byte{3}, nil))
			if err != nil {
				t.Error(err)
			}
		})
	}
}

func TestFaultsNameWhoFailed(t *testing.T) {
	open, read, done := write(0x70, 0x01), write(0x25, 0x05), write(0x70, 0x00)
	for _, tc := range []struct {
		name string
		ops  []bustest.Op
		code sensors.Code
		mux  bool
	}{
		{"the multiplexer does not answer", []bustest.Op{failing(open, bustest.NoAck)}, sensors.MuxNoAnswer, true},
		{"the bus is down", []bustest.Op{failing(open, syscall.ETIMEDOUT)}, sensors.BusDown, true},
		{"the chip does not answer", []bustest.Op{open, failing(read, bustest.NoAck), done}, sensors.NoAnswer, false},
		{"neither after", []bustest.Op{open, failing(read, bustest.NoAck), failing(done, syscall.EIO)}, sensors.NoAnswer, false},
		{"the multiplexer fails after", []bustest.Op{open, read, failing(done, bustest.NoAck)}, sensors.MuxNoAnswer, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			g := group(t, bustest.New(t, tc.ops...), 0x70)
			err := channel(t, g, 0x70, 0).Tx(0x25, []byte{5}, nil)
			// As a driver reports it.
			f := bus.Fault("chip", "read", err)
			if f.Code != tc.code {
				t.Errorf("%v: %s, want %s", err, f.Code, tc.code)
			}
			if got := strings.Contains(f.Error(), "multiplexer on /dev/i2c-1 at 0x70"); got != tc.mux {
				t.Errorf("%q names the multiplexer: %v, want %v", f.Error(), got, tc.mux)
			}
		})
	}
}

func TestRefuses(t *testing.T) {
	if _, err := New(bustest.New(t), 0x78); err == nil {
		t.Error("address 0x78")
	}
	g := group(t, bustest.New(t), 0x70)
	if _, err := g.Channel(0x71, 0); err == nil {
		t.Error("a multiplexer that is not there")
	}
	for _, n := range []int{-1, 8} {
		if _, err := g.Channel(0x70, n); err == nil {
			t.Errorf("channel %d", n)
		}
	}
}

type counting int

func (*counting) String() string                  { return "bus" }
func (*counting) SetSpeed(physic.Frequency) error { return nil }

func (c *counting) Tx(_ uint16, w, r []byte) error {
	*c += counting(len(w) + len(r))
	return nil
}

func BenchmarkTx(b *testing.B) {
	var c counting
	x := channel(b, group(b, &c, 0x70), 0x70, 0)
	r := make([]byte, 9)
	b.ReportAllocs()
	for b.Loop() {
		if err := x.Tx(0x25, nil, r); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(c)/float64(b.N), "busB/op")
}
