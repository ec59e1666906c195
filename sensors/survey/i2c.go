package survey

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
	"fluewright/sensors/pca9548"
)

// visitI2C recognises what is on an I2C bus: multiplexers, what is beside them, and what
// is behind them.
func (s *survey) visitI2C(ctx context.Context, b *Bus, known []Known) error {
	open, err := s.Open.I2C(b.Device)
	if err != nil {
		return err
	}
	v := &visit{ctx: ctx, clock: s.Clock, bus: b, trunk: open, taken: map[place]bool{}, answers: map[uint16]bool{}}
	s.open = append(s.open, open)
	for address := range b.Bound {
		v.taken[place{address: address}] = true
	}
	for _, k := range known {
		v.taken[place{k.Mux, k.Address}] = true
		if k.Mux.Address != 0 {
			v.note(k.Mux.Address)
		}
	}
	if err := v.findMuxes(); err != nil {
		return err
	}
	// What a multiplexer connected before is connected again in the end, once the chips
	// behind it have been looked at.
	s.open = append(s.open, restorer{open, v.was})
	if v.group, err = pca9548.New(open, v.muxes...); err != nil {
		return err
	}
	for _, k := range known {
		b.Chips = append(b.Chips, v.known(k))
	}
	if err := v.ask(open, Mux{}); err != nil {
		return err
	}
	for address, there := range v.answers {
		if there && !v.taken[place{address: address}] {
			b.Strangers = append(b.Strangers, address)
		}
	}
	slices.Sort(b.Strangers)
	for _, address := range v.muxes {
		if !v.answers[address] {
			continue // known, and not there: its chips say so
		}
		for channel := range pca9548.Channels {
			behind, err := v.group.Channel(address, channel)
			if err != nil {
				return err
			}
			if err := v.ask(behind, Mux{address, channel}); err != nil {
				return err
			}
		}
	}
	return nil
}

// visit is the round of one I2C bus.
type visit struct {
	ctx     context.Context
	clock   sensors.Clock
	bus     *Bus
	trunk   i2c.Bus
	taken   map[place]bool  // somebody known or recognised, or the kernel, is there
	answers map[uint16]bool // who answered a read on the bus itself
	muxes   []uint16
	was     map[uint16]byte // what the multiplexers connected
	group   *pca9548.Group
}

// place is where a chip can be on one bus.
type place struct {
	mux     Mux
	address uint16
}

func (v *visit) note(mux uint16) {
	if !slices.Contains(v.muxes, mux) {
		v.muxes = append(v.muxes, mux)
	}
}

// touch reads one byte and reports whether somebody answered.
func (v *visit) touch(on i2c.Bus, address uint16) (byte, bool, error) {
	var r [1]byte
	err := on.Tx(address, nil, r[:])
	if err != nil && bus.Classify(err) != sensors.NoAnswer {
		return 0, false, bus.Fault(v.bus.Device, fmt.Sprintf("ask at %#02x", address), err)
	}
	return r[0], err == nil, nil
}

// findMuxes recognises the multiplexers and closes their channels, so that what is behind
// them is not taken for a chip of the bus.
func (v *visit) findMuxes() error {
	v.was = map[uint16]byte{}
	for _, address := range muxAddresses {
		expected := slices.Contains(v.muxes, address)
		if v.taken[place{address: address}] {
			continue
		}
		connected, there, err := v.touch(v.trunk, address)
		if err != nil {
			return err
		}
		v.answers[address] = there
		if !there {
			continue
		}
		found, err := pca9548.Identify(v.ctx, v.trunk, address, v.clock)
		if err != nil {
			return err
		}
		if found == nil && !expected {
			continue
		}
		v.note(address)
		v.taken[place{address: address}] = true
		if found != nil {
			v.was[address] = connected
			v.bus.Chips = append(v.bus.Chips, chipOf(found, Mux{}, address))
			if err := v.trunk.Tx(address, []byte{0}, nil); err != nil {
				return bus.Fault(v.bus.Device, fmt.Sprintf("close the multiplexer at %#02x", address), err)
			}
		}
	}
	return nil
}

// known makes the driver of a chip that a configuration names.
func (v *visit) known(k Known) Chip {
	c := Chip{Name: k.Name, Address: k.Address, Mux: k.Mux, Chip: k.Chip}
	on := i2c.Bus(v.trunk)
	if k.Mux.Address != 0 {
		var err error
		if on, err = v.group.Channel(k.Mux.Address, k.Mux.Channel); err != nil {
			c.Look.Fault = asFault(v.bus.Device, err)
			return c
		}
	}
	for _, address := range []uint16{k.Mux.Address, k.Address} {
		if driver := v.bus.Bound[address]; driver != "" && (address == k.Mux.Address || k.Mux.Address == 0) {
			c.Look.Fault = boundFault(v.bus, address, driver)
			return c
		}
	}
	c.make(v.bus.Device, func() (sensors.Sensor, error) { return k.I2C(on, v.clock) })
	return c
}

// ask asks everywhere on the bus, or behind a multiplexer, where a supported chip can be
// and none is known. Behind a multiplexer, an address that answers before it is left out:
// both chips would hear.
func (v *visit) ask(on i2c.Bus, mux Mux) error {
	behind := mux != Mux{}
	answers := v.answers
	if behind {
		answers = map[uint16]bool{}
	}
	for _, kind := range i2cKinds {
		for _, address := range kind.addresses {
			here := place{mux, address}
			if v.taken[here] || behind && (v.answers[address] || v.taken[place{address: address}]) {
				continue
			}
			if _, asked := answers[address]; !asked {
				_, there, err := v.touch(on, address)
				if err != nil {
					return err
				}
				answers[address] = there
			}
			if !answers[address] && !kind.mute {
				continue
			}
			found, err := kind.identify(v.ctx, on, address, v.clock)
			switch {
			case err != nil && (v.ctx.Err() != nil || ofTheBus(err)):
				return err
			case err != nil:
				c := Chip{Address: address, Mux: mux, Chip: kind.family}
				c.Look.Fault = asFault(v.bus.Device, err)
				v.bus.Chips = append(v.bus.Chips, c)
			case found != nil:
				v.bus.Chips = append(v.bus.Chips, chipOf(found, mux, address))
			default:
				continue
			}
			v.taken[here] = true
		}
	}
	return nil
}

func chipOf(f *sensors.Found, mux Mux, address uint16) Chip {
	return Chip{Address: address, Mux: mux, Chip: f.Chip, Detail: f.Detail, Measuring: f.Measuring, sensor: f.Sensor}
}

// ofTheBus reports whether no other address needs to be tried.
func ofTheBus(err error) bool {
	code := bus.Classify(err)
	return code == sensors.BusDown || code.Info().Part == sensors.InBoard
}

func boundFault(b *Bus, address uint16, driver string) *sensors.Fault {
	return &sensors.Fault{
		Code: sensors.BusInUse, Device: fmt.Sprintf("%s at %#02x", b.Device, address),
		Detail: "the kernel's driver " + driver,
		Advice: fmt.Sprintf("Take the chip out of the board's configuration (its overlay), or unload the module of %s.", driver),
	}
}

// restorer connects again, when it is closed, what multiplexers connected before.
type restorer struct {
	bus i2c.Bus
	was map[uint16]byte
}

func (r restorer) Close() error {
	var errs []error
	for _, address := range muxAddresses {
		if was := r.was[address]; was != 0 {
			errs = append(errs, r.bus.Tx(address, []byte{was}, nil))
		}
	}
	return errors.Join(errs...)
}
