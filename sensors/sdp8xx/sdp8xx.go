package sdp8xx

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Opts is the chip's set-up.
type Opts struct {
	Part    Part   // what must answer
	Address uint16 // zero means the part's usual one
	Clock   sensors.Clock
}

// DefaultOpts is the part for chimney draft.
var DefaultOpts = Opts{Part: SDP810P125, Clock: sensors.SystemClock{}}

// Commands (sdp_i2c.h of Sensirion's embedded-i2c-sdp). They are sent as they stand,
// high byte first.
var (
	cmdStop     = []byte{0x3F, 0xF9}
	cmdIdentify = []byte{0x36, 0x7C} // then, as a write of its own:
	cmdReadID   = []byte{0xE1, 0x02}
	cmdStart    = []byte{0x36, 0x15} // differential pressure, average till read
)

// Times, from the same source.
const (
	stopTime   = time.Millisecond      // 0.5 ms at least after a stop
	warmUpTime = 20 * time.Millisecond // first value after 8 ms, within its accuracy 12 ms later
	// grace is how long the sensor may refuse to be read after its start or a read: a
	// value takes 0.5 ms, so that 50 ms without one is no longer waiting.
	grace = 50 * time.Millisecond
	// A sensor that sleeps or is just being powered refuses the first command.
	attempts = 3
)

// Dev is one chip.
type Dev struct {
	bus     i2c.Bus
	device  string
	opts    Opts
	part    partInfo
	clock   sensors.Clock
	found   Identity
	last    time.Time // of the start or the last good read
	buf     [frameSize]byte
	counts  int16 // at and beyond which the part is out of range
	running bool
}

var _ sensors.Sensor = (*Dev)(nil)

// New prepares the driver; it sends nothing yet.
func New(b i2c.Bus, o *Opts) (*Dev, error) {
	part, ok := parts[o.Part]
	if !ok {
		return nil, fmt.Errorf("sdp8xx: no part %q: want one of %v", o.Part, Parts())
	}
	d := &Dev{bus: b, opts: *o, part: part, clock: o.Clock}
	if d.opts.Address == 0 {
		d.opts.Address = part.address
	}
	switch d.opts.Address {
	case 0x21, 0x22, 0x23, 0x25, 0x26:
	default:
		return nil, fmt.Errorf("sdp8xx: address 0x%02x: want 0x25 or 0x26, or 0x21 to 0x23 of an SDP3x", d.opts.Address)
	}
	if d.clock == nil {
		d.clock = sensors.SystemClock{}
	}
	d.device = fmt.Sprintf("%s on %s at 0x%02x", o.Part, b, d.opts.Address)
	d.counts = int16(part.fullScale) * part.scale
	return d, nil
}

// String returns the part, its bus and its address.
func (d *Dev) String() string { return d.device }

// Identity returns what answered at the last Start, the wrong part too.
func (d *Dev) Identity() Identity { return d.found }

// Serial returns the serial number of what answered at the last Start.
func (d *Dev) Serial() string {
	if d.found == (Identity{}) {
		return ""
	}
	return fmt.Sprintf("%016x", d.found.Serial)
}

// Start stops what the sensor may still be measuring, identifies it and starts the
// measurement.
func (d *Dev) Start(ctx context.Context) error {
	d.running = false
	var err error
	for range attempts {
		if err = d.identify(ctx); sensors.CodeOf(err) != sensors.NoAnswer {
			break
		}
	}
	if err != nil {
		return err
	}
	if !d.found.mayBe(d.part) {
		return d.fault(fault(sensors.WrongPart, "%s answers", d.found))
	}
	if err := d.send("start", cmdStart); err != nil {
		return err
	}
	if err := d.clock.Sleep(ctx, warmUpTime); err != nil {
		return fmt.Errorf("wait for the first value: %w", err)
	}
	d.running = true
	d.last = d.clock.Now()
	return nil
}

// identify reads product and serial number, for which the sensor must be idle.
func (d *Dev) identify(ctx context.Context) error {
	d.found = Identity{}
	// An idle sensor may refuse the stop.
	if err := d.send("stop", cmdStop); err != nil && sensors.CodeOf(err) != sensors.NoAnswer {
		return err
	}
	if err := d.clock.Sleep(ctx, stopTime); err != nil {
		return fmt.Errorf("wait for the stop: %w", err)
	}
	if err := d.send("ask for the product number", cmdIdentify); err != nil {
		return err
	}
	if err := d.send("ask for the product number", cmdReadID); err != nil {
		return err
	}
	var buf [identitySize]byte
	if err := d.bus.Tx(d.opts.Address, nil, buf[:]); err != nil {
		return bus.Fault(d.device, "read the product number", err)
	}
	id, err := DecodeIdentity(buf[:])
	if err != nil {
		return d.fault(err)
	}
	d.found = id
	return nil
}

// Sense reads the average since the last look.
func (d *Dev) Sense(context.Context) (sensors.Sample, error) {
	if err := d.bus.Tx(d.opts.Address, nil, d.buf[:]); err != nil {
		f := bus.Fault(d.device, "read", err)
		if f.Code == sensors.NoAnswer && d.running && d.clock.Now().Sub(d.last) <= grace {
			f.Code = sensors.NotReady
		}
		return sensors.Sample{}, f
	}
	frame, err := Decode(d.buf[:])
	if err != nil {
		return sensors.Sample{}, d.fault(err)
	}
	if frame.Scale != d.part.scale {
		return sensors.Sample{}, d.fault(fault(sensors.ImpossibleFrame, "scale %d, want %d", frame.Scale, d.part.scale))
	}
	if frame.Pressure >= d.counts || frame.Pressure <= -d.counts {
		f := fault(sensors.OutOfRange, "%.1f Pa, the sensor ends at %.0f Pa", frame.Pascals(), d.part.fullScale)
		f.Advice = "Check the hoses; a pressure that is really there needs a part with a wider range."
		return sensors.Sample{}, d.fault(f)
	}
	d.last = d.clock.Now()
	s := sensors.Sample{Raw: sensors.RawOf(d.buf[:])}
	s.Set(sensors.DifferentialPressure, frame.Pascals())
	return s, nil
}

// Halt stops the measurement.
func (d *Dev) Halt() error {
	if !d.running {
		return nil
	}
	d.running = false
	return d.send("stop", cmdStop)
}

func (d *Dev) send(what string, cmd []byte) error {
	if err := d.bus.Tx(d.opts.Address, cmd, nil); err != nil {
		return bus.Fault(d.device, what, err)
	}
	return nil
}

// fault names this chip in a fault that was found in its words.
func (d *Dev) fault(err error) error {
	var f *sensors.Fault
	if errors.As(err, &f) {
		f.Device = d.device
	}
	return err
}
