package bme280

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/bmxx80"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Opts is the chip's set-up.
type Opts struct {
	Address uint16 // 0x76 or 0x77; zero means 0x76
	Clock   sensors.Clock
}

// DefaultOpts is the address of most boards.
var DefaultOpts = Opts{Address: 0x76, Clock: sensors.SystemClock{}}

// Registers (Table 18, p. 25).
const (
	regCalibration = 0x88
	regID          = 0xD0
	regCtrlHum     = 0xF2 // followed by status, ctrl_meas and config
	regStatus      = 0xF3
	regData        = 0xF7

	idBMP280 = 0x58
	idBME280 = 0x60

	statusCopying = 0x01 // im_update: the calibration is being loaded
)

// The measurement, as bmxx80 and as the chip's registers have it. Oversampling and a
// short filter quieten the pressure; two measurements a second hardly warm the chip.
var (
	settings = bmxx80.Opts{
		Temperature: bmxx80.O2x,
		Pressure:    bmxx80.O4x,
		Humidity:    bmxx80.O1x,
		Filter:      bmxx80.F2,
		Standby:     500 * time.Millisecond,
	}
	wantCtrlHum  = byte(bmxx80.O1x)
	wantCtrlMeas = byte(bmxx80.O2x)<<5 | byte(bmxx80.O4x)<<2 | 0x03 // normal mode
	wantConfig   = byte(4)<<5 | byte(bmxx80.F2)<<2                  // 500 ms
)

// firstTime is ample for the first measurement: 16 ms with these settings (bmxx80's
// delayTypical280), and 2 ms for the chip to start.
const firstTime = 50 * time.Millisecond

// What the chip can measure: its operating range, among the datasheet's key parameters.
const (
	lowestPressure, highestPressure = 30000, 110000
	lowestCelsius, highestCelsius   = -40, 85
)

// Dev is one chip.
type Dev struct {
	tap      tap
	device   string
	address  uint16
	clock    sensors.Clock
	inner    *bmxx80.Dev // nil before Start and after a failure
	humidity bool
	env      physic.Env
}

var _ sensors.Sensor = (*Dev)(nil)

// New prepares the driver; it sends nothing yet.
func New(b i2c.Bus, o *Opts) (*Dev, error) {
	d := &Dev{tap: tap{Bus: b}, address: o.Address, clock: o.Clock}
	if d.address == 0 {
		d.address = 0x76
	}
	if d.address != 0x76 && d.address != 0x77 {
		return nil, fmt.Errorf("bme280: address 0x%02x: want 0x76 or 0x77", d.address)
	}
	if d.clock == nil {
		d.clock = sensors.SystemClock{}
	}
	d.device = fmt.Sprintf("bme280 on %s at 0x%02x", b, d.address)
	return d, nil
}

// String returns the chip, its bus and its address.
func (d *Dev) String() string { return d.device }

// Start identifies the chip, loads its calibration and lets it measure.
func (d *Dev) Start(ctx context.Context) error {
	d.inner = nil
	var id [1]byte
	if err := d.read("read the identity", regID, id[:]); err != nil {
		return err
	}
	switch id[0] {
	case idBME280, idBMP280:
		d.humidity = id[0] == idBME280
	case 0xFF:
		return d.fault(sensors.StuckHigh, "identity 0xff")
	case 0x00:
		return d.fault(sensors.StuckLow, "identity 0x00")
	default:
		return d.fault(sensors.WrongPart, "identity 0x%02x, want 0x%02x (BME280) or 0x%02x (BMP280)", id[0], idBME280, idBMP280)
	}
	var status [1]byte
	if err := d.read("read the status", regStatus, status[:]); err != nil {
		return err
	}
	if status[0]&statusCopying != 0 {
		return d.fault(sensors.Settling, "loading its calibration")
	}
	// Nothing guards the calibration on its way, and a wrong word would make every
	// reading wrong until the next start.
	var calibration [len(d.tap.calibration)]byte
	if err := d.read("read the calibration", regCalibration, calibration[:]); err != nil {
		return err
	}
	inner, err := bmxx80.NewI2C(&d.tap, d.address, &settings)
	if err != nil {
		return d.failed("set up", err)
	}
	if calibration != d.tap.calibration {
		return d.fault(sensors.ImpossibleFrame, "calibration %x, then %x", calibration, d.tap.calibration)
	}
	if err := d.clock.Sleep(ctx, firstTime); err != nil {
		return fmt.Errorf("wait for the first measurement: %w", err)
	}
	d.inner = inner
	return nil
}

// Sense reads the latest measurement; after a failure it starts the chip first.
func (d *Dev) Sense(ctx context.Context) (sensors.Sample, error) {
	if d.inner == nil {
		if err := d.Start(ctx); err != nil {
			return sensors.Sample{}, err
		}
	}
	s, err := d.sense()
	if err != nil {
		d.inner = nil
	}
	return s, err
}

func (d *Dev) sense() (sensors.Sample, error) {
	var c [4]byte
	if err := d.read("read the configuration", regCtrlHum, c[:]); err != nil {
		return sensors.Sample{}, err
	}
	if c == [4]byte{0xFF, 0xFF, 0xFF, 0xFF} {
		return sensors.Sample{}, d.fault(sensors.StuckHigh, "configuration %x", c)
	}
	if c[2] != wantCtrlMeas || c[3] != wantConfig || d.humidity && c[0] != wantCtrlHum {
		return sensors.Sample{}, d.fault(sensors.LostConfiguration, "registers f2 to f5 are %x", c)
	}
	if err := d.inner.Sense(&d.env); err != nil {
		return sensors.Sample{}, d.failed("read the measurement", err)
	}
	raw := d.tap.data[:6]
	if d.humidity {
		raw = d.tap.data[:]
	}
	if unmeasured(raw) {
		return sensors.Sample{}, d.fault(sensors.ImpossibleFrame, "%x: not measured", raw)
	}
	celsius := d.env.Temperature.Celsius()
	pascals := float64(d.env.Pressure) / float64(physic.Pascal)
	if pascals < lowestPressure || pascals > highestPressure || celsius < lowestCelsius || celsius > highestCelsius {
		return sensors.Sample{}, d.fault(sensors.ImpossibleFrame, "%x: %.0f Pa, %.2f °C", raw, pascals, celsius)
	}
	s := sensors.Sample{Raw: sensors.RawOf(raw)}
	s.Set(sensors.AbsolutePressure, pascals)
	s.Set(sensors.AirTemperature, celsius)
	if d.humidity {
		s.Set(sensors.RelativeHumidity, float64(d.env.Humidity)/float64(100*physic.PercentRH))
	}
	return s, nil
}

// unmeasured reports whether a quantity has its reset value (Table 18, p. 25), which is
// also that of one that is switched off.
func unmeasured(raw []byte) bool {
	reset := []byte{0x80, 0x00, 0x00}
	return bytes.Equal(raw[:3], reset) || bytes.Equal(raw[3:6], reset) ||
		len(raw) == 8 && bytes.Equal(raw[6:], reset[:2])
}

// Halt puts the chip to sleep.
func (d *Dev) Halt() error {
	if d.inner == nil {
		return nil
	}
	d.inner = nil
	// bmxx80's Halt does nothing in this mode; the oversampling stays, sleep is 0.
	if err := d.tap.Tx(d.address, []byte{0xF4, wantCtrlMeas &^ 0x03}, nil); err != nil {
		return bus.Fault(d.device, "put to sleep", err)
	}
	return nil
}

func (d *Dev) read(what string, reg byte, buf []byte) error {
	if err := d.tap.Tx(d.address, []byte{reg}, buf); err != nil {
		return bus.Fault(d.device, what, err)
	}
	return nil
}

// failed is a failure within bmxx80: the bus's error, if that was it.
func (d *Dev) failed(what string, err error) error {
	if d.tap.err != nil {
		err = d.tap.err
	}
	return bus.Fault(d.device, what, err)
}

func (d *Dev) fault(code sensors.Code, detail string, args ...any) error {
	return &sensors.Fault{Code: code, Device: d.device, Detail: fmt.Sprintf(detail, args...)}
}

// tap is the bus as bmxx80 sees it: it keeps what bmxx80 loses, the error with its errno,
// the raw words of the measurement and those of the calibration.
type tap struct {
	i2c.Bus
	err         error
	data        [8]byte
	calibration [26]byte
}

// Tx does the transfer and listens.
func (t *tap) Tx(addr uint16, w, r []byte) error {
	t.err = t.Bus.Tx(addr, w, r)
	if t.err == nil && len(w) == 1 {
		switch w[0] {
		case regData:
			copy(t.data[:], r)
		case regCalibration:
			copy(t.calibration[:], r)
		}
	}
	return t.err
}

// SetSpeed is the bus's own affair.
func (t *tap) SetSpeed(physic.Frequency) error { return errors.ErrUnsupported }
