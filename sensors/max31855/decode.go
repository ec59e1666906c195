package max31855

import (
	"encoding/binary"
	"fmt"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// Bits of the frame (Table 3, p. 10).
const (
	bitReserved1 = 1 << 17
	bitFault     = 1 << 16
	bitReserved0 = 1 << 3
	bitSupply    = 1 << 2 // SCV
	bitGround    = 1 << 1 // SCG
	bitOpen      = 1 << 0 // OC

	frameSize = 4
)

// Limits of the cold junction, °C. The chip works up to 125 °C, but its cold junction is
// specified to 85 °C (p. 4), and terminals above 60 °C are near something hot (common
// practice, no source).
const (
	coldSuspect = 60
	coldHigh    = 85
	coldLow     = -55
)

// Values is what a frame says, in °C.
type Values struct {
	HotJunction  float64 // corrected for the thermocouple's curve
	Reported     float64 // as the chip has it, on a straight line
	ColdJunction float64
}

// Decode reads a frame of the chip that is made for type t. The error is a
// *sensors.Fault without its device, and no value comes with it.
func Decode(frame []byte, t thermocouple.Type) (Values, error) {
	if len(frame) != frameSize {
		return Values{}, fault(sensors.ImpossibleFrame, "%d bytes, want %d", len(frame), frameSize)
	}
	w := binary.BigEndian.Uint32(frame)
	bits := w & (bitSupply | bitGround | bitOpen)
	switch {
	case w == 0:
		return Values{}, fault(sensors.StuckLow, "all bits 0")
	case w == 0xFFFFFFFF:
		return Values{}, fault(sensors.StuckHigh, "all bits 1")
	case w&(bitReserved1|bitReserved0) != 0:
		return Values{}, fault(sensors.ImpossibleFrame, "%08x: a reserved bit is set", w)
	case (w&bitFault != 0) != (bits != 0):
		return Values{}, fault(sensors.ImpossibleFrame, "%08x: the fault bit is not the sum of the faults", w)
	// A short before an open: where both are told, the short is the cause.
	case bits&bitSupply != 0:
		return Values{}, fault(sensors.ShortToSupply, "%08x", w)
	case bits&bitGround != 0:
		return Values{}, fault(sensors.ShortToGround, "%08x", w)
	case bits&bitOpen != 0:
		return Values{}, fault(sensors.OpenCircuit, "%08x", w)
	}
	v := Values{Reported: reported(w), ColdJunction: coldJunction(w)}
	if v.ColdJunction > coldHigh || v.ColdJunction < coldLow {
		f := fault(sensors.ColdJunctionRange, "%08x: %.2f °C", w, v.ColdJunction)
		if v.ColdJunction > coldHigh {
			f.Advice = "Move the amplifier away from the furnace: above 85 °C at its terminals it measures wrongly."
		}
		return Values{}, f
	}
	var err error
	if v.HotJunction, err = Linearise(t, v.Reported, v.ColdJunction); err != nil {
		f := fault(sensors.OutOfRange, "%08x: %.2f °C reported over %.2f °C", w, v.Reported, v.ColdJunction)
		f.Err = err
		return Values{}, f
	}
	return v, nil
}

// reported is D31 to D18: 14 bits, signed, 0.25 °C.
func reported(w uint32) float64 { return float64(int32(w)>>18) / 4 }

// coldJunction is D15 to D4: 12 bits, signed, 0.0625 °C.
func coldJunction(w uint32) float64 { return float64(int16(w)>>4) / 16 }

func fault(code sensors.Code, detail string, args ...any) *sensors.Fault {
	return &sensors.Fault{Code: code, Detail: fmt.Sprintf(detail, args...)}
}
