package max31855

import (
	"fmt"

	"fluewright/sensors/thermocouple"
)

// Gain returns the µV/°C by which the chip made for that thermocouple type divides the
// voltage, and whether there is such a chip (MAX31855 datasheet 19-5793 Rev 5, p. 3 and
// table 1 on p. 8, first column).
func Gain(t thermocouple.Type) (microvolts float64, made bool) {
	switch t {
	case thermocouple.K:
		return 41.276, true
	case thermocouple.J:
		return 57.953, true
	case thermocouple.N:
		return 36.256, true
	case thermocouple.T:
		return 52.18, true
	case thermocouple.E:
		return 76.373, true
	case thermocouple.S:
		return 9.587, true
	case thermocouple.R:
		return 10.506, true
	default:
		return 0, false
	}
}

// Linearise returns the true temperature in °C from the two that the chip reports.
//
// The chip takes the thermocouple for a straight line (datasheet 19-5793 Rev 5, p. 8:
// V = gain·(T_R − T_AMB), "apply appropriate correction"). Uncorrected, type K is up to
// 7 °C high at 771 °C and 10.6 °C low at 1149 °C, type N up to 36 °C low.
// The result's own error is the half step of the reported 0.25 °C. The fault bits must
// be clear: what the chip reports beside one means nothing.
func Linearise(t thermocouple.Type, reported, coldJunction float64) (celsius float64, err error) {
	gain, made := Gain(t)
	if !made {
		return 0, fmt.Errorf("linearise: no MAX31855 is made for type %v", t)
	}
	celsius, err = t.FromLinear(reported, coldJunction, gain)
	if err != nil {
		return 0, fmt.Errorf("linearise: %w", err)
	}
	return celsius, nil
}
