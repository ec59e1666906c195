package bus

import (
	"fmt"
	"os"
	"sync"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// port guards a periph port: sysfs.SPI panics with a nil pointer when it is used or
// closed after Close, which a reload can bring about.
type port struct {
	inner   spi.PortCloser
	release func()

	mu     sync.Mutex
	closed bool
}

var _ spi.PortCloser = (*port)(nil)

// String returns the port's name.
func (p *port) String() string { return p.inner.String() }

// LimitSpeed sets the maximum clock.
func (p *port) LimitSpeed(f physic.Frequency) error {
	return p.guard("limit speed", func() error { return p.inner.LimitSpeed(f) })
}

// Connect sets clock, mode and word size; periph allows it once in a port's life.
func (p *port) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	var c spi.Conn
	err := p.guard("connect", func() (err error) {
		c, err = p.inner.Connect(f, mode, bits)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &connection{port: p, inner: c}, nil
}

// Close waits for a transfer that has begun; a second Close does nothing.
func (p *port) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil
	}
	p.closed = true
	defer p.release()
	if err := p.inner.Close(); err != nil {
		return fmt.Errorf("close %s: %w", p.inner, err)
	}
	return nil
}

func (p *port) guard(verb string, do func() error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return fmt.Errorf("%s: %s: %w", p.inner, verb, os.ErrClosed)
	}
	if err := do(); err != nil {
		return fmt.Errorf("%s: %w", verb, err)
	}
	return nil
}

// connection is a connected port under the same guard.
type connection struct {
	port  *port
	inner spi.Conn
}

// String returns the port's name.
func (c *connection) String() string { return c.inner.String() }

// Duplex returns what the port can do.
func (c *connection) Duplex() conn.Duplex { return c.inner.Duplex() }

// Tx sends w while it reads r.
func (c *connection) Tx(w, r []byte) error {
	return c.port.guard("transfer", func() error { return c.inner.Tx(w, r) })
}

// TxPackets does several transfers as one.
func (c *connection) TxPackets(p []spi.Packet) error {
	return c.port.guard("transfer", func() error { return c.inner.TxPackets(p) })
}
