package transmitter

import (
	"fmt"

	"fluewright/sensors"
)

// Signal is how the transmitter tells its pressure.
type Signal uint8

// The signals. The zero Signal is none.
const (
	Ratiometric Signal = iota + 1 // 0.1 to 0.9 of the supply
	Current                       // 4 to 20 mA
)

// Bounds of the signal, in spans above its zero: 3.6, 3.8, 20.5 and 21 mA of 4 to 20 mA
// (NAMUR NE 43).
const (
	failedLow  = (3.6 - 4) / 16
	lowest     = (3.8 - 4) / 16
	highest    = (20.5 - 4) / 16
	failedHigh = (21.0 - 4) / 16
)

// Bounds of a ratiometric transmitter's supply, V: 5 V within a tenth, which is what
// their makers allow (common practice, no source).
const supplyLow, supplyHigh = 4.5, 5.5

// Scale turns a signal into a pressure.
type Scale struct {
	Signal Signal
	// Low and High are the pressures at the ends of the signal, Pa.
	Low, High float64
	// Divider is by how much a resistor divider lowers the voltages of a ratiometric
	// transmitter before the converter: 1 or 2, the same for signal and supply.
	Divider float64
	// Shunt is the resistor of a current, Ω.
	Shunt float64
}

// Decode returns the pressure in Pa that the voltages at the converter's inputs mean;
// supply is used by a ratiometric signal only. The error is a *sensors.Fault without its
// device, and no value comes with it.
func (s Scale) Decode(signal, supply float64) (pascals float64, err error) {
	var spans float64
	if s.Signal == Ratiometric {
		signal, supply = signal*s.Divider, supply*s.Divider
		// Written so that NaN fails, here and below.
		if !(supply >= supplyLow && supply <= supplyHigh) {
			return 0, s.fault(sensors.SignalSupply, signal, supply)
		}
		spans = (signal/supply - 0.1) / 0.8
	} else {
		spans = (signal/s.Shunt*1000 - 4) / 16
	}
	switch {
	case !(spans >= failedLow):
		return 0, s.fault(sensors.SignalLow, signal, supply)
	case !(spans <= failedHigh):
		return 0, s.fault(sensors.SignalHigh, signal, supply)
	case spans < lowest || spans > highest:
		f := s.fault(sensors.OutOfRange, signal, supply)
		f.Advice = fmt.Sprintf("The pressure is beyond the transmitter's %g to %g Pa; check the hoses and that the configured range is the transmitter's.", s.Low, s.High)
		return 0, f
	}
	return s.Low + spans*(s.High-s.Low), nil
}

// fault says what was seen in the signal's own unit.
func (s Scale) fault(code sensors.Code, signal, supply float64) *sensors.Fault {
	f := &sensors.Fault{Code: code}
	if s.Signal == Ratiometric {
		f.Detail = fmt.Sprintf("%.3f V at a supply of %.3f V", signal, supply)
	} else {
		f.Detail = fmt.Sprintf("%.2f mA", signal/s.Shunt*1000)
	}
	return f
}
