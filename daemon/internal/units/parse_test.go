package units_test

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/units"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestParseGivesSI(t *testing.T) {
	tests := []struct {
		text  string
		parse func(string) (float64, error)
		want  float64
		tol   float64
	}{
		// 1000 kg/m³ · 9.80665 m/s² · 0.0254 m, and the steps of a draft gauge with it.
		{"1 inH2O", units.ParsePressure, 1000 * 9.80665 * 0.0254, 1e-9},
		{"0.02 inH2O", units.ParsePressure, 4.98, 0.005},
		{".03 inH2O", units.ParsePressure, 7.47, 0.005},
		{"0.05 in. w.c.", units.ParsePressure, 12.45, 0.005},
		{"-0.10 inH2O", units.ParsePressure, -24.91, 0.005},
		{"12 Pa", units.ParsePressure, 12, 0},
		{"+12.5Pa", units.ParsePressure, 12.5, 0},
		{"1013.25 hPa", units.ParsePressure, 101325, 0},
		{"966 mbar", units.ParsePressure, 96600, 0},
		{"101.325 kPa", units.ParsePressure, 101325, 1e-9},
		// CRC Handbook: 29.92 inHg at 0 °C is the standard atmosphere, to the last digit.
		{"29.92 inHg", units.ParsePressure, 101325, 0.005 * 3386.38},

		// By definition, and the pairs that UL 103 prints.
		{"32 degF", units.ParseTemperature, 0, 0},
		{"212 degF", units.ParseTemperature, 100, 0},
		{"-40 °F", units.ParseTemperature, -40, 0},
		{"1000 degF", units.ParseTemperature, 538, 0.5},
		{"1700 degF", units.ParseTemperature, 927, 0.5},
		{"2100 degF", units.ParseTemperature, 1149, 0.5},
		{"704 degC", units.ParseTemperature, 704, 0},
		{"20 °C", units.ParseTemperature, 20, 0},

		// UL 103 prints a rise of 175 °F as 97 °C.
		{"175 degF-diff", units.ParseTemperatureDifference, 97, 0.5},
		{"36 degF-diff", units.ParseTemperatureDifference, 20, 0},
		{"20 K", units.ParseTemperatureDifference, 20, 0},

		{"25 ft", units.ParseLength, 7.62, 1e-12},
		{"6 in", units.ParseLength, 0.1524, 1e-12},
		{"7.6 m", units.ParseLength, 7.6, 0},
		{"150 mm", units.ParseLength, 0.15, 0},
		{"60 Hz", units.ParseFrequency, 60, 0},
		{"100 Ohm", units.ParseResistance, 100, 0},
		{"49.9 Ω", units.ParseResistance, 49.9, 0},
		{"1.5 GB", units.ParseSize, 1.5e9, 0},
		{"50 MB", units.ParseSize, 50e6, 0},
		{"  12   Pa ", units.ParsePressure, 12, 0},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			got, err := tt.parse(tt.text)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got-tt.want) > tt.tol {
				t.Errorf("got %v, want %v within %v", got, tt.want, tt.tol)
			}
		})
	}
}

func TestParseDuration(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"100 ms": 100 * time.Millisecond,
		"0.1 s":  100 * time.Millisecond,
		"90 s":   90 * time.Second,
		"10 min": 10 * time.Minute,
		"1.5 h":  90 * time.Minute,
		"-1 s":   -time.Second,
	} {
		got, err := units.ParseDuration(text)
		if err != nil || got != want {
			t.Errorf("%q: got %v, %v, want %v", text, got, err, want)
		}
	}
}

func TestParseSpan(t *testing.T) {
	const day = 24 * time.Hour
	for text, want := range map[string]time.Duration{"200 days": 200 * day, "1 day": day, "10 years": 3650 * day, "1 year": 365 * day} {
		if got, err := units.ParseSpan(text); err != nil || got != want {
			t.Errorf("%q: got %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"400 years", "10 min", "10 h"} {
		if got, err := units.ParseSpan(text); err == nil {
			t.Errorf("%q is accepted as %v", text, got)
		}
	}
}

func TestParseSaysWhatWouldBeRight(t *testing.T) {
	floats := func(f func(string) (float64, error)) func(string) error {
		return func(s string) error { _, err := f(s); return err }
	}
	pressure, temperature := floats(units.ParsePressure), floats(units.ParseTemperature)
	difference := floats(units.ParseTemperatureDifference)
	duration := func(s string) error { _, err := units.ParseDuration(s); return err }

	tests := []struct {
		text  string
		parse func(string) error
		want  string
	}{
		{"0.05", pressure, `"0.05" has no unit; a pressure is given in inH2O, in. w.c., Pa, hPa, mbar, kPa, inHg`},
		{"0.05 inWC", pressure, `"0.05 inWC" is not in a unit of pressure; a pressure is given in inH2O, in. w.c., Pa, hPa, mbar, kPa, inHg`},
		{"12 pa", pressure, `"12 pa" is not in a unit of pressure; a pressure is given in inH2O, in. w.c., Pa, hPa, mbar, kPa, inHg`},
		{"Pa", pressure, `"Pa" does not begin with a number; write it like "1 inH2O"`},
		{"", pressure, `"" does not begin with a number; write it like "1 inH2O"`},
		{"0,05 inH2O", pressure, `"0,05 inH2O" has a comma; decimals follow a point, and thousands are not grouped`},
		{"1,300 degF", temperature, `"1,300 degF" has a comma; decimals follow a point, and thousands are not grouped`},
		{"5. Pa", pressure, `"5. Pa": "5." is not a number`},
		{"1-2 Pa", pressure, `"1-2 Pa": "1-2" is not a number`},
		{"1e3 Pa", pressure, `"1e3 Pa" is not in a unit of pressure; a pressure is given in inH2O, in. w.c., Pa, hPa, mbar, kPa, inHg`},
		{"977 K", temperature, `"977 K" is not in a unit of temperature; a temperature is given in degF, °F, degC, °C`},
		{"20 degF-diff", temperature, `"20 degF-diff" is not in a unit of temperature; a temperature is given in degF, °F, degC, °C`},
		{"20 degF", difference, `"20 degF" is not in a unit of temperature difference; a temperature difference is given in degF-diff, K (degF and degC are points on a scale, not steps)`},
		{"10 sec", duration, `"10 sec" is not in a unit of time; a time is given in ms, s, min, h`},
		{"10000000 h", duration, `"10000000 h" is longer than 292 years`},
		{strings.Repeat("9", 400) + " Pa", pressure, strconv.Quote(strings.Repeat("9", 400)+" Pa") + ` is too large`},
		{strings.Repeat("9", 308) + " kPa", pressure, strconv.Quote(strings.Repeat("9", 308)+" kPa") + ` is too large`},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			err := tt.parse(tt.text)
			if err == nil {
				t.Fatal("accepted")
			}
			if diff := cmp.Diff(tt.want, err.Error()); diff != "" {
				t.Errorf("message (-want +got):\n%s", diff)
			}
		})
	}
}

// A limit taken for a margin, or a margin for a limit, would be a dangerous mistake.
func TestNoTextIsBothTemperatureAndDifference(t *testing.T) {
	for _, unit := range []string{"degF", "degC", "°F", "°C", "K", "degF-diff", "F", "C"} {
		_, asPoint := units.ParseTemperature("20 " + unit)
		_, asStep := units.ParseTemperatureDifference("20 " + unit)
		if asPoint == nil && asStep == nil {
			t.Errorf("%q is accepted as both", unit)
		}
	}
}

// What is read on a screen may be typed into the configuration, and means the same to
// within the places that the screen shows.
func TestScreenTextParsesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom([]units.System{units.US, units.SI}).Draw(t, "system")
		back := func(text string, parse func(string) (float64, error), want, half float64) {
			t.Helper()
			got, err := parse(text)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got-want) > half*(1+1e-9) {
				t.Fatalf("%v was written %q and read back as %v", want, text, got)
			}
		}
		pa := rapid.Float64Range(-500, 500).Draw(t, "pascals")
		back(s.Pressure(pa), units.ParsePressure, pa, 0.125)
		c := rapid.Float64Range(-200, 1800).Draw(t, "celsius")
		back(s.Temperature(c), units.ParseTemperature, c, 0.5)
		m := rapid.Float64Range(-500, 5000).Draw(t, "metres")
		back(s.Length(m), units.ParseLength, m, 0.05)
		abs := rapid.Float64Range(50e3, 110e3).Draw(t, "absolute")
		back(s.AbsolutePressure(abs), units.ParsePressure, abs, 50)
	})
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{
		"0.05 inH2O", "12 Pa", "0.05 in. w.c.", "1300 degF", "704 °C", "20 K", "36 degF-diff",
		"25 ft", "90 s", "60 Hz", "", "1", "-", "1,5 m", "1e9 s", ".5 h", "- 5 Pa", "9999999999999999999 h",
	} {
		f.Add(seed)
	}
	parsers := []func(string) (float64, error){
		units.ParsePressure, units.ParseTemperature, units.ParseTemperatureDifference,
		units.ParseLength, units.ParseFrequency,
		func(s string) (float64, error) { d, err := units.ParseDuration(s); return d.Seconds(), err },
	}
	f.Fuzz(func(t *testing.T, text string) {
		accepted := 0
		for i, parse := range parsers {
			v, err := parse(text)
			if err != nil {
				continue
			}
			accepted++
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("parser %d: %q gives %v", i, text, v)
			}
			if !strings.ContainsAny(text, "0123456789") {
				t.Errorf("parser %d: %q has no digit and gives %v", i, text, v)
			}
			// The same number on the other side of zero, where the scale begins at zero.
			if u := strings.TrimSpace(text); i != 1 && u[0] != '-' && u[0] != '+' {
				if minus, err := parse("-" + u); err != nil || minus != -v {
					t.Errorf("parser %d: %q gives %v, negated %v, %v", i, text, v, minus, err)
				}
			}
		}
		if accepted > 1 {
			t.Errorf("%q is accepted in %d dimensions", text, accepted)
		}
	})
}
