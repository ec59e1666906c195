package mcp9808

import (
	"context"
	"encoding/binary"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Opts is the chip's set-up.
type Opts struct {
	Address uint16 // 0x18 to 0x1F; zero means 0x18
	Clock   sensors.Clock
}

// DefaultOpts is the address of most boards.
var DefaultOpts = Opts{Address: 0x18, Clock: sensors.SystemClock{}}

// Registers (jc42.c; the resolution is the MCP9808's own, as periph's mcp9808 has it).
const (
	regConfig     = 0x01
	regUpper      = 0x02 // limit of an alert, which is not used
	regAmbient    = 0x05
	regMaker      = 0x06
	regDevice     = 0x07
	regResolution = 0x08
)

// Identity: Microchip, and the device in the upper byte with its revision in the lower
// (jc42.c; DS25095A, p. 28).
const (
	maker  = 0x0054
	device = 0x04
)

// The set-up: running, 0.0625 °C, and 125 °C in the unused limit, whose power-on value
// is 0, so that it marks a chip that kept its supply.
const (
	config     = 0x0000
	resolution = 0x03
	mark       = 0x07D0
)

// firstTime is ample for the first conversion, 250 ms at this resolution (periph's
// mcp9808 refuses to sense more often).
const firstTime = 300 * time.Millisecond

// What the chip is made for, °C (DS25095A, p. 1).
const lowest, highest = -40, 125

// Dev is one chip.
type Dev struct {
	bus     i2c.Bus
	address uint16
	device  string
	clock   sensors.Clock
	w       [3]byte // kept, so that a look does not allocate
	r       [2]byte
}

var _ sensors.Sensor = (*Dev)(nil)

// New prepares the driver; it sends nothing yet.
func New(b i2c.Bus, o *Opts) (*Dev, error) {
	d := &Dev{bus: b, address: o.Address, clock: o.Clock}
	if d.address == 0 {
		d.address = 0x18
	}
	if d.address < 0x18 || d.address > 0x1F {
		return nil, fmt.Errorf("mcp9808: address 0x%02x: want 0x18 to 0x1f", d.address)
	}
	if d.clock == nil {
		d.clock = sensors.SystemClock{}
	}
	d.device = fmt.Sprintf("mcp9808 on %s at 0x%02x", b, d.address)
	return d, nil
}

// String returns the chip, its bus and its address.
func (d *Dev) String() string { return d.device }

// Start identifies the chip, sets it up, reads that back and waits for the first
// conversion.
func (d *Dev) Start(ctx context.Context) error {
	made, err := d.word("read the identity", regMaker)
	if err != nil {
		return err
	}
	kind, err := d.word("read the identity", regDevice)
	if err != nil {
		return err
	}
	switch {
	case made == 0xFFFF:
		return d.fault(sensors.StuckHigh, "identity %04x %04x", made, kind)
	case made == 0x0000:
		return d.fault(sensors.StuckLow, "identity %04x %04x", made, kind)
	case made != maker || kind>>8 != device:
		return d.fault(sensors.WrongPart, "identity %04x %04x, want %04x %02xXX", made, kind, maker, device)
	}
	if err := d.write("set the resolution", regResolution, resolution); err != nil {
		return err
	}
	if err := d.write("set the mark", regUpper, mark>>8, mark&0xFF); err != nil {
		return err
	}
	if err := d.write("let it run", regConfig, config>>8, config&0xFF); err != nil {
		return err
	}
	if err := d.echo(); err != nil {
		return err
	}
	if err := d.clock.Sleep(ctx, firstTime); err != nil {
		return fmt.Errorf("wait for the first conversion: %w", err)
	}
	return nil
}

// Sense reads the latest conversion.
func (d *Dev) Sense(context.Context) (sensors.Sample, error) {
	if err := d.echo(); err != nil {
		return sensors.Sample{}, err
	}
	w, err := d.word("read the temperature", regAmbient)
	if err != nil {
		return sensors.Sample{}, err
	}
	celsius, err := Decode(w)
	if err != nil {
		return sensors.Sample{}, d.fault(sensors.CodeOf(err), "%04x", w)
	}
	s := sensors.Sample{Raw: sensors.RawOf(d.r[:])}
	s.Set(sensors.AirTemperature, celsius)
	return s, nil
}

// Decode returns the temperature in °C of the ambient register: 13 bits, signed, 1/16 °C;
// the upper three are alerts. The error is a *sensors.Fault without its device.
func Decode(w uint16) (celsius float64, err error) {
	celsius = float64(int16(w<<3)>>3) / 16
	if celsius < lowest || celsius > highest {
		return 0, &sensors.Fault{Code: sensors.ImpossibleFrame}
	}
	return celsius, nil
}

// echo checks that the chip kept its set-up.
func (d *Dev) echo() error {
	c, err := d.word("read the configuration", regConfig)
	if err != nil {
		return err
	}
	m, err := d.word("read the configuration", regUpper)
	if err != nil {
		return err
	}
	switch {
	case c == 0xFFFF && m == 0xFFFF:
		return d.fault(sensors.StuckHigh, "registers 01 and 02 are %04x %04x", c, m)
	case c != config || m != mark:
		return d.fault(sensors.LostConfiguration, "registers 01 and 02 are %04x %04x, want %04x %04x", c, m, config, mark)
	}
	return nil
}

// Halt shuts the chip down: bit 8 of the configuration (jc42.c).
func (d *Dev) Halt() error { return d.write("shut down", regConfig, 0x01, 0x00) }

func (d *Dev) word(what string, reg byte) (uint16, error) {
	d.w[0] = reg
	if err := d.bus.Tx(d.address, d.w[:1], d.r[:]); err != nil {
		return 0, bus.Fault(d.device, what, err)
	}
	return binary.BigEndian.Uint16(d.r[:]), nil
}

func (d *Dev) write(what string, b ...byte) error {
	n := copy(d.w[:], b)
	if err := d.bus.Tx(d.address, d.w[:n], nil); err != nil {
		return bus.Fault(d.device, what, err)
	}
	return nil
}

func (d *Dev) fault(code sensors.Code, detail string, args ...any) error {
	return &sensors.Fault{Code: code, Device: d.device, Detail: fmt.Sprintf(detail, args...)}
}
