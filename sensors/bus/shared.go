package bus

import (
	"sync"

	"periph.io/x/conn/v3/i2c"
)

// SharedI2C is one bus for the several chips on it, opened when the first asks and
// again after Close: a reading loop closes it when the bus has vanished.
type SharedI2C struct {
	name string

	mu  sync.Mutex
	bus i2c.BusCloser // nil when closed
}

// NewSharedI2C opens nothing yet; name is as [OpenI2C]'s.
func NewSharedI2C(name string) *SharedI2C { return &SharedI2C{name: name} }

// Bus returns the open bus.
func (s *SharedI2C) Bus() (i2c.Bus, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.bus == nil {
		b, err := OpenI2C(s.name)
		if err != nil {
			return nil, err
		}
		s.bus = b
	}
	return s.bus, nil
}

// Close closes the bus if it is open; the next Bus opens it again.
func (s *SharedI2C) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.bus == nil {
		return nil
	}
	b := s.bus
	s.bus = nil
	return b.Close()
}
