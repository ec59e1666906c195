// Package pca9548 puts the I2C multiplexer PCA9548 or TCA9548 in front of other chips, so
// that several with one address share a bus.
//
// It is not periph's pca9548 because that remembers which channel is open and never opens
// it again after the multiplexer has lost its supply, and lets two multiplexers of a bus
// be open at once. Here nothing is remembered: each transfer opens its channel and closes
// it behind it, so that between transfers no chip is connected that shares its address
// with another. Both cost two bytes. What fails at the multiplexer names it, and not the
// chip behind.
//
// Control register and addresses: Linux drivers/i2c/muxes/i2c-mux-pca954x.c (one bit a
// channel, 0 for none); addresses 0x70 to 0x77 also in periph's pca9548.
package pca9548

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Channels is how many each multiplexer has.
const Channels = 8

// Group is all the multiplexers of one bus.
type Group struct {
	bus i2c.Bus

	mu    sync.Mutex
	muxes []*mux
	w     [1]byte // kept, so that a transfer does not allocate
}

type mux struct {
	address uint16
	// closed is whether it is known to connect nothing: this process closes what it
	// opened, but one before it may have ended in between. A dip of the supply closes too.
	closed bool
}

// New returns the multiplexers at the addresses; it sends nothing yet.
func New(b i2c.Bus, addresses ...uint16) (*Group, error) {
	g := &Group{bus: b}
	for _, a := range addresses {
		if a < 0x70 || a > 0x77 {
			return nil, fmt.Errorf("pca9548: address 0x%02x: want 0x70 to 0x77", a)
		}
		g.muxes = append(g.muxes, &mux{address: a})
	}
	return g, nil
}

// Channel returns the bus behind channel 0 to 7 of the multiplexer at the address.
func (g *Group) Channel(address uint16, channel int) (i2c.Bus, error) {
	i := slices.IndexFunc(g.muxes, func(m *mux) bool { return m.address == address })
	if i < 0 {
		return nil, fmt.Errorf("pca9548: no multiplexer at 0x%02x", address)
	}
	if channel < 0 || channel >= Channels {
		return nil, fmt.Errorf("pca9548: channel %d: want 0 to %d", channel, Channels-1)
	}
	return &branch{group: g, mux: g.muxes[i], bit: 1 << channel,
		name: fmt.Sprintf("%s mux 0x%02x/%d", g.bus, address, channel)}, nil
}

// branch is a channel as the bus that it is to the chips on it.
type branch struct {
	group *Group
	mux   *mux
	bit   byte
	name  string
}

// String returns the bus, the multiplexer and the channel.
func (b *branch) String() string { return b.name }

// SetSpeed is the bus's own affair.
func (b *branch) SetSpeed(physic.Frequency) error { return errors.ErrUnsupported }

// Tx opens the channel, does the transfer and closes the channel.
func (b *branch) Tx(addr uint16, w, r []byte) error {
	b.group.mu.Lock()
	defer b.group.mu.Unlock()
	if err := b.group.closeOthers(b.mux); err != nil {
		return err
	}
	b.mux.closed = false
	if err := b.group.control(b.mux, "open a channel", b.bit); err != nil {
		return err
	}
	err := b.group.bus.Tx(addr, w, r)
	// The chip's failure is the one to tell, and the multiplexer is closed all the same.
	if closing := b.group.closeMux(b.mux); err == nil {
		err = closing
	}
	return err
}

// closeOthers closes what an earlier process may have left open. One that does not answer
// has no power, or is not there: it connects nothing.
func (g *Group) closeOthers(but *mux) error {
	for _, m := range g.muxes {
		if m == but || m.closed {
			continue
		}
		if err := g.closeMux(m); err != nil && sensors.CodeOf(err) != sensors.MuxNoAnswer {
			return err
		}
		m.closed = true
	}
	return nil
}

func (g *Group) closeMux(m *mux) error {
	err := g.control(m, "close the channels", 0)
	m.closed = err == nil
	return err
}

func (g *Group) control(m *mux, what string, channels byte) error {
	g.w[0] = channels
	err := g.bus.Tx(m.address, g.w[:], nil)
	if err == nil {
		return nil
	}
	f := bus.Fault(fmt.Sprintf("multiplexer on %s at 0x%02x", g.bus, m.address), what, err)
	if f.Code == sensors.NoAnswer {
		f.Code = sensors.MuxNoAnswer
	}
	return f
}
