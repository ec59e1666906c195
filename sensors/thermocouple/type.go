package thermocouple

import "fmt"

// Type is a thermocouple's letter. The zero Type is none, so that a forgotten setting
// cannot pass for a thermocouple.
type Type uint8

// The letter types of IEC 60584-1.
const (
	B Type = iota + 1 // platinum-30 % rhodium / platinum-6 % rhodium
	E                 // nickel-chromium / copper-nickel
	J                 // iron / copper-nickel
	K                 // nickel-chromium / nickel-aluminium
	N                 // nickel-chromium-silicon / nickel-silicon
	R                 // platinum-13 % rhodium / platinum
	S                 // platinum-10 % rhodium / platinum
	T                 // copper / copper-nickel
)

const letters = "?BEJKNRST"

// Types lists the types in the order of their letters.
func Types() []Type { return []Type{B, E, J, K, N, R, S, T} }

// Valid reports whether t is one of the eight types.
func (t Type) Valid() bool { return t >= B && t <= T }

// String returns the letter, "?" for no type.
func (t Type) String() string {
	if !t.Valid() {
		return letters[:1]
	}
	return letters[t : t+1]
}

// ParseType returns the type with that letter, a capital as the standards write it.
func ParseType(letter string) (Type, error) {
	for _, t := range Types() {
		if letter == t.String() {
			return t, nil
		}
	}
	return 0, fmt.Errorf("thermocouple type %q: want one of B, E, J, K, N, R, S, T", letter)
}

// Range returns the temperatures in °C between which the reference function E(t) is
// defined, (0, 0) for no type (NIST Monograph 175).
func (t Type) Range() (coldest, hottest float64) {
	if !t.Valid() {
		return 0, 0
	}
	p := forward[t]
	return p[0].from, p[len(p)-1].to
}

// InverseRange returns the temperatures in °C between which a voltage can be turned
// into a temperature, (0, 0) for no type. It is narrower than Range at the cold end,
// where the voltage hardly changes or, in type B, has a minimum (NIST Monograph 175).
func (t Type) InverseRange() (coldest, hottest float64) {
	if !t.Valid() {
		return 0, 0
	}
	b := backward[t]
	return b[0].coldest, b[len(b)-1].hottest
}

// RangeError says that a temperature or a voltage lies outside what a type's function
// covers. NaN lies outside everything, and everything lies outside no type.
type RangeError struct {
	Type     Type
	Value    float64
	Unit     string // of all three numbers: "°C" or "mV"
	Min, Max float64
}

// Error says what lies outside what.
func (e *RangeError) Error() string {
	if !e.Type.Valid() {
		return "no thermocouple type given"
	}
	return fmt.Sprintf("type %v thermocouple: %.3f %s is outside %.3f to %.3f %s",
		e.Type, e.Value, e.Unit, e.Min, e.Max, e.Unit)
}
