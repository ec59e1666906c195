package main

import "fluewright/daemon/internal/units"

// Quantities of the command line: they carry their unit, as in the configuration.
type (
	length      float64
	pressure    float64
	temperature float64
	power       float64
)

// UnmarshalText reads "25 ft".
func (q *length) UnmarshalText(text []byte) error { return read(q, text, units.ParseLength) }

// UnmarshalText reads "0.05 inH2O".
func (q *pressure) UnmarshalText(text []byte) error { return read(q, text, units.ParsePressure) }

// UnmarshalText reads "450 degF".
func (q *temperature) UnmarshalText(text []byte) error { return read(q, text, units.ParseTemperature) }

// UnmarshalText reads "100000 Btu/h".
func (q *power) UnmarshalText(text []byte) error { return read(q, text, units.ParsePower) }

func read[Q ~float64](q *Q, text []byte, parse func(string) (float64, error)) error {
	v, err := parse(string(text))
	*q = Q(v)
	return err
}
