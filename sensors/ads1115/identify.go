package ads1115

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
)

// Registers of the comparator, with their power-on values (from memory), which nobody
// changes who does not use the comparator.
const (
	regLow, low   = 0x02, 0x8000
	regHigh, high = 0x03, 0x7FFF
)

// Identify recognises a chip at the address; nil means that there is another, or none. The
// chip has no identity; the power-on values of its comparator serve as one. It writes
// numbers of registers to read from and nothing else. There is no sensor to look with:
// what is connected to the inputs only a configuration can tell.
func Identify(_ context.Context, b i2c.Bus, address uint16, clock sensors.Clock) (*sensors.Found, error) {
	d, err := New(b, address, clock)
	if err != nil {
		return nil, err
	}
	var words [3]uint16
	for i, reg := range [...]byte{regLow, regHigh, regConfig} {
		if words[i], err = d.read("identify", reg); err != nil {
			return nil, err
		}
	}
	if words[0] != low || words[1] != high {
		return nil, nil
	}
	return &sensors.Found{
		Chip:   "ads1115",
		Detail: fmt.Sprintf("configuration %04x", words[2]),
		// Continuous conversion (bit 8 is 0) is not how this driver uses it.
		Measuring: words[2]&configOnce == 0,
	}, nil
}
