package traffic

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Recorder writes what goes over the buses that were opened through it.
type Recorder struct {
	inner bus.Opener
	clock sensors.Clock

	mu    sync.Mutex
	out   io.Writer
	start time.Time
	err   error // the first; nothing is written after it
}

// NewRecorder writes to out what goes over the buses that inner opens.
func NewRecorder(out io.Writer, inner bus.Opener, clock sensors.Clock) *Recorder {
	r := &Recorder{inner: inner, clock: clock, out: out}
	_, r.err = fmt.Fprintln(out, header)
	return r
}

// Opener opens buses that are recorded.
func (r *Recorder) Opener() bus.Opener {
	return bus.Opener{
		I2C: func(name string) (i2c.BusCloser, error) {
			b, err := r.inner.I2C(name)
			if err != nil {
				return nil, err
			}
			return &recordedI2C{b, name, r}, nil
		},
		SPI: func(name string) (spi.PortCloser, error) {
			p, err := r.inner.SPI(name)
			if err != nil {
				return nil, err
			}
			return &recordedPort{p, name, r}, nil
		},
	}
}

// Err returns why writing stopped. A record that cannot be written does not disturb what
// goes over the buses.
func (r *Recorder) Err() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.err
}

// note does a transfer and writes it down.
func (r *Recorder) note(t transfer, do func() error) error {
	began := r.clock.Now()
	err := do()
	t.err = failureOf(err)
	if err != nil {
		clear(t.r)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.start.IsZero() {
		r.start = began
	}
	t.at = began.Sub(r.start)
	if r.err == nil {
		if _, r.err = fmt.Fprintln(r.out, t); r.err != nil {
			r.err = fmt.Errorf("record bus traffic: %w", r.err)
		}
	}
	return err
}

// part is b, and nil when there is no such part of a transfer.
func part(b []byte) []byte {
	if len(b) == 0 {
		return nil
	}
	return b
}

type recordedI2C struct {
	i2c.BusCloser
	name string
	r    *Recorder
}

func (b *recordedI2C) Tx(addr uint16, w, r []byte) error {
	return b.r.note(transfer{bus: b.name, to: addr, w: slices.Clone(part(w)), r: part(r)}, func() error {
		return b.BusCloser.Tx(addr, w, r)
	})
}

type recordedPort struct {
	spi.PortCloser
	name string
	r    *Recorder
}

func (p *recordedPort) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	c, err := p.PortCloser.Connect(f, mode, bits)
	if err != nil {
		return nil, err
	}
	return &recordedConn{c, p, mode}, nil
}

type recordedConn struct {
	spi.Conn
	port *recordedPort
	mode spi.Mode
}

func (c *recordedConn) Tx(w, r []byte) error {
	t := transfer{spi: true, bus: c.port.name, to: uint16(c.mode & spi.Mode3), w: slices.Clone(part(w)), r: part(r)}
	return c.port.r.note(t, func() error { return c.Conn.Tx(w, r) })
}

// TxPackets is refused: no driver here uses it, and the file has no word for it.
func (c *recordedConn) TxPackets([]spi.Packet) error {
	return fmt.Errorf("record packets: %w", errors.ErrUnsupported)
}
