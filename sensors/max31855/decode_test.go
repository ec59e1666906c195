package max31855

import (
	"encoding/hex"
	"math"
	"strings"
	"testing"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

func unhex(tb testing.TB, s string) []byte {
	tb.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// MAX31855 19-5793 Rev 5, Tables 4 and 5, p. 10: both halves of the frame at once.
func TestWords(t *testing.T) {
	for _, tc := range []struct {
		frame     string
		hot, cold float64
	}{
		{"64 00 7F 00", 1600, 127},
		{"3E 80 64 90", 1000, 100.5625},
		{"06 4C 19 00", 100.75, 25},
		{"01 90 00 00", 25, 0},
		{"00 00 FF F0", 0, -0.0625},
		{"FF FC FF 00", -0.25, -1},
		{"FF F0 EC 00", -1, -20},
		{"F0 60 C9 00", -250, -55},
	} {
		b := unhex(t, tc.frame)
		w := uint32(b[0])<<24 | uint32(b[1])<<16 | uint32(b[2])<<8 | uint32(b[3])
		if got := reported(w); got != tc.hot {
			t.Errorf("%s: hot junction %v, want %v", tc.frame, got, tc.hot)
		}
		if got := coldJunction(w); got != tc.cold {
			t.Errorf("%s: cold junction %v, want %v", tc.frame, got, tc.cold)
		}
	}
}

func TestDecode(t *testing.T) {
	for _, tc := range []struct {
		name  string
		frame string
		typ   thermocouple.Type
		fault sensors.Code
	}{
		{"100.75 °C", "06 4C 19 00", thermocouple.K, ""},
		{"a cold morning", "FF F0 FF 00", thermocouple.K, ""},
		// The rule for an unconnected input, p. 9: D31 is 0, D30 to D18 are 1.
		{"unconnected", "7F FD 19 01", thermocouple.K, sensors.OpenCircuit},
		{"short to ground", "01 91 19 02", thermocouple.K, sensors.ShortToGround},
		{"short to supply", "01 91 19 04", thermocouple.K, sensors.ShortToSupply},
		{"short and open", "01 91 19 05", thermocouple.K, sensors.ShortToSupply},
		// A capture (public report) of T+ wired to ground that the chip did not flag: it
		// is not to be told from a temperature.
		{"unflagged short", "01 50 17 90", thermocouple.K, ""},
		{"dead wire", "00 00 00 00", thermocouple.K, sensors.StuckLow},
		{"no chip", "FF FF FF FF", thermocouple.K, sensors.StuckHigh},
		{"reserved bit 17", "01 92 19 00", thermocouple.K, sensors.ImpossibleFrame},
		{"reserved bit 3", "01 90 19 08", thermocouple.K, sensors.ImpossibleFrame},
		{"fault without a cause", "01 91 19 00", thermocouple.K, sensors.ImpossibleFrame},
		{"cause without the fault", "01 90 19 01", thermocouple.K, sensors.ImpossibleFrame},
		{"unconnected, unflagged", "7F FC 19 00", thermocouple.K, sensors.OutOfRange},
		{"beyond type K", "64 00 19 00", thermocouple.K, sensors.OutOfRange},
		{"cold junction 85 °C", "06 4C 55 00", thermocouple.K, ""},
		{"cold junction 85.06 °C", "06 4C 55 10", thermocouple.K, sensors.ColdJunctionRange},
		{"cold junction −55.06 °C", "06 4C C8 F0", thermocouple.K, sensors.ColdJunctionRange},
		{"cold junction below type S", "06 4C CC 00", thermocouple.S, sensors.OutOfRange},
		{"no such chip", "06 4C 19 00", thermocouple.B, sensors.OutOfRange},
		{"short frame", "06 4C 19", thermocouple.K, sensors.ImpossibleFrame},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v, err := Decode(unhex(t, tc.frame), tc.typ)
			if got := sensors.CodeOf(err); got != tc.fault || (err == nil) != (tc.fault == "") {
				t.Errorf("fault %q (%v), want %q", got, err, tc.fault)
			}
			if err != nil && v != (Values{}) {
				t.Errorf("values %v beside %v", v, err)
			}
		})
	}
}

// FuzzDecode: a value comes only from a frame without reserved bits and faults, and is
// one that the thermocouple can have.
func FuzzDecode(f *testing.F) {
	for _, frame := range []string{
		"06 4C 19 00", "7F FD 19 01", "01 91 19 02", "01 91 19 04", "00 00 00 00", "FF FF FF FF", "01 50 17 90", "F0 60 C9 00",
	} {
		f.Add(unhex(f, frame), uint8(thermocouple.K))
	}
	f.Add(unhex(f, "06 4C CC 00"), uint8(thermocouple.S))
	f.Fuzz(func(t *testing.T, frame []byte, typ uint8) {
		kind := thermocouple.Type(typ)
		v, err := Decode(frame, kind)
		if err != nil {
			if v != (Values{}) || sensors.CodeOf(err) == "" {
				t.Errorf("%v beside %v", v, err)
			}
			return
		}
		coldest, hottest := kind.InverseRange()
		_, made := Gain(kind)
		switch {
		case len(frame) != 4 || !made:
			t.Errorf("a value from %d bytes of type %v", len(frame), kind)
		case frame[1]&0x03 != 0 || frame[3]&0x0F != 0:
			t.Errorf("a value from % x", frame)
		case math.IsNaN(v.HotJunction) || v.HotJunction < coldest-0.1 || v.HotJunction > hottest+0.1:
			t.Errorf("%v °C of type %v", v.HotJunction, kind)
		case v.ColdJunction < coldLow || v.ColdJunction > coldHigh:
			t.Errorf("cold junction %v °C", v.ColdJunction)
		}
	})
}
