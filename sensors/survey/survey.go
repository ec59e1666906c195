package survey

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Options says where to look and what is known. The zero value looks at the computer's
// own buses.
type Options struct {
	Open     bus.Opener           // zero: bus.Computer
	Adapters func() []bus.Adapter // nil: bus.Adapters
	Clock    sensors.Clock        // nil: the computer's
	Known    []Known
}

// WithDefaults returns o with what it leaves open.
func (o Options) WithDefaults() Options {
	if o.Open.I2C == nil {
		o.Open = bus.Computer
	}
	if o.Adapters == nil {
		o.Adapters = bus.Adapters
	}
	if o.Clock == nil {
		o.Clock = sensors.SystemClock{}
	}
	return o
}

// Known is a chip that a configuration names. One of I2C and SPI makes its driver.
type Known struct {
	Name    string // to find it by in the result
	Bus     string // as the configuration calls it
	Address uint16
	Mux     Mux // that it is behind
	Chip    string
	I2C     func(i2c.Bus, sensors.Clock) (sensors.Sensor, error)
	SPI     func(spi.Port, sensors.Clock) (sensors.Sensor, error)
}

// Mux is a channel of a multiplexer; the zero Mux is none.
type Mux struct {
	Address uint16
	Channel int
}

// Bus is a bus with what was found on it.
type Bus struct {
	bus.Adapter // its Fault is why nobody could look
	Chips       []Chip
	// Strangers are addresses, of those that supported chips can have, where something
	// answers that is none of them.
	Strangers []uint16
}

// Chip is a chip that was found, or that is known and was not.
type Chip struct {
	Name      string // Known's; empty for one that was not known
	Address   uint16 // 0 on SPI
	Mux       Mux
	Chip      string
	Detail    string
	Measuring bool // for another program: it was left as it is
	Look      Look
	sensor    sensors.Sensor
}

// make makes the chip's driver; one that cannot be made is the chip's fault.
func (c *Chip) make(device string, driver func() (sensors.Sensor, error)) {
	made, err := driver()
	if err != nil {
		c.Look.Fault = asFault(device, err)
		return
	}
	c.sensor = made
}

// Run looks at the buses, one after the other, and then at the chips, all at a time. What
// is wrong with a bus or a chip is in the result; an error is that ctx ended.
func Run(ctx context.Context, o Options) ([]Bus, error) {
	o = o.WithDefaults()
	s := &survey{Options: o, buses: places(o.Adapters(), o.Known)}
	defer s.close()
	for i := range s.buses {
		if err := s.visit(ctx, &s.buses[i]); err != nil {
			return nil, err
		}
	}
	var all []*Chip
	for i := range s.buses {
		for j := range s.buses[i].Chips {
			all = append(all, &s.buses[i].Chips[j])
		}
	}
	if err := look(ctx, o.Clock, all); err != nil {
		return nil, err
	}
	return s.buses, nil
}

type survey struct {
	Options
	buses []Bus
	open  []io.Closer
}

// places are the adapters, and the buses that only a configuration names.
func places(adapters []bus.Adapter, known []Known) []Bus {
	var all []Bus
	for _, a := range adapters {
		all = append(all, Bus{Adapter: a})
	}
	for _, k := range known {
		if !slices.ContainsFunc(all, func(b Bus) bool { return b.calls(k.Bus) }) {
			all = append(all, Bus{Adapter: bus.Adapter{Device: k.Bus, SPI: k.SPI != nil}})
		}
	}
	return all
}

func (b *Bus) calls(name string) bool { return b.Device == name || slices.Contains(b.Links, name) }

// visit recognises what is on a bus. An error is ctx's.
func (s *survey) visit(ctx context.Context, b *Bus) error {
	var known []Known
	for _, k := range s.Known {
		if b.calls(k.Bus) {
			known = append(known, k)
		}
	}
	var err error
	switch {
	case b.Fault != nil:
		err = b.Fault
	case b.SPI:
		err = s.visitSPI(ctx, b, known)
	default:
		err = s.visitI2C(ctx, b, known)
	}
	if ctx.Err() != nil {
		return fmt.Errorf("look at %s: %w", b.Device, ctx.Err())
	}
	if err != nil {
		b.Fault = asFault(b.Device, err)
		// The chips that are known share what the bus suffers from.
		for _, k := range known {
			if !slices.ContainsFunc(b.Chips, func(c Chip) bool { return c.Name == k.Name }) {
				b.Chips = append(b.Chips, Chip{Name: k.Name, Address: k.Address, Mux: k.Mux, Chip: k.Chip, Look: Look{Fault: b.Fault}})
			}
		}
	}
	return nil
}

func (s *survey) visitSPI(ctx context.Context, b *Bus, known []Known) error {
	if len(known) > 0 {
		k := known[0] // a configuration has one chip at most on a chip select
		p, err := s.Open.SPI(b.Device)
		if err != nil {
			return err
		}
		s.open = append(s.open, p)
		c := Chip{Name: k.Name, Chip: k.Chip}
		c.make(b.Device, func() (sensors.Sensor, error) { return k.SPI(p, s.Clock) })
		b.Chips = append(b.Chips, c)
		return nil
	}
	for _, kind := range spiKinds {
		p, err := s.Open.SPI(b.Device)
		if err != nil {
			return err
		}
		found, err := kind.identify(ctx, p, s.Clock)
		if err == nil && found != nil {
			s.open = append(s.open, p)
			b.Chips = append(b.Chips, chipOf(found, Mux{}, 0))
			return nil
		}
		if err := errors.Join(err, p.Close()); err != nil {
			return err
		}
	}
	return nil
}

// close closes the buses; what fails here harms nobody.
func (s *survey) close() {
	for _, c := range slices.Backward(s.open) {
		_ = c.Close()
	}
}

func asFault(device string, err error) *sensors.Fault {
	var f *sensors.Fault
	if errors.As(err, &f) {
		return f
	}
	return bus.Fault(device, "", err)
}
