package sdp8xx

import (
	"context"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// settle is longer than a sensor that has just been started refuses to be read.
const settle = warmUpTime

// Identify recognises a sensor at the address; nil means that there is another chip, or
// none.
//
// It first reads, which disturbs nobody. A sensor that measures answers with a frame, and
// is not stopped to ask for its name, since it measures for somebody. An idle one refuses
// to be read, and so does nobody else that sits at these addresses: the port expanders
// there answer a read at any time, and a write would set their pins. Only to an address
// that refused twice is written, the stop and the request for the product number.
func Identify(ctx context.Context, b i2c.Bus, address uint16, clock sensors.Clock) (*sensors.Found, error) {
	d := &Dev{bus: b, opts: Opts{Address: address}, clock: clock, device: fmt.Sprintf("sdp8xx on %s at %#02x", b, address)}
	var err error
	for range 2 {
		if err = b.Tx(address, nil, d.buf[:]); err == nil {
			return d.measuring(), nil
		}
		if bus.Classify(err) != sensors.NoAnswer {
			return nil, bus.Fault(d.device, "read", err)
		}
		if err := clock.Sleep(ctx, settle); err != nil {
			return nil, fmt.Errorf("wait for a value: %w", err)
		}
	}
	for range attempts {
		if err = d.identify(ctx); sensors.CodeOf(err) != sensors.NoAnswer {
			break
		}
	}
	switch {
	case sensors.CodeOf(err) == sensors.NoAnswer:
		return nil, nil
	case err != nil:
		return nil, err
	}
	f := &sensors.Found{Chip: "sdp8xx", Detail: d.found.String()}
	part, ok := d.found.Part()
	if !ok {
		return f, nil // of the family, and not supported
	}
	dev, err := New(b, &Opts{Part: part, Address: address, Clock: clock})
	if err != nil {
		return nil, err
	}
	f.Chip, f.Sensor = string(part), dev
	return f, nil
}

// measuring is a sensor that has answered a read; nil if that was no frame.
func (d *Dev) measuring() *sensors.Found {
	frame, err := Decode(d.buf[:])
	if err != nil {
		return nil
	}
	return &sensors.Found{
		Chip:      "sdp8xx",
		Detail:    fmt.Sprintf("counts %d per pascal", frame.Scale),
		Measuring: true,
		Sensor:    &onlooker{d},
	}
}

// onlooker reads what the sensor measures for another program, and writes nothing.
type onlooker struct{ d *Dev }

func (o *onlooker) String() string              { return o.d.device }
func (o *onlooker) Start(context.Context) error { return nil }
func (o *onlooker) Halt() error                 { return nil }

func (o *onlooker) Sense(context.Context) (sensors.Sample, error) {
	if err := o.d.bus.Tx(o.d.opts.Address, nil, o.d.buf[:]); err != nil {
		return sensors.Sample{}, bus.Fault(o.d.device, "read", err)
	}
	frame, err := Decode(o.d.buf[:])
	if err != nil {
		return sensors.Sample{}, o.d.fault(err)
	}
	s := sensors.Sample{Raw: sensors.RawOf(o.d.buf[:])}
	s.Set(sensors.DifferentialPressure, frame.Pascals())
	return s, nil
}
