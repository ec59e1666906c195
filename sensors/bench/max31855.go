package bench

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// Times of the MAX31855, datasheet 19-5793 Rev 5 p. 4.
const (
	tc55Conversion = 70 * time.Millisecond
	tc55PowerUp    = 200 * time.Millisecond
)

// tc55Gain is what each chip takes a degree for, µV, p. 3.
var tc55Gain = map[thermocouple.Type]float64{
	thermocouple.K: 41.276, thermocouple.J: 57.953, thermocouple.N: 36.256, thermocouple.T: 52.18,
	thermocouple.E: 76.373, thermocouple.R: 10.506, thermocouple.S: 9.587,
}

// MAX31855 is a thermocouple amplifier on SPI that knows no curve: it reports what the
// true voltage would be on a straight line (p. 8).
type MAX31855 struct {
	breakable

	// Noise is the standard deviation of one conversion, K.
	Noise float64

	clock     sensors.Clock
	kind      thermocouple.Type
	hot, cold func() float64

	mu    sync.Mutex
	rng   *rand.Rand
	frame [4]byte
	since time.Time // of the running conversion
	ready time.Time // nothing is known before
}

// NewMAX31855 returns the chip for one type of thermocouple, just after power-on. hot and
// cold give the temperature of the junctions, °C, whenever a conversion ends.
func NewMAX31855(clock sensors.Clock, kind thermocouple.Type, hot, cold func() float64) *MAX31855 {
	c := &MAX31855{
		breakable: breakable{
			kind: "max31855",
			can: Timeout | Stuck00 | StuckFF | BrownOut | Open | ShortGround | ShortSupply | OutOfRange |
				Frozen | WrongPart | ColdJunctionHot,
		},
		clock: clock, kind: kind, hot: hot, cold: cold,
		rng: rand.New(rand.NewPCG(31855, 1)),
	}
	c.powerOn()
	return c
}

// phase: data is stable while the clock rises (p. 9).
func (c *MAX31855) phase() spi.Mode { return spi.Mode0 }

func (c *MAX31855) powerOn() {
	now := c.clock.Now()
	c.frame, c.since, c.ready = [4]byte{}, now, now.Add(tc55PowerUp)
}

// Tx is one assertion of the chip select: 32 bits, whatever is written.
func (c *MAX31855) Tx(_, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.dipped() {
		c.powerOn()
	}
	switch {
	case c.has(Timeout):
		return errTimeout
	case c.has(Stuck00):
		fill(r, 0x00)
		return nil
	case c.has(StuckFF):
		fill(r, 0xFF)
		return nil
	case c.has(WrongPart):
		// A MAX31856 in its place takes the zeros for a read of its registers from 00h on
		// (19-7534 Rev 0 p. 15), behind a byte of a line that nobody drives.
		fill(r, 0xFF)
		copy(r[min(1, len(r)):], tcPowerOn[:])
		return nil
	}
	// Data is renewed only while the chip is not selected (p. 9), so that a conversion
	// that a read interrupts begins again.
	now := c.clock.Now()
	if !now.Before(c.ready) && now.Sub(c.since) >= tc55Conversion && !c.has(Frozen) {
		c.convert()
	}
	c.since = now
	fill(r, 0xFF)
	copy(r, c.frame[:])
	return nil
}

// convert composes a frame of what the junctions are at (Table 3 p. 10).
func (c *MAX31855) convert() {
	cold := c.cold()
	if c.has(ColdJunctionHot) {
		cold = 95
	}
	var faults uint32
	hot := c.hot() + c.Noise*c.rng.NormFloat64()
	reported := c.straight(hot, cold)
	switch {
	case c.has(Open):
		reported, faults = 2047.75, 0x10001 // p. 9
	case c.has(ShortGround):
		reported, faults = cold, 0x10002
	case c.has(ShortSupply):
		reported, faults = cold, 0x10004
	case c.has(OutOfRange):
		reported = 1800
	}
	t := int32(math.Round(clamp(reported, -270, 2047.75) * 4))
	j := int32(math.Round(clamp(cold, -55, 125) * 16))
	binary.BigEndian.PutUint32(c.frame[:], uint32(t)<<18|uint32(j)&0xFFF<<4|faults)
}

// straight is the temperature at which a straight line would give the thermocouple's
// voltage; beyond the thermocouple's curve, the line's own.
func (c *MAX31855) straight(hot, cold float64) float64 {
	eHot, err1 := c.kind.Voltage(hot)
	eCold, err2 := c.kind.Voltage(cold)
	if err1 != nil || err2 != nil {
		return hot
	}
	return cold + (eHot-eCold)*1000/tc55Gain[c.kind]
}
