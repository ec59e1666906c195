package mcp9600

import (
	"math"
	"testing"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// Bit weights of Registers 5-2 and 5-4, DS20005426G; the first is in a figure of
// DS20005426C, p. 17.
func TestWord(t *testing.T) {
	for _, tc := range []struct {
		bytes [2]byte
		want  float64
	}{
		{[2]byte{0x01, 0x94}, 25.25},
		{[2]byte{0x01, 0x90}, 25},
		{[2]byte{0x64, 0x00}, 1600},
		{[2]byte{0x55, 0xC0}, 1372},
		{[2]byte{0x00, 0x01}, 0.0625},
		{[2]byte{0x00, 0x00}, 0},
		{[2]byte{0xFF, 0xFF}, -0.0625},
		{[2]byte{0xFD, 0x80}, -40},
		{[2]byte{0xF0, 0x60}, -250},
		{[2]byte{0x07, 0xD0}, 125},
	} {
		if got := celsius(word(tc.bytes[:])); got != tc.want {
			t.Errorf("% x: %v °C, want %v", tc.bytes, got, tc.want)
		}
	}
}

func words(hot, delta, cold float64) Words {
	return Words{int16(hot * 16), int16(delta * 16), int16(cold * 16)}
}

func TestDecode(t *testing.T) {
	good := words(625, 600, 25)
	for _, tc := range []struct {
		name   string
		status byte
		words  Words
		part   Part
		typ    thermocouple.Type
		fault  sensors.Code
	}{
		{"new", 0x40, good, MCP9600, thermocouple.K, ""},
		{"alerts mean nothing", 0x4F, good, MCP9600, thermocouple.K, ""},
		{"freezing outside", 0x40, words(-5, -15, 10), MCP9601, thermocouple.K, ""},
		{"not new", 0x00, good, MCP9600, thermocouple.K, sensors.NotReady},
		{"range", 0x50, good, MCP9600, thermocouple.K, sensors.OutOfRange},
		{"range or open", 0x50, good, MCP9601, thermocouple.K, sensors.OpenCircuit},
		{"short", 0x60, good, MCP9601, thermocouple.K, sensors.ShortCircuit},
		{"the MCP9600 has no such bit", 0x60, good, MCP9600, thermocouple.K, ""},
		{"short and open", 0x70, good, MCP9601, thermocouple.K, sensors.ShortCircuit},
		{"within the rounding and one conversion", 0x40, words(625, 598.5, 25), MCP9600, thermocouple.K, ""},
		// What a bus that does not wait for the chip makes of the three reads.
		{"status twice", 0x40, Words{0x4040, good.Delta, good.Cold}, MCP9600, thermocouple.K, sensors.ImpossibleFrame},
		{"hot junction twice", 0x40, words(625, 625, 25), MCP9600, thermocouple.K, sensors.ImpossibleFrame},
		{"difference twice", 0x40, words(625, 600, 600), MCP9600, thermocouple.K, sensors.ImpossibleFrame},
		{"always the same", 0x40, words(25, 25, 25), MCP9600, thermocouple.K, sensors.ImpossibleFrame},
		{"hot terminals", 0x40, words(625, 535, 90), MCP9600, thermocouple.K, sensors.ColdJunctionRange},
		{"frozen terminals", 0x40, words(625, 666, -41), MCP9600, thermocouple.K, sensors.ColdJunctionRange},
		{"beyond the type", 0x40, words(1400, 1375, 25), MCP9600, thermocouple.K, sensors.OutOfRange},
		{"beyond T, within K", 0x40, words(625, 600, 25), MCP9600, thermocouple.T, sensors.OutOfRange},
		{"no type", 0x40, good, MCP9600, 0, sensors.OutOfRange},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v, err := Decode(tc.status, tc.words, tc.part, tc.typ)
			if got := sensors.CodeOf(err); got != tc.fault || (err == nil) != (tc.fault == "") {
				t.Errorf("fault %q (%v), want %q", got, err, tc.fault)
			}
			want := Values{float64(tc.words.Hot) / 16, float64(tc.words.Cold) / 16}
			if err != nil {
				want = Values{}
			}
			if v != want {
				t.Errorf("values %v, want %v", v, want)
			}
		})
	}
}

// FuzzDecode: a value comes only with a new conversion, no fault of the wiring, and words
// that agree.
func FuzzDecode(f *testing.F) {
	f.Add(byte(0x40), int16(10000), int16(9600), int16(400), true, uint8(thermocouple.K))
	f.Add(byte(0x50), int16(10000), int16(9600), int16(400), true, uint8(thermocouple.K))
	f.Add(byte(0x60), int16(-80), int16(-240), int16(160), false, uint8(thermocouple.T))
	f.Add(byte(0x40), int16(-32768), int16(32767), int16(1), false, uint8(thermocouple.K))
	f.Add(byte(0x60), int16(0), int16(-179), int16(160), false, uint8(101)) // no type
	f.Fuzz(func(t *testing.T, status byte, hot, delta, cold int16, tells bool, typ uint8) {
		part := MCP9600
		if tells {
			part = MCP9601
		}
		kind := thermocouple.Type(typ)
		v, err := Decode(status, Words{hot, delta, cold}, part, kind)
		if err != nil {
			if v != (Values{}) || sensors.CodeOf(err) == "" {
				t.Errorf("%v beside %v", v, err)
			}
			return
		}
		coldest, hottest := kind.InverseRange()
		switch sum := float64(int32(delta)+int32(cold)) / 16; {
		case status&0x40 == 0 || status&0x10 != 0 || tells && status&0x20 != 0:
			t.Errorf("a value beside STATUS %02x", status)
		case math.Abs(sum-v.HotJunction) > 2:
			t.Errorf("%v °C is not %v", v.HotJunction, sum)
		case v.HotJunction < coldest || v.HotJunction > hottest || !kind.Valid():
			t.Errorf("%v °C of type %v", v.HotJunction, kind)
		case v.ColdJunction < -40 || v.ColdJunction > 85:
			t.Errorf("terminals at %v °C", v.ColdJunction)
		}
	})
}
