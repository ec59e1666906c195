package thermocouple

import "fmt"

// Compensate returns the temperature in °C of the hot junction from the voltage in mV
// measured at the terminals and the terminals' temperature in °C:
// t = E⁻¹(mV + E(coldJunction)). Adding the terminals' temperature to that of an
// uncompensated voltage instead would be wrong, because E is not a straight line.
func (t Type) Compensate(mV, coldJunction float64) (celsius float64, err error) {
	cold, err := t.Voltage(coldJunction)
	if err != nil {
		return 0, fmt.Errorf("compensate the cold junction: %w", err)
	}
	return t.Temperature(mV + cold)
}

// FromLinear returns the true temperature in °C of the hot junction from the one that
// an amplifier reports which takes E for a straight line of gain µV/°C through the
// terminals' temperature: the voltage is gain·(reported − coldJunction), and what
// remains is Compensate. The error is that of the reported numbers; the correction
// itself adds none.
func (t Type) FromLinear(reported, coldJunction, gain float64) (celsius float64, err error) {
	return t.Compensate(gain*(reported-coldJunction)/1000, coldJunction)
}
