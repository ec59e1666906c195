package max31855

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/bus"
	"fluewright/sensors/thermocouple"
)

// Opts is the chip's set-up. There is no default: the type is the chip's suffix, and
// nothing can tell that it is wrong.
type Opts struct {
	Type  thermocouple.Type
	Clock sensors.Clock
	Name  string // of the chip select, for messages; empty means the port's own
}

// Times (p. 4 and its note 6).
const (
	conversionTime = 100 * time.Millisecond // the longest
	powerUpTime    = 200 * time.Millisecond // before a reading may be trusted
	// A look within the typical time finds the last frame again, and reading too often
	// keeps the chip from converting: it updates only while chip select is high (p. 9).
	typicalTime = 70 * time.Millisecond
)

// clockRate is far below the chip's 5 MHz (p. 4): long wires forgive more.
const clockRate = physic.MegaHertz

// Dev is one chip.
type Dev struct {
	conn  spi.Conn
	name  string
	kind  thermocouple.Type
	clock sensors.Clock
	last  time.Time // of the last look
	// Kept, so that a look does not allocate. What is written is ignored by the chip.
	w, r [frameSize]byte
}

var _ sensors.Sensor = (*Dev)(nil)

// New connects to the port, which it does not own; it sends nothing yet.
func New(p spi.Port, o *Opts) (*Dev, error) {
	if _, made := Gain(o.Type); !made {
		return nil, fmt.Errorf("max31855: no chip is made for thermocouple type %v: want K, J, N, T, E, R or S, the chip's suffix", o.Type)
	}
	d := &Dev{name: o.Name, kind: o.Type, clock: o.Clock}
	if d.name == "" {
		d.name = p.String()
	}
	if d.clock == nil {
		d.clock = sensors.SystemClock{}
	}
	var err error
	// Bits change after the falling edge and are sampled at the rising one (p. 9).
	if d.conn, err = p.Connect(clockRate, spi.Mode0, 8); err != nil {
		return nil, bus.Fault(d.String(), "connect", err)
	}
	return d, nil
}

// String returns the chip and its chip select.
func (d *Dev) String() string { return "max31855 on " + d.name }

// Start sees whether a chip is there and gives it the time that it needs after power-up,
// since nothing tells when that was.
func (d *Dev) Start(ctx context.Context) error {
	d.last = time.Time{}
	err := d.read()
	if err != nil {
		return err
	}
	// A fault of the wiring is for Sense to tell.
	_, err = Decode(d.r[:], d.kind)
	switch sensors.CodeOf(err) {
	case sensors.StuckLow, sensors.StuckHigh, sensors.ImpossibleFrame:
		return d.fault(err)
	}
	if err := d.clock.Sleep(ctx, powerUpTime); err != nil {
		return fmt.Errorf("wait for the first conversion: %w", err)
	}
	return nil
}

// Sense reads the latest conversion. When that began is not known; the sample says the
// chip's longest conversion time ago.
func (d *Dev) Sense(context.Context) (sensors.Sample, error) {
	now := d.clock.Now()
	if since := now.Sub(d.last); !d.last.IsZero() && since < typicalTime {
		return sensors.Sample{}, d.fault(fault(sensors.NotReady, "%v after the last look", since))
	}
	d.last = now
	if err := d.read(); err != nil {
		return sensors.Sample{}, err
	}
	v, err := Decode(d.r[:], d.kind)
	if err != nil {
		return sensors.Sample{}, d.fault(err)
	}
	s := sensors.Sample{Raw: sensors.RawOf(d.r[:]), Taken: now.Add(-conversionTime)}
	s.Set(sensors.HotJunction, v.HotJunction)
	s.Set(sensors.ColdJunction, v.ColdJunction)
	if v.ColdJunction > coldSuspect {
		s.Doubt = sensors.ColdJunctionHot
	}
	return s, nil
}

// Halt does nothing: the chip has no idle state.
func (d *Dev) Halt() error { return nil }

func (d *Dev) read() error {
	if err := d.conn.Tx(d.w[:], d.r[:]); err != nil {
		return bus.Fault(d.String(), "read", err)
	}
	return nil
}

// fault names this chip in a fault that was found in its words.
func (d *Dev) fault(err error) error {
	var f *sensors.Fault
	if errors.As(err, &f) {
		f.Device = d.String()
	}
	return err
}
