package units_test

import (
	"math"
	"testing"

	"fluewright/daemon/internal/units"
)

func TestScreensShowTheSitesUnits(t *testing.T) {
	for _, tt := range []struct{ what, got, want string }{
		{"the continuous limit of UL 103, °F", units.US.Temperature(537.78), "1000 °F"},
		{"the continuous limit of UL 103, °C", units.SI.Temperature(537.78), "538 °C"},
		{"just under zero", units.SI.Temperature(-0.3), "0 °C"},
		{"frost", units.SI.Temperature(-7.5), "-8 °C"},
		{"the surface rise of UL 103, °F", units.US.TemperatureDifference(97.222), "175 °F"},
		{"the surface rise of UL 103, K", units.SI.TemperatureDifference(97.222), "97 K"},
		{"half a tenth of an inch", units.US.Pressure(12.45), "0.050 in. w.c."},
		{"the draft of EN type tests, in", units.US.Pressure(12), "0.048 in. w.c."},
		{"the draft of EN type tests, Pa", units.SI.Pressure(12), "12.0 Pa"},
		{"draft", units.SI.Pressure(12.44), "12.4 Pa"},
		{"draft turned", units.US.Pressure(-4.98), "-0.020 in. w.c."},
		{"no draft", units.US.Pressure(-0.05), "0.000 in. w.c."},
		{"the standard atmosphere, in", units.US.AbsolutePressure(101325), "29.92 inHg"},
		{"the standard atmosphere, hPa", units.SI.AbsolutePressure(101325), "1013 hPa"},
		{"chimney, ft", units.US.Length(7.62), "25 ft"},
		{"chimney, m", units.SI.Length(7.62), "7.6 m"},
		{"collar, ft", units.US.Length(0.1524), "0.5 ft"},
		{"lowest fire, Btu/h", units.US.Power(2930.7), "10,000 Btu/h"},
		{"lowest fire, kW", units.SI.Power(2930.7), "2.9 kW"},
		{"a hundred Btu/h", units.US.Power(29), "100 Btu/h"},
		{"loss", units.US.Power(-293072), "-1,000,000 Btu/h"},
		{"nothing", units.US.Power(-1), "0 Btu/h"},
	} {
		if tt.got != tt.want {
			t.Errorf("%s: got %q, want %q", tt.what, tt.got, tt.want)
		}
	}
}

func TestSystemAsText(t *testing.T) {
	var zero units.System
	if zero != units.US {
		t.Error("the zero value is not US customary")
	}
	for _, s := range []units.System{units.US, units.SI} {
		text, err := s.MarshalText()
		if err != nil {
			t.Fatal(err)
		}
		back := s + 1
		if err := back.UnmarshalText(text); err != nil || back != s {
			t.Errorf("%v: written %q, read back %v, %v", s, text, back, err)
		}
	}
	s := units.SI
	err := s.UnmarshalText([]byte("metric"))
	if want := `"metric" is not a system of units; there are "us" and "si"`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	if s != units.SI {
		t.Error("a refused text changed the system")
	}
	unknown := units.System(9)
	if text, err := unknown.MarshalText(); err == nil {
		t.Errorf("an unknown system was written as %q", text)
	}
	if got, want := unknown.String(), "system(9)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestFahrenheitAndCelsiusAreInverse(t *testing.T) {
	for c := -273.0; c < 2000; c += 7.3 {
		if back := units.Celsius(units.Fahrenheit(c)); math.Abs(back-c) > 1e-9 {
			t.Errorf("%v °C came back as %v", c, back)
		}
	}
}
