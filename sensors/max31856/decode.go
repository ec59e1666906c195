package max31856

import (
	"fmt"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// Limits of the cold junction, °C. The chip measures up to 125 °C, but is accurate to
// 85 °C only (p. 4), and terminals above 60 °C are near something hot (common practice,
// no source).
const (
	coldSuspect = 60
	coldHigh    = 85
	coldLow     = -55
)

// Values is what a frame of registers says, in °C.
type Values struct {
	HotJunction  float64
	ColdJunction float64
}

// Decode reads the registers 00h to 0Fh of a chip that measures type t. The error is a
// *sensors.Fault without its device: stuck lines, a conversion that still runs, or what
// the status register says; no value comes with it. The limits of the type are no
// measurement either: the chip reports them for anything beyond (p. 15).
func Decode(regs []byte, t thermocouple.Type) (Values, error) {
	if len(regs) != registers || !t.Valid() {
		return Values{}, fault(sensors.ImpossibleFrame, "%d registers of type %v", len(regs), t)
	}
	info := types[t]
	if code := stuck(regs); code != "" {
		return Values{}, fault(code, "all registers 0x%02x", regs[0])
	}
	v := Values{
		HotJunction:  hotJunction(regs[regLTCBH], regs[regLTCBM], regs[regLTCBL]),
		ColdJunction: coldJunction(regs[regCJTH], regs[regCJTL]),
	}
	sr := regs[regSR]
	switch {
	// First, since it suspends all else: the other bits are old then (p. 14, p. 26).
	case sr&srVoltage != 0:
		return Values{}, fault(sensors.InputVoltage, "SR 0x%02x", sr)
	case sr&srOpen != 0:
		return Values{}, fault(sensors.OpenCircuit, "SR 0x%02x", sr)
	case regs[regCR0]&cr0OneShot != 0:
		return Values{}, fault(sensors.NotReady, "converting")
	case sr&(srColdRange|srColdHigh|srColdLow) != 0 || v.ColdJunction > coldHigh || v.ColdJunction < coldLow:
		f := fault(sensors.ColdJunctionRange, "%.2f °C, SR 0x%02x", v.ColdJunction, sr)
		if v.ColdJunction > coldHigh {
			f.Advice = "Move the amplifier away from the furnace: above 85 °C at its terminals it measures wrongly."
		}
		return Values{}, f
	case sr&(srHotRange|srHotHigh|srHotLow) != 0 || v.HotJunction <= info.low || v.HotJunction >= info.high:
		return Values{}, fault(sensors.OutOfRange, "%.2f °C of type %v, SR 0x%02x", v.HotJunction, t, sr)
	}
	return v, nil
}

// stuck says which way the data line is stuck when all bytes are the same.
func stuck(regs []byte) sensors.Code {
	for _, b := range regs {
		if b != regs[0] {
			return ""
		}
	}
	switch regs[0] {
	case 0x00:
		return sensors.StuckLow
	case 0xFF:
		return sensors.StuckHigh
	}
	return ""
}

// hotJunction is the linearised temperature: 19 bits, signed, 2^-7 °C, left-justified in
// 24; the low five bits mean nothing (Table 6, p. 18).
func hotJunction(high, middle, low byte) float64 {
	code := int32(uint32(high)<<24|uint32(middle)<<16|uint32(low)<<8) >> 13
	return float64(code) / 128
}

// coldJunction is the terminals' temperature: 14 bits, signed, 2^-6 °C, left-justified
// in 16; the low two bits mean nothing (p. 24).
func coldJunction(high, low byte) float64 {
	code := int16(uint16(high)<<8|uint16(low)) >> 2
	return float64(code) / 64
}

func fault(code sensors.Code, detail string, args ...any) *sensors.Fault {
	return &sensors.Fault{Code: code, Detail: fmt.Sprintf(detail, args...)}
}
