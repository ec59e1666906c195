package max31856

import (
	"math"
	"testing"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// MAX31856 19-7534 Rev 0, Table 2, p. 13.
func TestHotJunction(t *testing.T) {
	for _, tc := range []struct {
		bytes [3]byte
		want  float64
	}{
		{[3]byte{0x64, 0x00, 0x00}, 1600},
		{[3]byte{0x3E, 0x80, 0x00}, 1000},
		{[3]byte{0x06, 0x4F, 0x00}, 100.9375},
		{[3]byte{0x01, 0x90, 0x00}, 25},
		{[3]byte{0x00, 0x01, 0x00}, 0.0625},
		{[3]byte{0x00, 0x00, 0x00}, 0},
		{[3]byte{0xFF, 0xFF, 0x00}, -0.0625},
		{[3]byte{0xFF, 0xFC, 0x00}, -0.25},
		{[3]byte{0xFF, 0xF0, 0x00}, -1},
		{[3]byte{0xF0, 0x60, 0x00}, -250},
		// The low five bits mean nothing, the sixth is 2^-7 °C (Table 6, p. 18).
		{[3]byte{0x01, 0x90, 0x1F}, 25},
		{[3]byte{0x01, 0x90, 0x3F}, 25.0078125},
	} {
		if got := hotJunction(tc.bytes[0], tc.bytes[1], tc.bytes[2]); got != tc.want {
			t.Errorf("% x: %v °C, want %v", tc.bytes, got, tc.want)
		}
	}
}

// MAX31856 19-7534 Rev 0, Table 3, p. 13.
func TestColdJunction(t *testing.T) {
	for _, tc := range []struct {
		bytes [2]byte
		want  float64
	}{
		{[2]byte{0x7F, 0xFC}, 127.984375},
		{[2]byte{0x7F, 0x00}, 127},
		{[2]byte{0x7D, 0x00}, 125},
		{[2]byte{0x40, 0x00}, 64},
		{[2]byte{0x19, 0x00}, 25},
		{[2]byte{0x00, 0x80}, 0.5},
		{[2]byte{0x00, 0x04}, 0.015625},
		{[2]byte{0x00, 0x00}, 0},
		{[2]byte{0xFF, 0x80}, -0.5},
		{[2]byte{0xE7, 0x00}, -25},
		{[2]byte{0xC9, 0x00}, -55},
		// The low two bits mean nothing (p. 24).
		{[2]byte{0x19, 0x03}, 25},
	} {
		if got := coldJunction(tc.bytes[0], tc.bytes[1]); got != tc.want {
			t.Errorf("% x: %v °C, want %v", tc.bytes, got, tc.want)
		}
	}
}

// frame is a type K frame at cold junction 25 °C and hot junction 100.9375 °C, changed.
func frame(change func(r []byte)) []byte {
	r := []byte{
		0x10, 0x23, 0xFF, 0x55, 0xC9, 0x7F, 0xFF, 0x80, 0x01, 0x00,
		0x19, 0x00, 0x06, 0x4F, 0x00, 0x00,
	}
	if change != nil {
		change(r)
	}
	return r
}

func hot(a, b, c byte) func([]byte) {
	return func(r []byte) { r[regLTCBH], r[regLTCBM], r[regLTCBL] = a, b, c }
}

func cold(a, b byte) func([]byte) {
	return func(r []byte) { r[regCJTH], r[regCJTL] = a, b }
}

func status(sr byte) func([]byte) { return func(r []byte) { r[regSR] = sr } }

func TestDecode(t *testing.T) {
	for _, tc := range []struct {
		name   string
		regs   []byte
		typ    thermocouple.Type
		fault  sensors.Code
		values Values
	}{
		{"type K", frame(nil), thermocouple.K, "", Values{100.9375, 25}},
		{"negative", frame(hot(0xFF, 0xF0, 0x00)), thermocouple.K, "", Values{-1, 25}},
		{"0.00 °C from a chip that kept its set-up is a value", frame(hot(0, 0, 0)), thermocouple.K, "", Values{0, 25}},
		{"no registers", nil, thermocouple.K, sensors.ImpossibleFrame, Values{}},
		{"too few", frame(nil)[:15], thermocouple.K, sensors.ImpossibleFrame, Values{}},
		{"no such type", frame(nil), 0, sensors.ImpossibleFrame, Values{}},
		{"all 00", make([]byte, 16), thermocouple.K, sensors.StuckLow, Values{}},
		{"all FF", frame(func(r []byte) {
			for i := range r {
				r[i] = 0xFF
			}
		}), thermocouple.K, sensors.StuckHigh, Values{}},
		{"open", frame(status(0x01)), thermocouple.K, sensors.OpenCircuit, Values{}},
		{"input voltage", frame(status(0x02)), thermocouple.K, sensors.InputVoltage, Values{}},
		{"input voltage hides the rest (p. 14)", frame(status(0xFF)), thermocouple.K, sensors.InputVoltage, Values{}},
		{"converting", frame(func(r []byte) { r[regCR0] |= 0x40 }), thermocouple.K, sensors.NotReady, Values{}},
		{"open while converting", frame(func(r []byte) { r[regCR0] |= 0x40; r[regSR] = 1 }), thermocouple.K, sensors.OpenCircuit, Values{}},
		{"range bit", frame(status(0x40)), thermocouple.K, sensors.OutOfRange, Values{}},
		{"high bit", frame(status(0x08)), thermocouple.K, sensors.OutOfRange, Values{}},
		{"low bit", frame(status(0x04)), thermocouple.K, sensors.OutOfRange, Values{}},
		{"cold junction's range bit", frame(status(0x80)), thermocouple.K, sensors.ColdJunctionRange, Values{}},
		{"cold junction's high bit", frame(status(0x20)), thermocouple.K, sensors.ColdJunctionRange, Values{}},
		{"cold junction's low bit", frame(status(0x10)), thermocouple.K, sensors.ColdJunctionRange, Values{}},
		// Table 1, p. 12: K to 1372 °C = 0x55C00, J to 1200, T to 400, B from 250.
		{"at the limit of K", frame(hot(0x55, 0xC0, 0x00)), thermocouple.K, sensors.OutOfRange, Values{}},
		{"just below the limit of K", frame(hot(0x55, 0xBF, 0xE0)), thermocouple.K, "", Values{1371.9921875, 25}},
		{"at the lower limit of K", frame(hot(0xF3, 0x80, 0x00)), thermocouple.K, sensors.OutOfRange, Values{}},
		{"beyond J, within K", frame(hot(0x4B, 0x00, 0x00)), thermocouple.J, sensors.OutOfRange, Values{}},
		{"at the limit of T", frame(hot(0x19, 0x00, 0x00)), thermocouple.T, sensors.OutOfRange, Values{}},
		{"room temperature of B", frame(hot(0x01, 0x90, 0x00)), thermocouple.B, sensors.OutOfRange, Values{}},
		{"cold junction 85 °C", frame(cold(0x55, 0x00)), thermocouple.K, "", Values{100.9375, 85}},
		{"cold junction 85.02 °C", frame(cold(0x55, 0x04)), thermocouple.K, sensors.ColdJunctionRange, Values{}},
		{"cold junction −55.02 °C", frame(cold(0xC8, 0xFC)), thermocouple.K, sensors.ColdJunctionRange, Values{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v, err := Decode(tc.regs, tc.typ)
			if got := sensors.CodeOf(err); got != tc.fault || (err == nil) != (tc.fault == "") {
				t.Errorf("fault %q (%v), want %q", got, err, tc.fault)
			}
			if v != tc.values {
				t.Errorf("values %v, want %v", v, tc.values)
			}
		})
	}
}

// Power-on registers (Table 6, p. 18), as after a supply dip: only the echo of the
// configuration can tell them from 0.00 °C, so that it must differ from them.
func TestNoConfigurationEqualsPowerOn(t *testing.T) {
	powerOn := []byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00, 0, 0, 0, 0, 0, 0}
	for _, mains := range []int{50, 60} {
		d := newDev(t, &script{}, Opts{Type: thermocouple.K, Averaging: 1, Mains: mains})
		if err := d.echo(powerOn); sensors.CodeOf(err) != sensors.LostConfiguration {
			t.Errorf("%d Hz: %v, want %s", mains, err, sensors.LostConfiguration)
		}
	}
}

func FuzzDecode(f *testing.F) {
	for typ := range byte(len(types) + 1) {
		f.Add(frame(nil), typ)
	}
	f.Add(make([]byte, 16), byte(thermocouple.K))
	f.Add([]byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0, 0, 0, 0, 0, 0}, byte(thermocouple.K))
	f.Add(frame(status(0x02)), byte(thermocouple.K))
	f.Add(frame(hot(0x55, 0xC0, 0x00)), byte(thermocouple.K))
	f.Fuzz(func(t *testing.T, regs []byte, typ byte) {
		v, err := Decode(regs, thermocouple.Type(typ))
		if err != nil {
			if v != (Values{}) {
				t.Errorf("values %v beside %v", v, err)
			}
			if sensors.CodeOf(err) == "" {
				t.Errorf("%v carries no code", err)
			}
			return
		}
		if !thermocouple.Type(typ).Valid() || len(regs) != registers {
			t.Fatalf("value from %d registers of type %d", len(regs), typ)
		}
		info := types[typ]
		switch {
		case regs[regSR] != 0 || regs[regCR0]&cr0OneShot != 0:
			t.Errorf("value in spite of SR %02x, CR0 %02x", regs[regSR], regs[regCR0])
		case math.IsNaN(v.HotJunction) || v.HotJunction <= info.low || v.HotJunction >= info.high:
			t.Errorf("value %v outside %v", v.HotJunction, info)
		case v.ColdJunction > coldHigh || v.ColdJunction < coldLow:
			t.Errorf("cold junction %v", v.ColdJunction)
		}
	})
}
