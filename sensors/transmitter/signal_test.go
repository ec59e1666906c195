package transmitter

import (
	"math"
	"strings"
	"testing"

	"fluewright/sensors"
)

var (
	volts   = Scale{Signal: Ratiometric, Low: -25, High: 25, Divider: 1}
	halved  = Scale{Signal: Ratiometric, Low: -25, High: 25, Divider: 2}
	current = Scale{Signal: Current, Low: 0, High: 60, Shunt: 100}
)

// mA is what a current leaves across the shunt of 100 Ω.
func mA(i float64) float64 { return i * 0.1 }

func TestDecode(t *testing.T) {
	for _, tc := range []struct {
		name           string
		scale          Scale
		signal, supply float64
		pascals        float64
		fault          sensors.Code
	}{
		// The ends of the two standard signals, 0.5 to 4.5 V and 4 to 20 mA, and between.
		{"0.5 V", volts, 0.5, 5, -25, ""},
		{"2.5 V", volts, 2.5, 5, 0, ""},
		{"4.5 V", volts, 4.5, 5, 25, ""},
		{"the supply is 4.8 V, and so is the signal less", volts, 2.4, 4.8, 0, ""},
		{"through a divider", halved, 1.25 + 0.4, 2.5, 10, ""},
		{"4 mA", current, mA(4), 0, 0, ""},
		{"12 mA", current, mA(12), 0, 30, ""},
		{"20 mA", current, mA(20), 0, 60, ""},
		// NAMUR NE 43.
		{"3.81 mA", current, mA(3.81), 0, 60 * (3.81 - 4) / 16, ""},
		{"20.49 mA", current, mA(20.49), 0, 60 * (20.49 - 4) / 16, ""},
		{"3.79 mA", current, mA(3.79), 0, 0, sensors.OutOfRange},
		{"3.61 mA", current, mA(3.61), 0, 0, sensors.OutOfRange},
		{"3.59 mA", current, mA(3.59), 0, 0, sensors.SignalLow},
		{"wire off", current, 0, 0, 0, sensors.SignalLow},
		{"offset of the converter", current, -0.001, 0, 0, sensors.SignalLow},
		{"20.51 mA", current, mA(20.51), 0, 0, sensors.OutOfRange},
		{"20.99 mA", current, mA(20.99), 0, 0, sensors.OutOfRange},
		{"21.01 mA", current, mA(21.01), 0, 0, sensors.SignalHigh},
		// The same fractions of 0.5 to 4.5 V: 0.4, 0.45, 4.625 and 4.75 V.
		{"0.46 V", volts, 0.46, 5, -25.5, ""},
		{"0.44 V", volts, 0.44, 5, 0, sensors.OutOfRange},
		{"0.39 V", volts, 0.39, 5, 0, sensors.SignalLow},
		{"0 V", volts, 0, 5, 0, sensors.SignalLow},
		{"4.62 V", volts, 4.62, 5, 26.5, ""},
		{"4.64 V", volts, 4.64, 5, 0, sensors.OutOfRange},
		{"4.76 V", volts, 4.76, 5, 0, sensors.SignalHigh},
		{"at the supply", volts, 5, 5, 0, sensors.SignalHigh},
		{"supply at 4.4 V", volts, 2.2, 4.4, 0, sensors.SignalSupply},
		{"no supply", volts, 0, 0, 0, sensors.SignalSupply},
		{"supply at 5.6 V", volts, 2.8, 5.6, 0, sensors.SignalSupply},
		{"a divider that is not there", halved, 2.5, 5, 0, sensors.SignalSupply},
		{"no number", current, math.NaN(), 0, 0, sensors.SignalLow},
		{"no shunt", Scale{Signal: Current, High: 60}, 1, 0, 0, sensors.SignalHigh},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := tc.scale.Decode(tc.signal, tc.supply)
			if code := sensors.CodeOf(err); code != tc.fault || (err == nil) != (tc.fault == "") {
				t.Errorf("%v, want %q", err, tc.fault)
			}
			if !(math.Abs(got-tc.pascals) < 1e-9) {
				t.Errorf("%v Pa, want %v", got, tc.pascals)
			}
			if err != nil && !strings.Contains(err.Error(), "V") && !strings.Contains(err.Error(), "mA") {
				t.Errorf("%v does not say what was seen", err)
			}
		})
	}
}

// FuzzDecode: a value lies within the transmitter's range and NE 43's margins, and comes
// only at a supply that it can work with.
func FuzzDecode(f *testing.F) {
	f.Add(int16(13333), int16(26667), true, false)
	f.Add(int16(9600), int16(0), false, false)
	f.Add(int16(0), int16(0), true, true)
	f.Add(int16(-32768), int16(32767), true, true)
	f.Fuzz(func(t *testing.T, signal, supply int16, ratio, divided bool) {
		scale, full := current, 4.096
		switch {
		case ratio && divided:
			scale = halved
		case ratio:
			scale, full = volts, 6.144
		}
		v := func(code int16) float64 { return float64(code) * full / 32768 }
		got, err := scale.Decode(v(signal), v(supply))
		if err != nil {
			if got != 0 || sensors.CodeOf(err) == "" {
				t.Errorf("%v beside %v", got, err)
			}
			return
		}
		span := scale.High - scale.Low
		if !(got >= scale.Low-0.0126*span && got <= scale.High+0.0313*span) {
			t.Errorf("%v Pa of %v to %v", got, scale.Low, scale.High)
		}
		if s := v(supply) * scale.Divider; ratio && !(s >= 4.5 && s <= 5.5) {
			t.Errorf("a value at a supply of %v V", s)
		}
	})
}
