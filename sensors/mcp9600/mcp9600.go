package mcp9600

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
	"fluewright/sensors/thermocouple"
)

// Opts is the chip's set-up.
type Opts struct {
	Part    Part
	Type    thermocouple.Type // of the probe; the chip cannot know it
	Address uint16            // 0x60 to 0x67; zero means 0x60, that of most boards
	Clock   sensors.Clock
}

// DefaultOpts is the part that notices an open thermocouple, with type K.
var DefaultOpts = Opts{Part: MCP9601, Type: thermocouple.K, Address: 0x60, Clock: sensors.SystemClock{}}

// Times (Tables 5-2 and 5-3, and section 6.2.1: at most three looks in a conversion,
// since each warms the chip).
const (
	conversionTime = 320 * time.Millisecond // 18 bits
	betweenLooks   = conversionTime / 3
	powerUpTime    = 20 * time.Millisecond // p. 7
	// tooLong without a conversion is a chip that does not convert: a few conversions.
	tooLong = 2 * time.Second
)

// configuration is what the registers must hold. The mark is 2000 °C in the limit of an
// alert that is not used; its power-on value is 0, so that a supply dip shows even where
// the rest equals the power-on values (type K, 18 bits, no filter, running).
type configuration struct {
	sensor, device byte
	mark           [2]byte
}

// Dev is one chip.
type Dev struct {
	bus      i2c.Bus
	device   string
	opts     Opts
	clock    sensors.Clock
	want     configuration
	identity [2]byte
	looked   time.Time // at the status
	fresh    time.Time // of the last conversion, or the start
	w        [3]byte   // kept, so that a look does not allocate
	r        [8]byte
}

var _ sensors.Sensor = (*Dev)(nil)

// New prepares the driver; it sends nothing yet.
func New(b i2c.Bus, o *Opts) (*Dev, error) {
	if _, ok := identities[o.Part]; !ok {
		return nil, fmt.Errorf("mcp9600: no part %q: want %s or %s", o.Part, MCP9600, MCP9601)
	}
	if !o.Type.Valid() {
		return nil, fmt.Errorf("mcp9600: thermocouple type %v: want one of %v", o.Type, thermocouple.Types())
	}
	d := &Dev{bus: b, opts: *o, clock: o.Clock}
	if d.opts.Address == 0 {
		d.opts.Address = 0x60
	}
	if d.opts.Address < 0x60 || d.opts.Address > 0x67 {
		return nil, fmt.Errorf("mcp9600: address 0x%02x: want 0x60 to 0x67", d.opts.Address)
	}
	if d.clock == nil {
		d.clock = sensors.SystemClock{}
	}
	d.device = fmt.Sprintf("%s on %s at 0x%02x", o.Part, b, d.opts.Address)
	d.want = configuration{sensor: typeCodes[o.Type] << 4, mark: [2]byte{0x7D, 0x00}}
	return d, nil
}

// String returns the part, its bus and its address.
func (d *Dev) String() string { return d.device }

// Start identifies the chip, sets it up and reads that back.
func (d *Dev) Start(ctx context.Context) error {
	// After a dip of the supply the chip needs this long before it hears anything.
	if err := d.clock.Sleep(ctx, powerUpTime); err != nil {
		return fmt.Errorf("wait for the power-up: %w", err)
	}
	if err := d.identify(); err != nil {
		return d.again(err, d.identify)
	}
	for _, w := range [...]struct {
		what  string
		bytes []byte
	}{
		{"set the type", []byte{regSensor, d.want.sensor}},
		{"set the resolution", []byte{regDevice, d.want.device}},
		{"set the mark", []byte{regAlert, d.want.mark[0], d.want.mark[1]}},
		{"clear the status", []byte{regStatus, 0}},
	} {
		if err := d.write(w.what, w.bytes...); err != nil {
			return err
		}
	}
	if err := d.echo(); err != nil {
		return d.again(err, d.echo)
	}
	d.looked, d.fresh = time.Time{}, d.clock.Now()
	return nil
}

// Sense reads the temperatures if a conversion has ended since the last look.
func (d *Dev) Sense(context.Context) (sensors.Sample, error) {
	now := d.clock.Now()
	if since := now.Sub(d.looked); !d.looked.IsZero() && since < betweenLooks {
		return sensors.Sample{}, d.fault(fault(sensors.NotReady, "%v after the last look", since))
	}
	d.looked = now
	if err := d.read("read the status", regStatus, d.r[:1]); err != nil {
		return sensors.Sample{}, err
	}
	status := d.r[0]
	if status == 0xFF {
		return sensors.Sample{}, d.fault(fault(sensors.StuckHigh, "STATUS 0xff"))
	}
	if err := wiring(status, d.opts.Part); err != nil {
		return sensors.Sample{}, d.certain(err)
	}
	if status&statusUpdated == 0 {
		return sensors.Sample{}, d.waiting(now)
	}
	// Before the values are read, so that a conversion that ends meanwhile is not lost.
	if err := d.write("clear the status", regStatus, 0); err != nil {
		return sensors.Sample{}, err
	}
	words, err := d.temperatures()
	if err != nil {
		return sensors.Sample{}, err
	}
	if !words.agree() { // a conversion may have ended between two of them
		if words, err = d.temperatures(); err != nil {
			return sensors.Sample{}, err
		}
	}
	if err := d.same(); err != nil {
		return sensors.Sample{}, err
	}
	v, err := Decode(status, words, d.opts.Part, d.opts.Type)
	if err != nil {
		return sensors.Sample{}, d.fault(err)
	}
	d.fresh = now
	d.r[6] = status
	s := sensors.Sample{Raw: sensors.RawOf(d.r[:7]), Taken: now.Add(-conversionTime)}
	s.Set(sensors.HotJunction, v.HotJunction)
	s.Set(sensors.ColdJunction, v.ColdJunction)
	if v.ColdJunction > coldSuspect {
		s.Doubt = sensors.ColdJunctionHot
	}
	return s, nil
}

// certain makes sure that it is the configured chip that reports the wiring, and that it
// does so twice.
func (d *Dev) certain(err error) error {
	if other := d.same(); other != nil {
		return other
	}
	return d.again(d.fault(err), func() error {
		if err := d.read("read the status", regStatus, d.r[:1]); err != nil {
			return err
		}
		return d.fault(wiring(d.r[0], d.opts.Part))
	})
}

// waiting is a look that found no new conversion: within reason.
func (d *Dev) waiting(now time.Time) error {
	if err := d.same(); err != nil {
		return err
	}
	if waited := now.Sub(d.fresh); waited > tooLong {
		return d.fault(fault(sensors.ImpossibleFrame, "no conversion for %v", waited))
	}
	return d.fault(fault(sensors.NotReady, "converting"))
}

// temperatures reads the three words into the first six bytes of the buffer.
func (d *Dev) temperatures() (Words, error) {
	for i, reg := range [...]byte{regHot, regDelta, regCold} {
		if err := d.read("read the temperatures", reg, d.r[2*i:2*i+2]); err != nil {
			return Words{}, err
		}
	}
	return Words{word(d.r[0:]), word(d.r[2:]), word(d.r[4:])}, nil
}

// same checks that the chip is still the one that was started and as it was set up. It
// leaves the first six bytes of the buffer alone.
func (d *Dev) same() error {
	if err := d.check(); err != nil {
		return d.again(err, d.check)
	}
	return nil
}

// again repeats a check that found something wrong. Where it finds nothing, the first was
// handed other bytes.
func (d *Dev) again(first error, check func() error) error {
	var f *sensors.Fault
	if !errors.As(first, &f) || f.Err != nil {
		return first
	}
	if err := check(); err != nil {
		return err
	}
	f = fault(sensors.ImpossibleFrame, "read differently twice: %s", f.Detail)
	f.Advice = stretchAdvice
	return d.fault(f)
}

func (d *Dev) check() error {
	got, err := d.readIdentity()
	if err != nil {
		return err
	}
	if got != d.identity {
		f := fault(sensors.ImpossibleFrame, "identity %x, was %x", got, d.identity)
		f.Advice = stretchAdvice
		return d.fault(f)
	}
	return d.echo()
}

func (d *Dev) identify() (err error) {
	if d.identity, err = d.readIdentity(); err != nil {
		return err
	}
	if want := identities[d.opts.Part]; d.identity[0] != want {
		return d.fault(fault(sensors.WrongPart, "identity %x, want %02xXX", d.identity, want))
	}
	return nil
}

func (d *Dev) readIdentity() (id [2]byte, err error) {
	if err := d.read("read the identity", regIdentity, d.r[6:8]); err != nil {
		return id, err
	}
	id = [2]byte(d.r[6:8])
	switch id {
	case [2]byte{0xFF, 0xFF}:
		return id, d.fault(fault(sensors.StuckHigh, "identity %x", id))
	case [2]byte{}:
		return id, d.fault(fault(sensors.StuckLow, "identity %x", id))
	}
	return id, nil
}

// echo reads the configuration back.
func (d *Dev) echo() error {
	got, err := d.configuration()
	if err != nil {
		return err
	}
	if got != d.want {
		return d.fault(fault(sensors.LostConfiguration, "registers 05, 06 and 10 are %02x %02x %x, want %02x %02x %x",
			got.sensor, got.device, got.mark, d.want.sensor, d.want.device, d.want.mark))
	}
	return nil
}

func (d *Dev) configuration() (got configuration, err error) {
	if err := d.read("read the configuration", regSensor, d.r[6:7]); err != nil {
		return got, err
	}
	got.sensor = d.r[6]
	if err := d.read("read the configuration", regDevice, d.r[6:7]); err != nil {
		return got, err
	}
	got.device = d.r[6]
	if err := d.read("read the configuration", regAlert, d.r[6:8]); err != nil {
		return got, err
	}
	got.mark = [2]byte(d.r[6:8])
	return got, nil
}

// Halt lets the chip do nothing: shutdown (section 5.2.3).
func (d *Dev) Halt() error { return d.write("shut down", regDevice, d.want.device|modeShutdown) }

func (d *Dev) read(what string, reg byte, buf []byte) error {
	d.w[0] = reg
	if err := d.bus.Tx(d.opts.Address, d.w[:1], buf); err != nil {
		return bus.Fault(d.device, what, err)
	}
	return nil
}

func (d *Dev) write(what string, b ...byte) error {
	n := copy(d.w[:], b)
	if err := d.bus.Tx(d.opts.Address, d.w[:n], nil); err != nil {
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
