package bme280

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Identify recognises a chip at the address; nil means that there is another, or none.
//
// It writes the number of the identity register, which a chip with registers takes as a
// place to read from. A multiplexer, which may sit at the same address, takes it as the
// channels to open, and answers with them: it gets back what it had before.
func Identify(_ context.Context, b i2c.Bus, address uint16, clock sensors.Clock) (*sensors.Found, error) {
	d, err := New(b, &Opts{Address: address, Clock: clock})
	if err != nil {
		return nil, err
	}
	var before, id, c [4]byte
	if err := b.Tx(address, nil, before[:1]); err != nil {
		return nil, bus.Fault(d.device, "read", err)
	}
	if err := d.read("read the identity", regID, id[:1]); err != nil {
		return nil, err
	}
	chip := map[byte]string{idBMP280: "bmp280", idBME280: "bme280"}[id[0]]
	if chip == "" {
		if id[0] == regID {
			if err := b.Tx(address, before[:1], nil); err != nil {
				return nil, bus.Fault(d.device, "give a multiplexer its channels back", err)
			}
		}
		return nil, nil
	}
	if err := d.read("read the configuration", regCtrlHum, c[:]); err != nil {
		return nil, err
	}
	f := &sensors.Found{Chip: chip, Detail: fmt.Sprintf("identity %#02x", id[0]), Sensor: d}
	// Set as this driver sets it, it was left so by a run that was cut short.
	if normal := c[2]&0x03 != 0; normal && (c[2] != wantCtrlMeas || c[3] != wantConfig) {
		f.Measuring, f.Sensor = true, nil
	}
	return f, nil
}
