package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// System is the set of units in which a site's screens, notifications and reports are
// written. The zero value is US customary, as the configuration's default is.
type System uint8

// The systems.
const (
	US System = iota // °F, in. w.c., ft, Btu/h
	SI               // °C, Pa, m, kW
)

// String returns the name that the configuration uses.
func (s System) String() string {
	switch s {
	case US:
		return "us"
	case SI:
		return "si"
	default:
		return fmt.Sprintf("system(%d)", uint8(s))
	}
}

// MarshalText writes "us" or "si".
func (s System) MarshalText() ([]byte, error) {
	if s > SI {
		return nil, fmt.Errorf("no such system of units: %d", uint8(s))
	}
	return []byte(s.String()), nil
}

// UnmarshalText accepts "us" and "si".
func (s *System) UnmarshalText(text []byte) error {
	switch string(text) {
	case "us":
		*s = US
	case "si":
		*s = SI
	default:
		return fmt.Errorf("%q is not a system of units; there are \"us\" and \"si\"", text)
	}
	return nil
}

// Temperature writes a temperature given in °C: "1000 °F", "538 °C".
func (s System) Temperature(celsius float64) string {
	if s == SI {
		return fixed(celsius, 0) + " °C"
	}
	return fixed(Fahrenheit(celsius), 0) + " °F"
}

// TemperatureDifference writes a difference given in K: "20 °F", "11 K". The text must
// stand where nobody can take it for a temperature ("… above the room").
func (s System) TemperatureDifference(kelvin float64) string {
	if s == SI {
		return fixed(kelvin, 0) + " K"
	}
	return fixed(kelvin*9/5, 0) + " °F"
}

// Pressure writes a draft or another small pressure given in Pa: "0.050 in. w.c.",
// "12.4 Pa". A thousandth of an inch is 0.25 Pa, half of what a draft reading resolves;
// the places are fixed so that a figure on a screen does not jump about.
func (s System) Pressure(pascals float64) string {
	if s == SI {
		return fixed(pascals, 1) + " Pa"
	}
	return fixed(pascals/PascalsPerInH2O, 3) + " in. w.c."
}

// AbsolutePressure writes the pressure of the air given in Pa: "29.92 inHg", "1013 hPa".
func (s System) AbsolutePressure(pascals float64) string {
	if s == SI {
		return fixed(pascals/100, 0) + " hPa"
	}
	return fixed(pascals/PascalsPerInHg, 2) + " inHg"
}

// Length writes a length given in m, to a tenth where there is one: "25 ft", "7.6 m".
func (s System) Length(metres float64) string {
	if s == SI {
		return tenth(metres) + " m"
	}
	return tenth(metres/MetresPerFoot) + " ft"
}

// Power writes a heat flow given in W: "10,000 Btu/h", to a hundred; "2.9 kW".
func (s System) Power(watts float64) string {
	if s == SI {
		return fixed(watts/1000, 1) + " kW"
	}
	const btuPerHour = JoulesPerBtu / 3600 // W
	return grouped(fixed(math.Round(watts/btuPerHour/100)*100, 0)) + " Btu/h"
}

// fixed writes v with so many decimals, and no minus before a zero.
func fixed(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

func tenth(v float64) string { return strings.TrimSuffix(fixed(v, 1), ".0") }

// grouped puts a comma before every three digits of a whole number.
func grouped(digits string) string {
	sign := ""
	if strings.HasPrefix(digits, "-") {
		sign, digits = "-", digits[1:]
	}
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + "," + digits[i:]
	}
	return sign + digits
}
