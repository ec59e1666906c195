package mcp9600

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// Identify recognises a chip at the address; nil means that there is another, or none. It
// writes numbers of registers to read from and nothing else.
func Identify(_ context.Context, b i2c.Bus, address uint16, clock sensors.Clock) (*sensors.Found, error) {
	o := DefaultOpts
	o.Address, o.Clock = address, clock
	d, err := New(b, &o)
	if err != nil {
		return nil, err
	}
	id, err := d.readIdentity()
	switch code := sensors.CodeOf(err); {
	case code == sensors.StuckHigh || code == sensors.StuckLow:
		return nil, nil
	case err != nil:
		return nil, err
	}
	for part, upper := range identities {
		if upper == id[0] {
			o.Part = part
			return recognised(b, o, id)
		}
	}
	return nil, nil
}

// recognised says how the chip is set. It measures from its power-up on, so that only a
// set-up that is neither that nor this driver's shows that another program uses it.
func recognised(b i2c.Bus, o Opts, id [2]byte) (*sensors.Found, error) {
	probe, err := New(b, &o)
	if err != nil {
		return nil, err
	}
	got, err := probe.configuration()
	if err != nil {
		return nil, err
	}
	f := &sensors.Found{Chip: string(o.Part), Detail: fmt.Sprintf("revision %#02x", id[1])}
	for _, t := range thermocouple.Types() {
		if got.sensor == typeCodes[t]<<4 {
			o.Type = t
		}
	}
	d, err := New(b, &o)
	if err != nil {
		return nil, err
	}
	got.device &^= modeShutdown
	fresh := configuration{}
	if got != d.want && got != fresh {
		f.Measuring = true
		return f, nil
	}
	f.Detail += fmt.Sprintf(", set to type %v", o.Type)
	f.Sensor = d
	return f, nil
}
