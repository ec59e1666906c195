package sdp8xx

import (
	"encoding/binary"
	"fmt"

	"fluewright/sensors"
)

const (
	frameSize    = 9  // three words, each with its checksum
	identitySize = 18 // six
)

// Frame is one measurement as the sensor sends it.
type Frame struct {
	Pressure    int16
	Temperature int16 // of the gas in the sensor, 200 counts per °C
	Scale       int16 // counts of Pressure per pascal
}

// Pascals is port "+" minus port "−" as the sensor reports it, at the absolute pressure
// of its calibration; see [CorrectForAmbient].
func (f Frame) Pascals() float64 { return float64(f.Pressure) / float64(f.Scale) }

// Celsius is the temperature of the gas in the sensor.
func (f Frame) Celsius() float64 { return float64(f.Temperature) / 200 }

// Decode reads a frame's nine bytes. The error is a *sensors.Fault without its device.
func Decode(b []byte) (Frame, error) {
	var words [frameSize / 3]uint16
	if err := checked(b, words[:]); err != nil {
		return Frame{}, err
	}
	f := Frame{Pressure: int16(words[0]), Temperature: int16(words[1]), Scale: int16(words[2])}
	if f.Scale <= 0 {
		return Frame{}, fault(sensors.ImpossibleFrame, "scale %d", f.Scale)
	}
	return f, nil
}

// DecodeIdentity reads the eighteen bytes of product and serial number.
func DecodeIdentity(b []byte) (Identity, error) {
	var w [identitySize / 3]uint16
	if err := checked(b, w[:]); err != nil {
		return Identity{}, err
	}
	return Identity{
		Product: uint32(w[0])<<16 | uint32(w[1]),
		Serial:  uint64(w[2])<<48 | uint64(w[3])<<32 | uint64(w[4])<<16 | uint64(w[5]),
	}, nil
}

// checked splits b into words and checks each one's checksum. All ones is what a bus
// reads on which nobody pulls the data line, all zeros one that is held down.
func checked(b []byte, words []uint16) error {
	if len(b) != 3*len(words) {
		return fault(sensors.ImpossibleFrame, "%d bytes, want %d", len(b), 3*len(words))
	}
	ones, zeros := true, true
	for _, x := range b {
		ones = ones && x == 0xFF
		zeros = zeros && x == 0x00
	}
	switch {
	case ones:
		return fault(sensors.StuckHigh, "all bytes 0xff")
	case zeros:
		return fault(sensors.StuckLow, "all bytes 0x00")
	}
	for i := range words {
		word := b[3*i : 3*i+3]
		if want := crc8(word[0], word[1]); word[2] != want {
			return fault(sensors.BadChecksum, "word %d: CRC 0x%02x, want 0x%02x", i, word[2], want)
		}
		words[i] = binary.BigEndian.Uint16(word)
	}
	return nil
}

// crc8 is Sensirion's checksum of a word: polynomial 0x31, initial value 0xFF, no
// reflection, no final inversion.
func crc8(high, low byte) byte {
	crc := byte(0xFF)
	for _, b := range [2]byte{high, low} {
		crc ^= b
		for range 8 {
			if crc&0x80 != 0 {
				crc = crc<<1 ^ 0x31
			} else {
				crc <<= 1
			}
		}
	}
	return crc
}

func fault(code sensors.Code, detail string, args ...any) *sensors.Fault {
	return &sensors.Fault{Code: code, Detail: fmt.Sprintf(detail, args...)}
}
