package transmitter

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/ads1115"
)

// Opts is how the transmitter is wired.
type Opts struct {
	Scale
	Address     uint16 // of the ADS1115; zero means 0x48
	Input       int    // 0 to 3: the signal's
	SupplyInput int    // of a ratiometric transmitter: where its supply is measured
	Clock       sensors.Clock
}

// Dev is one transmitter with its converter.
type Dev struct {
	adc    *ads1115.Dev
	device string
	opts   Opts
	full   ads1115.FullScale
}

var _ sensors.Sensor = (*Dev)(nil)

// Shunts that give a good signal and stay below a converter's supply of 3.3 V at the
// 22 mA that a failed transmitter may draw, Ω.
const shuntLow, shuntHigh = 50, 150

// New prepares the driver; it sends nothing yet.
func New(b i2c.Bus, o *Opts) (*Dev, error) {
	adc, err := ads1115.New(b, o.Address, o.Clock)
	if err != nil {
		return nil, fmt.Errorf("transmitter: %w", err)
	}
	d := &Dev{adc: adc, opts: *o, full: ads1115.Volts4096, device: "transmitter behind " + adc.String()}
	switch {
	case o.Input < 0 || o.Input > 3 || o.SupplyInput < 0 || o.SupplyInput > 3:
		return nil, fmt.Errorf("transmitter: inputs %d and %d: want 0 to 3", o.Input, o.SupplyInput)
	case !(o.Low < o.High):
		return nil, fmt.Errorf("transmitter: range of %g to %g Pa: want the lower end first", o.Low, o.High)
	case o.Signal == Ratiometric && o.Input == o.SupplyInput:
		return nil, fmt.Errorf("transmitter: signal and supply both on input %d", o.Input)
	case o.Signal == Ratiometric && o.Divider == 1:
		d.full = ads1115.Volts6144
	case o.Signal == Ratiometric && o.Divider == 2:
	case o.Signal == Ratiometric:
		return nil, fmt.Errorf("transmitter: divider of %g: want 1 or 2", o.Divider)
	case o.Signal != Current:
		return nil, fmt.Errorf("transmitter: no signal %d", o.Signal)
	case !(o.Shunt >= shuntLow && o.Shunt <= shuntHigh):
		return nil, fmt.Errorf("transmitter: shunt of %g Ω: want %d to %d", o.Shunt, shuntLow, shuntHigh)
	}
	return d, nil
}

// String returns the transmitter's converter, its bus and its address.
func (d *Dev) String() string { return d.device }

// Start converts once: the converter has no identity, but its configuration echoes.
func (d *Dev) Start(ctx context.Context) error {
	_, err := d.adc.Read(ctx, d.opts.Input, d.full)
	return err
}

// steady is how far a supply may move while the signal is converted, as a share: what moved
// further has spoilt the ratio of the two.
const steady = 0.01

// Sense converts the signal, and before and behind it the supply; it waits about 10 ms for
// each.
func (d *Dev) Sense(ctx context.Context) (sensors.Sample, error) {
	var supply, signal, after int16
	var err error
	if d.opts.Signal == Ratiometric {
		if supply, err = d.adc.Read(ctx, d.opts.SupplyInput, d.full); err != nil {
			return sensors.Sample{}, err
		}
	}
	if signal, err = d.adc.Read(ctx, d.opts.Input, d.full); err != nil {
		return sensors.Sample{}, err
	}
	if d.opts.Signal == Ratiometric {
		if after, err = d.adc.Read(ctx, d.opts.SupplyInput, d.full); err != nil {
			return sensors.Sample{}, err
		}
	}
	volts := d.full.Volts(supply)
	pascals, err := d.opts.Decode(d.full.Volts(signal), volts)
	if moved := math.Abs(d.full.Volts(after) - volts); err == nil && moved > float64(steady*volts) {
		err = d.opts.fault(sensors.SignalSupply, d.full.Volts(signal)*d.opts.Divider, d.full.Volts(after)*d.opts.Divider)
	}
	if err != nil {
		var f *sensors.Fault
		if errors.As(err, &f) {
			f.Device = d.device
		}
		return sensors.Sample{}, err
	}
	var raw [4]byte
	binary.BigEndian.PutUint16(raw[0:], uint16(signal))
	binary.BigEndian.PutUint16(raw[2:], uint16(supply))
	s := sensors.Sample{Raw: sensors.RawOf(raw[:])}
	s.Set(sensors.DifferentialPressure, pascals)
	return s, nil
}

// Halt does nothing: the converter powers down after each conversion.
func (d *Dev) Halt() error { return nil }
