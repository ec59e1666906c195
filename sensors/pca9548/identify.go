package pca9548

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Identify recognises a multiplexer at the address; nil means that there is another chip,
// or none. It has no identity: it is what gives back the byte that it was last written.
// For that, channel 0 is opened or closed for the time of three transfers, which all go to
// the multiplexer, and then put back; other chips at these addresses take the two bytes
// for numbers of registers.
func Identify(_ context.Context, b i2c.Bus, address uint16, _ sensors.Clock) (*sensors.Found, error) {
	tx := func(w, r []byte) error {
		if err := b.Tx(address, w, r); err != nil {
			return bus.Fault(fmt.Sprintf("multiplexer on %s at 0x%02x", b, address), "identify", err)
		}
		return nil
	}
	var was [2]byte
	if err := tx(nil, was[:]); err != nil {
		return nil, err
	}
	if was[0] != was[1] {
		return nil, nil
	}
	for _, channels := range [...]byte{was[0] ^ 0x01, was[0]} {
		var got [1]byte
		if err := tx([]byte{channels}, nil); err != nil {
			return nil, err
		}
		if err := tx(nil, got[:]); err != nil {
			return nil, err
		}
		if got[0] != channels {
			return nil, tx(was[:1], nil)
		}
	}
	return &sensors.Found{Chip: "pca9548", Detail: fmt.Sprintf("channels %08b", was[0]), Measuring: was[0] != 0}, nil
}
