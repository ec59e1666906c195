package mcp9600

import (
	"encoding/binary"
	"fmt"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// Registers (Table 5-1).
const (
	regHot      = 0x00 // T_H, compensated
	regDelta    = 0x01 // T_Δ
	regCold     = 0x02 // T_C
	regStatus   = 0x04
	regSensor   = 0x05 // thermocouple type and filter
	regDevice   = 0x06 // resolutions and mode
	regAlert    = 0x10 // limit of alert 1, which is not used
	regIdentity = 0x20
)

// STATUS (section 5.2.1).
const (
	statusUpdated = 0x40 // T_H is new since the bit was cleared
	statusShort   = 0x20 // MCP9601 only
	statusRange   = 0x10 // T_H and T_Δ stand still; on the MCP9601 an open input too
)

// modeShutdown is the mode in bits 1 and 0 of the device configuration in which nothing is
// measured (section 5.2.3); 00 is the normal one.
const modeShutdown = 0x01

// Part is a chip by its name in the configuration.
type Part string

// The parts.
const (
	MCP9600 Part = "mcp9600"
	MCP9601 Part = "mcp9601"
)

// identities is the upper byte of the identity; the lower is the revision.
var identities = map[Part]byte{MCP9600: 0x40, MCP9601: 0x41}

// typeCodes is bits 6 to 4 of the sensor configuration (section 5.2.2), by
// thermocouple.Type.
var typeCodes = [...]byte{
	thermocouple.K: 0,
	thermocouple.J: 1,
	thermocouple.T: 2,
	thermocouple.N: 3,
	thermocouple.S: 4,
	thermocouple.E: 5,
	thermocouple.B: 6,
	thermocouple.R: 7,
}

// Limits of the cold junction, °C: the chip works from −40 to 125 °C, and terminals above
// 60 °C are near something hot (common practice, no source). 85 °C is where the other
// amplifiers' terminals end, held here too.
const (
	coldSuspect = 60
	coldHigh    = 85
	coldLow     = -40
)

// closeEnough is how far T_H may be from T_Δ + T_C, °C: each is rounded to 1/16, and one
// may be a conversion younger than the others when the flue warms by 5 °C/s.
const closeEnough = 2.0

// Words are the three temperatures as they came, 1/16 °C.
type Words struct{ Hot, Delta, Cold int16 }

// word reads a temperature: big-endian, two's complement (Registers 5-2 to 5-4).
func word(b []byte) int16 { return int16(binary.BigEndian.Uint16(b)) }

func celsius(w int16) float64 { return float64(w) / 16 }

// agree reports whether the words can be those of one conversion.
func (w Words) agree() bool {
	d := celsius(w.Hot) - celsius(w.Delta) - celsius(w.Cold)
	return d <= closeEnough && d >= -closeEnough
}

// Values is what the words say, in °C.
type Values struct{ HotJunction, ColdJunction float64 }

// Decode judges a status and the words that were read with it, from a chip that is set to
// type t. The error is a *sensors.Fault without its device, and no value comes with it.
func Decode(status byte, w Words, part Part, t thermocouple.Type) (Values, error) {
	if err := wiring(status, part); err != nil {
		return Values{}, err
	}
	if status&statusUpdated == 0 {
		return Values{}, fault(sensors.NotReady, "converting")
	}
	v := Values{HotJunction: celsius(w.Hot), ColdJunction: celsius(w.Cold)}
	coldest, hottest := t.InverseRange()
	switch {
	case !w.agree():
		f := fault(sensors.ImpossibleFrame, "hot junction %.2f °C is not %.2f + %.2f °C", v.HotJunction, celsius(w.Delta), v.ColdJunction)
		f.Advice = stretchAdvice
		return Values{}, f
	case v.ColdJunction > coldHigh || v.ColdJunction < coldLow:
		f := fault(sensors.ColdJunctionRange, "%.2f °C", v.ColdJunction)
		if v.ColdJunction > coldHigh {
			f.Advice = "Move the amplifier away from the furnace: above 85 °C at its terminals it measures wrongly."
		}
		return Values{}, f
	case !t.Valid() || !(v.HotJunction >= coldest && v.HotJunction <= hottest):
		return Values{}, fault(sensors.OutOfRange, "%.2f °C of type %v", v.HotJunction, t)
	}
	return v, nil
}

// wiring is what the status says of the thermocouple.
func wiring(status byte, part Part) error {
	switch {
	case status&statusShort != 0 && part == MCP9601:
		return fault(sensors.ShortCircuit, "STATUS 0x%02x", status)
	case status&statusRange != 0 && part == MCP9601:
		return fault(sensors.OpenCircuit, "STATUS 0x%02x: open, or beyond its type's range", status)
	case status&statusRange != 0:
		return fault(sensors.OutOfRange, "STATUS 0x%02x", status)
	}
	return nil
}

// stretchAdvice: the overlay and the parameter are those of the Raspberry Pi firmware
// (/boot/overlays/README); 10 kHz is the chip's slowest (timing table, p. 9).
const stretchAdvice = "The bus may not wait for the chip (clock stretching): put it on a bus of dtoverlay=i2c-gpio, or set dtparam=i2c_arm_baudrate=10000."

func fault(code sensors.Code, detail string, args ...any) *sensors.Fault {
	return &sensors.Fault{Code: code, Detail: fmt.Sprintf(detail, args...)}
}
