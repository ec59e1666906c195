package bench

import (
	"errors"
	"fmt"
	"sync"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
)

// Select is one chip select of an SPI bus with the chip behind it.
type Select struct {
	Chip
	clock sensors.Clock
	name  string
	wire  chan struct{} // held for one transfer, as in Bus
}

// NewSelect returns the chip select that chip is on.
func NewSelect(clock sensors.Clock, name string, chip Chip) *Select {
	return &Select{Chip: chip, clock: clock, name: name, wire: make(chan struct{}, 1)}
}

// String returns the name.
func (s *Select) String() string { return s.name }

// Transfer is one assertion of the chip select in the mode that the master uses. A
// master whose clock phase is not the chip's samples each bit one late or one early.
func (s *Select) Transfer(mode spi.Mode, w, r []byte) error {
	s.wire <- struct{}{}
	defer func() { <-s.wire }()
	// The bus is full duplex: as many bits go out as come in.
	out := make([]byte, max(len(w), len(r)))
	copy(out, w)
	in := make([]byte, len(out))
	err := s.Tx(out, in)
	if errors.Is(err, errTimeout) {
		err = hang(s.clock, Hang)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", s.name, err)
	}
	chips := spi.Mode1
	if p, ok := s.Chip.(interface{ phase() spi.Mode }); ok {
		chips = p.phase()
	}
	switch {
	case mode&spi.Mode1 == chips:
	case chips == spi.Mode1:
		carry := byte(1) // the line before the first bit: pulled up
		for i, b := range in {
			in[i] = carry<<7 | b>>1
			carry = b & 1
		}
	default:
		for i := range in {
			next := byte(0xFF) // and after the last
			if i+1 < len(in) {
				next = in[i+1]
			}
			in[i] = in[i]<<1 | next>>7
		}
	}
	copy(r, in)
	return nil
}

// port is one opening of a chip select, as the registry hands it out.
type port struct {
	at *Select

	mu        sync.Mutex
	connected bool
	closed    bool
	mode      spi.Mode
}

// Open returns a port on the chip select.
func (s *Select) Open() (spi.PortCloser, error) { return &port{at: s}, nil }

func (p *port) String() string { return p.at.name }

func (p *port) LimitSpeed(physic.Frequency) error { return nil }

// Connect refuses what periph's sysfs port refuses.
func (p *port) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	if f < 100*physic.Hertz || f > physic.GigaHertz {
		return nil, fmt.Errorf("%s: invalid speed %s", p.at.name, f)
	}
	if mode&^spi.Mode3 != 0 || bits != 8 {
		return nil, fmt.Errorf("%s: mode %s with %d bits is not supported", p.at.name, mode, bits)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.connected {
		return nil, fmt.Errorf("%s: Connect can only be called once", p.at.name)
	}
	p.connected, p.mode = true, mode
	return p, nil
}

func (p *port) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	return nil
}

func (p *port) Duplex() conn.Duplex { return conn.Full }

func (p *port) Tx(w, r []byte) error {
	return p.TxPackets([]spi.Packet{{W: w, R: r}})
}

// TxPackets keeps the chip selected over packets that ask for it.
func (p *port) TxPackets(packets []spi.Packet) error {
	p.mu.Lock()
	closed, mode := p.closed, p.mode
	p.mu.Unlock()
	if closed {
		return fmt.Errorf("%s: %w", p.at.name, errClosed)
	}
	var w, r []byte
	first := 0
	for i, k := range packets {
		if len(k.W) != len(k.R) && len(k.W) != 0 && len(k.R) != 0 {
			return fmt.Errorf("%s: write %d and read %d bytes at once", p.at.name, len(k.W), len(k.R))
		}
		n := max(len(k.W), len(k.R))
		w = append(w, make([]byte, n)...)
		copy(w[len(w)-n:], k.W)
		if k.KeepCS && i < len(packets)-1 {
			continue
		}
		if len(w) == 0 {
			return fmt.Errorf("%s: nothing to transfer", p.at.name)
		}
		r = make([]byte, len(w))
		if err := p.at.Transfer(mode, w, r); err != nil {
			return err
		}
		for _, k := range packets[first : i+1] {
			copy(k.R, r)
			r = r[max(len(k.W), len(k.R)):]
		}
		w, first = nil, i+1
	}
	return nil
}
