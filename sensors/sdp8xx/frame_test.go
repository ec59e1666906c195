package sdp8xx

import (
	"encoding/hex"
	"math"
	"strings"
	"testing"

	"fluewright/sensors"
)

// unhex reads bytes as the datasheets print them.
func unhex(tb testing.TB, s string) []byte {
	tb.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// BE EF → 92 is the example of Sensirion's datasheets; 00 00, 00 01 and 03 04 onwards
// are from the tests of the public Rust crate sdp8xx, among them a checksum that is zero.
func TestChecksum(t *testing.T) {
	for _, tc := range []struct{ high, low, want byte }{
		{0xBE, 0xEF, 0x92},
		{0x00, 0x00, 0x81},
		{0x00, 0x01, 0xB0},
		{0x03, 0x04, 0x68},
		{0x06, 0x07, 0x4C},
		{0x03, 0x02, 0xCE},
		{0x02, 0x01, 0x69},
		{0xFF, 0xFF, 0xAC},
		{0x44, 0x55, 0x00},
		{0x66, 0x77, 0xE1},
		{0x88, 0x99, 0x24},
		{0xAA, 0xBB, 0xC5},
	} {
		if got := crc8(tc.high, tc.low); got != tc.want {
			t.Errorf("%02x %02x: %02x, want %02x", tc.high, tc.low, got, tc.want)
		}
	}
}

// The first two rows hold the pairs of raw and physical value of Sensirion's
// python-i2c-sdp, test_response_types.py; the others follow from the same two formulas,
// with the checksum above.
func TestDecode(t *testing.T) {
	for _, tc := range []struct {
		bytes   string
		pascals float64
		celsius float64
		scale   int16
	}{
		{"00 3C 39 4E 20 E3 00 3C 39", 1, 100, 60},
		{"FF A6 5A EC 78 02 00 3C 39", -1.5, -25, 60},
		{"00 00 81 13 88 01 00 F0 03", 0, 25, 240},
		{"F4 48 9E 12 5C 35 00 F0 03", -12.5, 23.5, 240},
		{"C7 C0 C2 0F A0 E4 00 F0 03", -60, 20, 240},
		{"00 78 C0 FC 18 D7 00 F0 03", 0.5, -5, 240},
		{"FF 88 C3 11 94 E6 00 F0 03", -0.5, 22.5, 240},
		{"FD 12 F8 12 5C 35 00 3C 39", -12.5, 23.5, 60},
		{"75 30 08 13 88 01 00 3C 39", 500, 25, 60},
	} {
		f, err := Decode(unhex(t, tc.bytes))
		if err != nil {
			t.Errorf("%s: %v", tc.bytes, err)
			continue
		}
		if f.Pascals() != tc.pascals || f.Celsius() != tc.celsius || f.Scale != tc.scale {
			t.Errorf("%s: %v Pa, %v °C, scale %d, want %v, %v, %d",
				tc.bytes, f.Pascals(), f.Celsius(), f.Scale, tc.pascals, tc.celsius, tc.scale)
		}
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, tc := range []struct {
		name, bytes string
		want        sensors.Code
	}{
		{"valid checksums, scale 0 (Rust crate sdp8xx)", "00 00 81 00 00 81 00 00 81", sensors.ImpossibleFrame},
		{"scale −1", "00 00 81 13 88 01 FF FF AC", sensors.ImpossibleFrame},
		{"data line low", "00 00 00 00 00 00 00 00 00", sensors.StuckLow},
		{"data line released", "FF FF FF FF FF FF FF FF FF", sensors.StuckHigh},
		{"pressure's checksum", "00 3C 38 4E 20 E3 00 3C 39", sensors.BadChecksum},
		{"temperature's checksum", "00 3C 39 4E 21 E3 00 3C 39", sensors.BadChecksum},
		{"scale's checksum", "00 3C 39 4E 20 E3 00 3D 39", sensors.BadChecksum},
		{"short", "00 3C 39 4E 20 E3", sensors.ImpossibleFrame},
		{"nothing", "", sensors.ImpossibleFrame},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f, err := Decode(unhex(t, tc.bytes))
			if sensors.CodeOf(err) != tc.want || f != (Frame{}) {
				t.Errorf("%v, %v, want %s", f, err, tc.want)
			}
		})
	}
}

// From the tests of the public Rust crate sdp8xx.
const identity800 = "03 02 CE 02 01 69 44 55 00 66 77 E1 88 99 24 AA BB C5"

func TestDecodeIdentity(t *testing.T) {
	id, err := DecodeIdentity(unhex(t, identity800))
	if err != nil {
		t.Fatal(err)
	}
	if want := (Identity{Product: 0x03020201, Serial: 0x445566778899AABB}); id != want {
		t.Errorf("%x, want %x", id, want)
	}
	if want := "sdp800-125pa revision 1 serial 445566778899aabb"; id.String() != want {
		t.Errorf("%q, want %q", id, want)
	}
	for i := range identitySize {
		b := unhex(t, identity800)
		b[i] ^= 0x10
		if _, err := DecodeIdentity(b); sensors.CodeOf(err) != sensors.BadChecksum {
			t.Errorf("byte %d wrong: %v, want %s", i, err, sensors.BadChecksum)
		}
	}
}

// Product numbers: the public header and the Rust crate; SDP3x from a public driver.
func TestPartOfProduct(t *testing.T) {
	for product, want := range map[uint32]Part{
		0x03020101: SDP800P500, 0x03020A01: SDP810P500, 0x03020401: SDP801P500, 0x03020D01: SDP811P500,
		0x03020201: SDP800P125, 0x03020B01: SDP810P125, 0x030101FF: SDP31P500, 0x03010200: SDP32P125,
	} {
		if got, ok := (Identity{Product: product}).Part(); !ok || got != want {
			t.Errorf("0x%08x: %q, want %q", product, got, want)
		}
	}
	if got, ok := (Identity{Product: 0x04020101}).Part(); ok {
		t.Errorf("an unknown product is %q", got)
	}
}

func FuzzDecode(f *testing.F) {
	for _, s := range []string{
		"00 3C 39 4E 20 E3 00 3C 39", "F4 48 9E 12 5C 35 00 F0 03",
		"00 00 81 00 00 81 00 00 81", "00 00 00 00 00 00 00 00 00", "FF FF FF FF FF FF FF FF FF", identity800,
	} {
		f.Add(unhex(f, s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		frame, err := Decode(b)
		switch {
		case err != nil && (frame != Frame{} || sensors.CodeOf(err) == ""):
			t.Errorf("%v beside %v", frame, err)
		case err == nil:
			for i := 0; i < frameSize; i += 3 {
				if crc8(b[i], b[i+1]) != b[i+2] {
					t.Errorf("value in spite of the checksum at %d: % x", i, b)
				}
			}
			if p := frame.Pascals(); math.IsNaN(p) || math.IsInf(p, 0) || frame.Scale <= 0 {
				t.Errorf("%v Pa from % x", p, b)
			}
		}
		if id, err := DecodeIdentity(b); err != nil && id != (Identity{}) {
			t.Errorf("%v beside %v", id, err)
		}
	})
}
