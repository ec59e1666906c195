package ads1115

import (
	"context"
	"encoding/binary"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bus"
)

// Registers, and the configuration's bits (section 9.6.3).
const (
	regConversion = 0x00
	regConfig     = 0x01

	// Written, it starts a conversion; read, it is 1 when none is running.
	configStart     = 0x8000
	configSingle    = 0x4000 // input against ground; the input's number is in bits 13 and 12
	configOnce      = 0x0100 // then power down
	config128       = 0x0080 // 128 samples a second
	configNoCompare = 0x0003
)

// inputPos is where the input's number stands in the configuration.
const inputPos = 12

// FullScale is a range of input voltages, as the configuration has it.
type FullScale uint16

// The ranges that a signal against ground needs. An input may never be above the chip's
// supply, whatever the range (section 9.3.3).
const (
	Volts6144 FullScale = 0x0000 // ±6.144 V
	Volts4096 FullScale = 0x0200 // ±4.096 V
)

// Volts is the voltage that a code means in the range: ±2^15 codes (Table 5).
func (f FullScale) Volts(code int16) float64 {
	full := 6.144
	if f == Volts4096 {
		full = 4.096
	}
	return float64(code) * full / 32768
}

// Times. The rate may be 10 % low (section 7.5), and the chip wakes in 25 µs (from
// memory; the millisecond covers it).
const (
	conversionTime = time.Second / 128 * 110 / 100
	wakeUp         = time.Millisecond
	attempts       = 5 // a millisecond apart, after that
)

// Dev is one chip.
type Dev struct {
	bus     i2c.Bus
	address uint16
	clock   sensors.Clock
	w       [3]byte // kept, so that a reading does not allocate
	r       [2]byte
}

// New prepares the driver; it sends nothing yet. The address is 0x48 to 0x4B, zero
// meaning 0x48; a nil clock is the system's.
func New(b i2c.Bus, address uint16, clock sensors.Clock) (*Dev, error) {
	if address == 0 {
		address = 0x48
	}
	if address < 0x48 || address > 0x4B {
		return nil, fmt.Errorf("ads1115: address 0x%02x: want 0x48 to 0x4b", address)
	}
	if clock == nil {
		clock = sensors.SystemClock{}
	}
	return &Dev{bus: b, address: address, clock: clock}, nil
}

// String returns the chip, its bus and its address.
func (d *Dev) String() string { return fmt.Sprintf("ads1115 on %s at 0x%02x", d.bus, d.address) }

// Read converts input 0 to 3 against ground and returns the code. It waits for the
// conversion, about 10 ms.
func (d *Dev) Read(ctx context.Context, input int, full FullScale) (int16, error) {
	if input < 0 || input > 3 {
		return 0, fmt.Errorf("ads1115: input %d: want 0 to 3", input)
	}
	config := configStart | configSingle | uint16(input)<<inputPos | uint16(full) | configOnce | config128 | configNoCompare
	d.w[0] = regConfig
	binary.BigEndian.PutUint16(d.w[1:], config)
	if err := d.bus.Tx(d.address, d.w[:3], nil); err != nil {
		return 0, bus.Fault(d.String(), "start a conversion", err)
	}
	if err := d.clock.Sleep(ctx, conversionTime+wakeUp); err != nil {
		return 0, fmt.Errorf("wait for a conversion: %w", err)
	}
	if err := d.await(ctx, config); err != nil {
		return 0, err
	}
	code, err := d.read("read the conversion", regConversion)
	return int16(code), err
}

// await reads the configuration until no conversion is running.
func (d *Dev) await(ctx context.Context, config uint16) error {
	for range attempts {
		got, err := d.read("read the configuration", regConfig)
		if err != nil {
			return err
		}
		switch {
		case got == 0xFFFF:
			return d.fault(sensors.StuckHigh, "configuration ffff")
		case got == 0x0000:
			return d.fault(sensors.StuckLow, "configuration 0000")
		case got&^configStart != config&^configStart:
			return d.fault(sensors.LostConfiguration, "configuration %04x, want %04x", got, config)
		case got&configStart != 0:
			return nil
		}
		if err := d.clock.Sleep(ctx, time.Millisecond); err != nil {
			return fmt.Errorf("wait for a conversion: %w", err)
		}
	}
	return d.fault(sensors.ImpossibleFrame, "still converting after %v", conversionTime+wakeUp+attempts*time.Millisecond)
}

func (d *Dev) read(what string, reg byte) (uint16, error) {
	d.w[0] = reg
	if err := d.bus.Tx(d.address, d.w[:1], d.r[:]); err != nil {
		return 0, bus.Fault(d.String(), what, err)
	}
	return binary.BigEndian.Uint16(d.r[:]), nil
}

func (d *Dev) fault(code sensors.Code, detail string, args ...any) error {
	return &sensors.Fault{Code: code, Device: d.String(), Detail: fmt.Sprintf(detail, args...)}
}
