package max31856

import (
	"bytes"
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

// Opts is the chip's set-up.
type Opts struct {
	Type      thermocouple.Type // of the probe; the chip cannot know it
	Averaging int               // samples in a conversion: 1, 2, 4, 8 or 16
	Mains     int               // 50 or 60 Hz, the frequency to reject
	OpenTest  OpenTest          // zero means Below5kOhm
	Clock     sensors.Clock
	Name      string // of the chip select, for messages; empty means the port's own
}

// DefaultOpts is type K on a North American mains, with an average of four samples.
var DefaultOpts = Opts{Type: thermocouple.K, Averaging: 4, Mains: 60, OpenTest: Below5kOhm, Clock: sensors.SystemClock{}}

// ConversionTime is the longest that a conversion takes: one-shot with the cold junction
// on (p. 4), the further samples of an average (p. 20) and the open-circuit test (p. 14).
func (o *Opts) ConversionTime() time.Duration {
	first, more := 155*time.Millisecond, 33330*time.Microsecond
	if o.Mains == 50 {
		first, more = 185*time.Millisecond, 40*time.Millisecond
	}
	return first + time.Duration(o.Averaging-1)*more + o.OpenTest.duration()
}

// clockRate is far below the chip's 5 MHz (p. 5): a look takes 0.2 ms even so, and long
// wires forgive more.
const clockRate = physic.MegaHertz

// pattern is written to the threshold registers at the start and read back: in a wrong
// SPI mode, or from another chip, it returns shifted or not at all.
var pattern = [...]byte{0x5A, 0xA5, 0x3C, 0xC3, 0x96, 0x69}

// Dev is one chip.
type Dev struct {
	conn  spi.Conn
	name  string
	opts  Opts
	clock sensors.Clock

	// config is what registers 00h to 09h must hold, 1SHOT aside.
	config    [regCJTO + 1]byte
	triggered time.Time
	w, r      [registers + 1]byte // kept, so that a look does not allocate
}

var _ sensors.Sensor = (*Dev)(nil)

// New connects to the port, which it does not own; it sends nothing yet.
func New(p spi.Port, o *Opts) (*Dev, error) {
	d, err := prepare(p.String(), o)
	if err != nil {
		return nil, err
	}
	if d.conn, err = connect(p); err != nil {
		return nil, bus.Fault(d.String(), "connect", err)
	}
	return d, nil
}

// connect sets the mode: data is sampled on the second edge, mode 1 or 3 (p. 15, Table 5).
func connect(p spi.Port) (spi.Conn, error) { return p.Connect(clockRate, spi.Mode1, 8) }

// prepare makes a driver that has no connection yet.
func prepare(port string, o *Opts) (*Dev, error) {
	d := &Dev{opts: *o, clock: o.Clock, name: o.Name}
	if d.name == "" {
		d.name = port
	}
	if !o.Type.Valid() {
		return nil, fmt.Errorf("max31856: thermocouple type %v: want one of %v", o.Type, thermocouple.Types())
	}
	average, ok := map[int]byte{1: 0, 2: 1, 4: 2, 8: 3, 16: 4}[o.Averaging]
	if !ok {
		return nil, fmt.Errorf("max31856: averaging over %d samples: want 1, 2, 4, 8 or 16", o.Averaging)
	}
	if o.Mains != 50 && o.Mains != 60 {
		return nil, fmt.Errorf("max31856: mains of %d Hz: want 50 or 60", o.Mains)
	}
	if o.OpenTest > Below40kOhmSlow {
		return nil, fmt.Errorf("max31856: no open-circuit test %d", o.OpenTest)
	}
	if d.opts.OpenTest == 0 {
		d.opts.OpenTest = Below5kOhm
	}
	if d.clock == nil {
		d.clock = sensors.SystemClock{}
	}
	d.config = [len(d.config)]byte{
		regCR0:  byte(d.opts.OpenTest) << cr0OpenPos,
		regCR1:  average<<cr1AveragePos | types[o.Type].code,
		regMask: 0xFF, // the FAULT pin is not used
		// Both differ from the power-on values, so that a supply dip shows whatever else
		// is configured.
		regCJHF: coldHigh,
		regCJLF: 0x100 + coldLow,
		// The thermocouple's thresholds stay out of the way at ±2048 °C; the low byte of
		// the lower one carries the number of the request.
		regLTHFTH: 0x7F, regLTHFTL: 0xFF,
		regLTLFTH: 0x80,
	}
	if o.Mains == 50 {
		d.config[regCR0] |= cr0Mains50
	}
	return d, nil
}

// String returns the chip and its chip select.
func (d *Dev) String() string { return "max31856 on " + d.name }

// Start finds the chip, sets it up, reads that back and asks for the first conversion.
func (d *Dev) Start(ctx context.Context) error {
	before, err := d.read()
	if err != nil {
		return err
	}
	if code := stuck(before); code != "" {
		return d.fault(fault(code, "all registers 0x%02x", before[0]))
	}
	converting := before[regCR0]&(cr0Auto|cr0OneShot) != 0
	var was [len(pattern)]byte
	copy(was[:], before[regCJHF:])
	if err := d.write(regCR0, 0); err != nil {
		return err
	}
	if converting {
		// Left so by another program: averaging must not change under way (p. 20).
		if err := d.clock.Sleep(ctx, time.Second); err != nil {
			return fmt.Errorf("wait for a conversion: %w", err)
		}
	}
	if err := d.write(regCJHF, pattern[:]...); err != nil {
		return err
	}
	regs, err := d.read()
	if err != nil {
		return err
	}
	if got := regs[regCJHF : regCJHF+len(pattern)]; !bytes.Equal(got, pattern[:]) {
		f := fault(sensors.ImpossibleFrame, "wrote %x, read back %x", pattern, got)
		if bytes.Equal(got, was[:]) {
			f.Advice = "Check the chip's data-in wire (MOSI to SDI): it answers but hears nothing."
		}
		return d.fault(f)
	}
	if err := d.write(regCR0, d.config[:]...); err != nil {
		return err
	}
	if regs, err = d.read(); err != nil {
		return err
	}
	if err := d.echo(regs); err != nil {
		return err
	}
	return d.trigger()
}

// Sense reads the conversion that the last look asked for and asks for the next. The
// sample is as old as that request and says so.
func (d *Dev) Sense(context.Context) (sensors.Sample, error) {
	regs, err := d.read()
	if err != nil {
		return sensors.Sample{}, err
	}
	if code := stuck(regs); code != "" {
		return sensors.Sample{}, d.fault(fault(code, "all registers 0x%02x", regs[0]))
	}
	if err := d.echo(regs); err != nil {
		return sensors.Sample{}, err
	}
	s, err := d.sample(regs)
	if err != nil {
		return sensors.Sample{}, d.afterFault(err)
	}
	s.Taken = d.triggered
	if err := d.trigger(); err != nil {
		return sensors.Sample{}, err
	}
	return s, nil
}

// sample is what the registers say.
func (d *Dev) sample(regs []byte) (sensors.Sample, error) {
	v, err := Decode(regs, d.opts.Type)
	if err != nil {
		return sensors.Sample{}, err
	}
	s := sensors.Sample{Raw: sensors.RawOf(regs)}
	s.Set(sensors.HotJunction, v.HotJunction)
	s.Set(sensors.ColdJunction, v.ColdJunction)
	if v.ColdJunction > coldSuspect {
		s.Doubt = sensors.ColdJunctionHot
	}
	return s, nil
}

// afterFault lets a running conversion run, within reason, and asks for the next one
// after a fault of the wiring, since that shows whether it has gone. If the request
// fails, the next look finds out.
func (d *Dev) afterFault(err error) error {
	if sensors.CodeOf(err) != sensors.NotReady {
		_ = d.trigger()
		return d.fault(err)
	}
	if waited := d.clock.Now().Sub(d.triggered); waited > 2*d.opts.ConversionTime() {
		err = fault(sensors.ImpossibleFrame, "still converting after %v", waited)
	}
	return d.fault(err)
}

// Halt lets the chip do nothing.
func (d *Dev) Halt() error { return d.write(regCR0, d.config[regCR0]) }

// echo checks that the chip still has its configuration and heard the last request.
func (d *Dev) echo(regs []byte) error {
	got := regs[:len(d.config)]
	cr0 := got[regCR0] &^ cr0OneShot
	if cr0 == d.config[regCR0] && bytes.Equal(got[1:], d.config[1:]) {
		return nil
	}
	f := fault(sensors.LostConfiguration, "registers 00 to 09 are %x, want %x", got, d.config)
	if cr0 == d.config[regCR0] && bytes.Equal(got[1:regLTLFTL], d.config[1:regLTLFTL]) {
		f.Advice = "Check the chip's data-in wire (MOSI to SDI): the last request did not reach it."
	}
	return d.fault(f)
}

// trigger asks for a conversion. It begins when chip select rises (p. 19), so that one
// burst can carry the request and, behind it, its number.
func (d *Dev) trigger() error {
	d.config[regLTLFTL]++
	d.w[0] = regCR0 | writeBit
	n := copy(d.w[1:], d.config[:regLTLFTL+1])
	d.w[1] |= cr0OneShot
	d.triggered = d.clock.Now()
	if err := d.conn.Tx(d.w[:n+1], nil); err != nil {
		return bus.Fault(d.String(), "request a conversion", err)
	}
	return nil
}

// read returns all registers, valid until the next transfer.
func (d *Dev) read() ([]byte, error) {
	clear(d.w[:])
	if err := d.conn.Tx(d.w[:], d.r[:]); err != nil {
		return nil, bus.Fault(d.String(), "read registers", err)
	}
	return d.r[1:], nil
}

func (d *Dev) write(reg byte, values ...byte) error {
	d.w[0] = reg | writeBit
	n := copy(d.w[1:], values)
	if err := d.conn.Tx(d.w[:n+1], nil); err != nil {
		return bus.Fault(d.String(), fmt.Sprintf("write register %02x", reg), err)
	}
	return nil
}

// fault names this chip in a fault that was found in its registers.
func (d *Dev) fault(err error) error {
	var f *sensors.Fault
	if errors.As(err, &f) {
		f.Device = d.String()
	}
	return err
}
