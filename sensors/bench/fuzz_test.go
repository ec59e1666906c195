package bench

import (
	"testing"
	"testing/synctest"
	"time"

	"fluewright/sensors"
)

// FuzzChips sends what it likes: a chip refuses or answers, and never falls over.
func FuzzChips(f *testing.F) {
	f.Add(uint8(0), []byte{0x80, 0x90, 0x00, 0x10, 0x00}, uint8(16), uint16(0))
	f.Add(uint8(1), []byte{0x36, 0x15}, uint8(9), uint16(Frozen))
	f.Add(uint8(2), []byte{0xF2, 1, 0xF4, 0x25, 0xFF}, uint8(200), uint16(BrownOut))
	f.Add(uint8(1), []byte{0xE1, 0x02}, uint8(18), uint16(BadCRC|WrongPart))
	f.Fuzz(func(t *testing.T, which uint8, w []byte, n uint8, faults uint16) {
		synctest.Test(t, func(t *testing.T) {
			clock := sensors.SystemClock{}
			in := always(float64(int16(faults)) * 3)
			chips := []Chip{
				NewMAX31856(clock, in, in), NewSDP8xx(clock, in, in, in), NewBME280(clock, in, in, in),
			}
			c := chips[int(which)%len(chips)]
			for bit := Fault(1); bit <= ColdJunctionHot; bit <<= 1 {
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
