package bench

import (
	"testing"
	"testing/synctest"
	"time"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// FuzzChips sends what it likes: a chip refuses or answers, and never falls over.
func FuzzChips(f *testing.F) {
	f.Add(uint8(0), []byte{0x80, 0x90, 0x00, 0x10, 0x00}, uint8(16), uint32(0))
	f.Add(uint8(1), []byte{0x36, 0x15}, uint8(9), uint32(Frozen))
	f.Add(uint8(2), []byte{0xF2, 1, 0xF4, 0x25, 0xFF}, uint8(200), uint32(BrownOut))
	f.Add(uint8(1), []byte{0xE1, 0x02}, uint8(18), uint32(BadCRC|WrongPart))
	f.Add(uint8(4), []byte{0x20, 0x04, 0x05, 0x30}, uint8(2), uint32(Stretch))
	f.Add(uint8(5), []byte{0x01, 0xC1, 0x83}, uint8(2), uint32(SupplyLow))
	f.Add(uint8(7), []byte{0x08, 0xFF, 0x00}, uint8(1), uint32(BrownOut))
	f.Fuzz(func(t *testing.T, which uint8, w []byte, n uint8, faults uint32) {
		synctest.Test(t, func(t *testing.T) {
			clock := sensors.SystemClock{}
			in := always(float64(int16(faults)) * 3)
			chips := []Chip{
				NewMAX31856(clock, in, in), NewSDP8xx(clock, in, in, in), NewBME280(clock, in, in, in),
				NewMAX31855(clock, thermocouple.K, in, in), NewMCP9601(clock, in, in),
				NewTransmitter(clock, in, -25, 25), NewMCP9808(clock, in), NewMux(),
			}
			c := chips[int(which)%len(chips)]
			for bit := Fault(1); len(bit.Names()) > 0; bit <<= 1 {
				if Fault(faults)&bit != 0 {
					_ = c.Inject(bit) // one that it cannot have is refused
				}
			}
			r := make([]byte, n)
			for len(w) > 0 { // command by command, with time between
				k := min(len(w), 1+int(w[0]%5))
				_ = c.Tx(w[:k], r)
				wait(time.Duration(w[0]) * time.Millisecond)
				_ = c.Tx(nil, r)
				w = w[k:]
			}
		})
	})
}

// FuzzControl must never fall over, and takes or refuses a line the same way twice.
func FuzzControl(f *testing.F) {
	for _, s := range Night().Steps {
		f.Add(s.Do)
	}
	f.Add("pin flue 620")
	f.Add("fault draft crc")
	f.Fuzz(func(t *testing.T, line string) {
		b, err := New(Config{})
		if err != nil {
			t.Fatal(err)
		}
		_, first := b.Do(line)
		if _, second := b.Do(line); (first == nil) != (second == nil) {
			t.Errorf("%q: %v, then %v", line, first, second)
		}
	})
}
