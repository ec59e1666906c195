package units

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// unit is one accepted spelling: SI = (number + offset) · mul / div. Division is kept
// apart from multiplication so that 212 degF is 100 °C and nothing beside it.
type unit struct {
	spelling         string
	offset, mul, div float64
}

// dimension is what a quantity is, and how it may be written. The first spelling is the
// one that messages suggest; those after it are as screens print them or as gauges and
// data sheets are marked.
type dimension struct {
	name  string
	units []unit
	hint  string // said with every error about a unit
}

var (
	pressure = dimension{name: "pressure", units: []unit{
		{"inH2O", 0, PascalsPerInH2O, 1},
		{"in. w.c.", 0, PascalsPerInH2O, 1},
		{"Pa", 0, 1, 1},
		{"hPa", 0, 100, 1},
		{"mbar", 0, 100, 1},
		{"kPa", 0, 1000, 1},
		{"inHg", 0, PascalsPerInHg, 1},
	}}
	temperature = dimension{name: "temperature", units: []unit{
		{"degF", -32, 5, 9},
		{"°F", -32, 5, 9},
		{"degC", 0, 1, 1},
		{"°C", 0, 1, 1},
	}}
	difference = dimension{name: "temperature difference", units: []unit{
		{"degF-diff", 0, 5, 9},
		{"K", 0, 1, 1},
	}, hint: " (degF and degC are points on a scale, not steps)"}
	length = dimension{name: "length", units: []unit{
		{"ft", 0, MetresPerFoot, 1},
		{"in", 0, MetresPerFoot, 12},
		{"m", 0, 1, 1},
		{"mm", 0, 1, 1000},
	}}
	duration = dimension{name: "time", units: []unit{
		{"ms", 0, 1, 1000},
		{"s", 0, 1, 1},
		{"min", 0, 60, 1},
		{"h", 0, 3600, 1},
	}}
	span = dimension{name: "span of time", units: []unit{
		{"days", 0, 86400, 1},
		{"day", 0, 86400, 1},
		{"years", 0, 365 * 86400, 1},
		{"year", 0, 365 * 86400, 1},
	}}
	size = dimension{name: "size", units: []unit{
		{"MB", 0, 1e6, 1},
		{"GB", 0, 1e9, 1},
	}}
	power = dimension{name: "power", units: []unit{
		{"Btu/h", 0, JoulesPerBtu, 3600},
		{"kW", 0, 1000, 1},
		{"W", 0, 1, 1},
	}}
	frequency  = dimension{name: "frequency", units: []unit{{"Hz", 0, 1, 1}}}
	resistance = dimension{name: "resistance", units: []unit{{"Ohm", 0, 1, 1}, {"Ω", 0, 1, 1}}}
)

// ParsePressure returns pascals: "0.05 inH2O", "0.05 in. w.c.", "12 Pa", "hPa", "mbar",
// "kPa", "29.92 inHg".
func ParsePressure(text string) (float64, error) { return pressure.parse(text) }

// ParseTemperature returns degrees Celsius: "1300 degF", "704 degC", "°F", "°C".
func ParseTemperature(text string) (float64, error) { return temperature.parse(text) }

// ParseTemperatureDifference returns kelvins: "20 K", "36 degF-diff". It accepts no
// spelling that ParseTemperature does, and the other way round.
func ParseTemperatureDifference(text string) (float64, error) { return difference.parse(text) }

// ParseLength returns metres: "25 ft", "6 in", "7.6 m", "150 mm".
func ParseLength(text string) (float64, error) { return length.parse(text) }

// ParsePower reads a power such as "100000 Btu/h" or "29 kW" as W.
func ParsePower(text string) (float64, error) { return power.parse(text) }

// ParseFrequency returns hertz: "60 Hz".
func ParseFrequency(text string) (float64, error) { return frequency.parse(text) }

// ParseResistance returns ohms: "100 Ohm", "100 Ω".
func ParseResistance(text string) (float64, error) { return resistance.parse(text) }

// ParseDuration returns a time: "500 ms", "90 s", "10 min", "2 h".
func ParseDuration(text string) (time.Duration, error) { return duration.time(text) }

// ParseSpan returns a long time: "200 days", "10 years" of 365 days.
func ParseSpan(text string) (time.Duration, error) { return span.time(text) }

// ParseSize returns bytes: "500 MB", "1 GB", of a million and a thousand million.
func ParseSize(text string) (float64, error) { return size.parse(text) }

func (d *dimension) time(text string) (time.Duration, error) {
	s, err := d.parse(text)
	if err != nil {
		return 0, err
	}
	ns := math.Round(s * 1e9)
	if math.Abs(ns) >= math.MaxInt64 {
		return 0, fmt.Errorf("%q is longer than 292 years", text)
	}
	return time.Duration(ns), nil
}

// number is deliberately narrow: a point for the decimals, no grouping and no exponent,
// so that nothing can be read in two ways.
var number = regexp.MustCompile(`^[+-]?([0-9]+(\.[0-9]+)?|\.[0-9]+)$`)

func (d *dimension) parse(text string) (float64, error) {
	digits, spelling := split(text)
	switch {
	case digits == "":
		return 0, fmt.Errorf("%q does not begin with a number; write it like %q", text, "1 "+d.units[0].spelling)
	case strings.Contains(digits, ","):
		return 0, fmt.Errorf("%q has a comma; decimals follow a point, and thousands are not grouped", text)
	case !number.MatchString(digits):
		return 0, fmt.Errorf("%q: %q is not a number", text, digits)
	case spelling == "":
		return 0, fmt.Errorf("%q has no unit; %s", text, d.accepted())
	}
	for _, u := range d.units {
		if u.spelling != spelling {
			continue
		}
		n, err := strconv.ParseFloat(digits, 64)
		if err != nil {
			return 0, fmt.Errorf("%q is too large", text)
		}
		// Adding zero turns −0 into 0.
		v := (n+u.offset)*u.mul/u.div + 0
		if math.IsInf(v, 0) {
			return 0, fmt.Errorf("%q is too large", text)
		}
		return v, nil
	}
	return 0, fmt.Errorf("%q is not in a unit of %s; %s", text, d.name, d.accepted())
}

// split takes text apart into number and unit; the space between them may be missing.
func split(text string) (digits, spelling string) {
	text = strings.TrimSpace(text)
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.,0123456789", r) })
	if end < 0 {
		end = len(text)
	}
	return text[:end], strings.TrimSpace(text[end:])
}

func (d *dimension) accepted() string {
	spellings := make([]string, len(d.units))
	for i, u := range d.units {
		spellings[i] = u.spelling
	}
	return fmt.Sprintf("a %s is given in %s%s", d.name, strings.Join(spellings, ", "), d.hint)
}
