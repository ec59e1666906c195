// Package calibration finds what a sensor is off by: the zero of a pressure sensor with
// both of its ports open, and a thermocouple's deviation at one or two known
// temperatures. Its procedures are fed readings and know nothing of where those come from
// or where the result is kept.
package calibration

import (
	"errors"
	"fmt"
	"math"
)

// Correction turns a reading into a corrected one: Gain·reading + Offset.
type Correction struct {
	Gain, Offset float64
}

// Apply corrects a reading.
func (c Correction) Apply(v float64) float64 { return float64(c.Gain*v) + c.Offset }

// What a correction may do to a thermocouple. A sound one of the worst class is within
// 0.75 % or 2.5 K, and its amplifier within a few kelvins; what is further off is
// no matter of calibration (judgement, no source).
const (
	mostKelvins = 10.0
	mostGain    = 0.05
	leastSpan   = 50.0 // K between two points
)

// ErrTooFar is returned for a deviation that wants mending and not correcting.
var ErrTooFar = errors.New("too far off to be corrected: look for a wrong thermocouple type, a bad connection or a mixed-up reading")

// Point is a reading beside what is true, °C.
type Point struct {
	Read float64 `json:"read_celsius"`
	True float64 `json:"true_celsius"`
}

// OnePoint returns the correction by an offset.
func OnePoint(p Point) (Correction, error) {
	c := Correction{Gain: 1, Offset: p.True - p.Read}
	if !(math.Abs(c.Offset) <= mostKelvins) {
		return Correction{}, fmt.Errorf("offset of %+.1f K: %w", c.Offset, ErrTooFar)
	}
	return c, nil
}

// TwoPoint returns the straight line through two points, in any order:
//
//	T = T₁ + (t − t₁)·(T₂ − T₁)/(t₂ − t₁)
//
// Beyond them it is an extrapolation: an error of 0.5 K at each of 0 and 100 °C becomes up
// to 5.5 K at 500 °C.
func TwoPoint(a, b Point) (Correction, error) {
	if !(math.Abs(a.True-b.True) >= leastSpan) || a.Read == b.Read {
		return Correction{}, fmt.Errorf("points at %.1f and %.1f °C: want at least %.0f K between them", a.True, b.True, leastSpan)
	}
	for _, p := range []Point{a, b} {
		if _, err := OnePoint(p); err != nil {
			return Correction{}, fmt.Errorf("at %.1f °C: %w", p.True, err)
		}
	}
	gain := (b.True - a.True) / (b.Read - a.Read)
	if !(math.Abs(gain-1) <= mostGain) {
		return Correction{}, fmt.Errorf("gain of %.3f: %w", gain, ErrTooFar)
	}
	return Correction{Gain: gain, Offset: a.True - float64(gain*a.Read)}, nil
}
