package bench

import "sync"

// Mux is an I2C multiplexer PCA9548: its one register connects a channel for each bit
// (Linux drivers/i2c/muxes/i2c-mux-pca954x.c).
type Mux struct {
	breakable

	mu       sync.Mutex
	open     byte
	channels [8]map[uint16]Chip
}

// NewMux returns the multiplexer just after power-on: nothing is connected.
func NewMux() *Mux {
	return &Mux{breakable: breakable{kind: "pca9548", can: NACK | Timeout | BrownOut}}
}

// Attach puts a chip behind channel 0 to 7.
func (m *Mux) Attach(channel int, addr uint16, c Chip) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.channels[channel] == nil {
		m.channels[channel] = map[uint16]Chip{}
	}
	m.channels[channel][addr] = c
}

// Tx writes or reads the register.
func (m *Mux) Tx(w, r []byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.dip()
	switch {
	case m.has(Timeout):
		return errTimeout
	case m.has(NACK):
		return errNoAck
	}
	if len(w) > 0 {
		m.open = w[len(w)-1]
	}
	fill(r, m.open)
	return nil
}

// dip closes every channel if the supply has dipped.
func (m *Mux) dip() {
	if m.dipped() {
		m.open = 0
	}
}

// connected is the chips at the address behind open channels. A multiplexer without
// power connects nothing.
func (m *Mux) connected(addr uint16) (chips []Chip) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.dip()
	if m.has(NACK) {
		return nil
	}
	for i, channel := range m.channels {
		if c := channel[addr]; c != nil && m.open&(1<<i) != 0 {
			chips = append(chips, c)
		}
	}
	return chips
}
