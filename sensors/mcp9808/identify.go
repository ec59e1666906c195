package mcp9808

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
)

// shutdown is bit 8 of the configuration (jc42.c).
const shutdown = 0x0100

// Identify recognises a chip at the address; nil means that there is another, or none. It
// writes numbers of registers to read from and nothing else.
func Identify(_ context.Context, b i2c.Bus, address uint16, clock sensors.Clock) (*sensors.Found, error) {
	d, err := New(b, &Opts{Address: address, Clock: clock})
	if err != nil {
		return nil, err
	}
	var words [4]uint16
	for i, reg := range [...]byte{regMaker, regDevice, regConfig, regUpper} {
		if words[i], err = d.word("identify", reg); err != nil {
			return nil, err
		}
	}
	if words[0] != maker || words[1]>>8 != device {
		return nil, nil
	}
	f := &sensors.Found{Chip: "mcp9808", Detail: fmt.Sprintf("revision %d", byte(words[1])), Sensor: d}
	// It measures from its power-up on: only limits that are neither its own nor this
	// driver's show that another program uses it.
	if words[2]&^shutdown != config || words[3] != 0 && words[3] != mark {
		f.Measuring, f.Sensor = true, nil
	}
	return f, nil
}
