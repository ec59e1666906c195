package bench

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
)

// Hang is how long a transfer hangs before the adapter gives up: the default of
// i2c-bcm2835.
const Hang = time.Second

// Bus is an I2C bus with chips on it.
type Bus struct {
	breakable

	clock sensors.Clock
	name  string
	wire  chan struct{} // held for one transaction; a channel, so that fake time passes for those who wait
	mu    sync.Mutex
	hang  time.Duration
	chips map[uint16]Chip
}

// NewBus returns an empty bus. The fault Timeout on it holds every address down.
func NewBus(clock sensors.Clock, name string) *Bus {
	return &Bus{
		breakable: breakable{kind: "i2c bus", can: NACK | Timeout},
		clock:     clock, name: name, wire: make(chan struct{}, 1), hang: Hang, chips: map[uint16]Chip{},
	}
}

// Attach puts a chip at an address.
func (b *Bus) Attach(addr uint16, c Chip) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.chips[addr] = c
}

// SetHang changes how long a transfer hangs under the fault Timeout.
func (b *Bus) SetHang(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hang = d
}

// String returns the bus's name.
func (b *Bus) String() string { return b.name }

// SetSpeed accepts any speed: the chips are quicker than every master.
func (b *Bus) SetSpeed(physic.Frequency) error { return nil }

// Tx does a transaction: the write, then the read after a repeated start. Its errors
// carry the errno that Linux would give.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	if len(w) == 0 && len(r) == 0 {
		return nil
	}
	b.wire <- struct{}{}
	defer func() { <-b.wire }()
	b.mu.Lock()
	wait := b.hang
	b.mu.Unlock()
	err := b.transact(addr, w, r)
	if errors.Is(err, errTimeout) {
		err = hang(b.clock, wait)
	}
	if err != nil {
		return fmt.Errorf("%s address %#02x: %w", b.name, addr, err)
	}
	return nil
}

func (b *Bus) transact(addr uint16, w, r []byte) error {
	switch {
	case b.has(Timeout):
		return errTimeout
	case b.has(NACK):
		return errNoAck
	case addr == 0:
		return b.generalCall(w, r)
	}
	return all(b.connected(addr), w, r)
}

// connected is every chip at the address that the master reaches: on the bus itself and
// behind the open channels of its multiplexers.
func (b *Bus) connected(addr uint16) (chips []Chip) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if c := b.chips[addr]; c != nil {
		chips = append(chips, c)
	}
	for _, c := range b.chips {
		if m, ok := c.(*Mux); ok {
			chips = append(chips, m.connected(addr)...)
		}
	}
	return chips
}

// all is a transaction with every chip at once: one that acknowledges is enough, and a
// bit is 1 only where all release the line.
func all(chips []Chip, w, r []byte) error {
	err := error(errNoAck)
	answer := make([]byte, len(r))
	fill(r, 0xFF)
	for _, c := range chips {
		e := c.Tx(w, answer)
		if e == nil {
			for i := range r {
				r[i] &= answer[i]
			}
		}
		if e == nil || errors.Is(e, errTimeout) {
			err = e
		}
	}
	return err
}

// generalCall is address 0: byte 06 resets every chip that listens to it.
func (b *Bus) generalCall(w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	heard := false
	for _, c := range b.chips {
		if s, ok := c.(interface{ Reset() }); ok && c.Faults()&NACK == 0 {
			heard = true
			if len(w) == 1 && w[0] == 0x06 {
				s.Reset()
			}
		}
	}
	if !heard || len(r) > 0 {
		return errNoAck
	}
	return nil
}

// handle is one opening of the bus, as the registry hands it out.
type handle struct {
	*Bus
	mu     sync.Mutex
	closed bool
}

// Open returns a handle that can be closed without closing the bus.
func (b *Bus) Open() (i2c.BusCloser, error) { return &handle{Bus: b}, nil }

func (h *handle) Tx(addr uint16, w, r []byte) error {
	h.mu.Lock()
	closed := h.closed
	h.mu.Unlock()
	if closed {
		return fmt.Errorf("%s: %w", h.name, errClosed)
	}
	return h.Bus.Tx(addr, w, r)
}

func (h *handle) Close() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	return nil
}

var errClosed = errors.New("is closed")

// hang is a transfer that does not end before the adapter gives up.
func hang(clock sensors.Clock, wait time.Duration) error {
	if err := clock.Sleep(context.Background(), wait); err != nil {
		return err
	}
	return errTimeout
}
