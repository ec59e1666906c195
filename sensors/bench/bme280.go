package bench

import (
	"encoding/binary"
	"math/rand/v2"
	"sort"
	"sync"
	"time"

	"fluewright/sensors"
)

// Registers of the BME280, Bosch BST-BME280-DS002, memory map in section 5.3.
const (
	bmeCalibration1 = 0x88
	bmeID           = 0xD0
	bmeReset        = 0xE0
	bmeCalibration2 = 0xE1
	bmeCtrlHum      = 0xF2
	bmeStatus       = 0xF3
	bmeCtrlMeas     = 0xF4
	bmeConfig       = 0xF5
	bmeData         = 0xF7

	bmeMeasuring = 0x08 // bit of bmeStatus
	bmeStartUp   = 2 * time.Millisecond
)

// The trimming words of a real part, as periph devices v3.7.4 has them in a recorded
// transaction (bmxx80/bmx280_test.go).
var (
	bmeTrim1 = [26]byte{
		0x10, 0x6e, 0x6c, 0x66, 0x32, 0x00, 0x5d, 0x95, 0xb8, 0xd5, 0xd0, 0x0b, 0x77, 0x1e,
		0x9d, 0xff, 0xf9, 0xff, 0xac, 0x26, 0x0a, 0xd8, 0xbd, 0x10, 0x00, 0x4b,
	}
	bmeTrim2 = [7]byte{0x6e, 0x01, 0x00, 0x13, 0x05, 0x00, 0x1e}
)

// BME280 measures room temperature, ambient pressure and humidity on I2C. The filter is
// not modelled: nothing that it measures here moves fast.
type BME280 struct {
	breakable

	// Noise is the standard deviation of one measurement of the pressure, Pa.
	Noise float64

	clock                       sensors.Clock
	celsius, pressure, humidity func() float64

	mu    sync.Mutex
	rng   *rand.Rand
	reg   [256]byte
	at    byte      // register pointer
	hum   byte      // bmeCtrlHum as it is in force
	begun time.Time // of the running measurement
	busy  time.Time // nothing is acknowledged before
}

// NewBME280 returns the chip just after power-on. It measures celsius, pressure in Pa
// and humidity as a ratio of 0 to 1.
//
// Package bmxx80 of periph waits for a measurement by reading the status in a loop and
// in the computer's time: the bench's clock must move with it.
func NewBME280(clock sensors.Clock, celsius, pressure, humidity func() float64) *BME280 {
	c := &BME280{
		breakable: breakable{
			kind: "bme280",
			can:  NACK | Timeout | Stuck00 | StuckFF | BrownOut | Frozen | WrongPart,
		},
		clock: clock, celsius: celsius, pressure: pressure, humidity: humidity,
		rng: rand.New(rand.NewPCG(280, 1)),
	}
	c.powerOn()
	return c
}

func (c *BME280) powerOn() {
	c.reg = [256]byte{}
	copy(c.reg[bmeCalibration1:], bmeTrim1[:])
	copy(c.reg[bmeCalibration2:], bmeTrim2[:])
	c.reg[bmeID] = 0x60
	copy(c.reg[bmeData:], []byte{0x80, 0, 0, 0x80, 0, 0, 0x80, 0})
	c.at, c.hum, c.begun = 0, 0, time.Time{}
}

// Tx is one transaction at the chip's address: a pointer or pairs of register and
// value, then a read that counts up (section 6.2).
func (c *BME280) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.clock.Now()
	if c.dipped() {
		c.powerOn()
		c.busy = now.Add(bmeStartUp)
	}
	switch {
	case c.has(Timeout):
		return errTimeout
	case c.has(NACK) || now.Before(c.busy):
		return errNoAck
	}
	c.convert(now)
	if len(w) > 0 {
		c.at = w[0]
	}
	for i := 0; i+1 < len(w); i += 2 {
		c.write(w[i], w[i+1], now)
	}
	if c.has(Stuck00) {
		fill(r, 0x00)
		return nil
	}
	for i := range r {
		switch {
		case c.has(StuckFF):
			r[i] = 0xFF
		case c.at == bmeID && c.has(WrongPart):
			r[i] = 0x58 // a BMP280
		case c.at == bmeStatus && !c.begun.IsZero() && c.mode() != 3:
			r[i] = bmeMeasuring
		default:
			r[i] = c.reg[c.at]
		}
		c.at++
	}
	return nil
}

func (c *BME280) mode() byte { return c.reg[bmeCtrlMeas] & 3 }

func (c *BME280) write(reg, v byte, now time.Time) {
	switch reg {
	case bmeReset:
		if v == 0xB6 {
			c.powerOn()
			c.busy = now.Add(bmeStartUp)
		}
	case bmeCtrlHum, bmeConfig:
		c.reg[reg] = v
	case bmeCtrlMeas:
		c.reg[reg] = v
		c.hum = c.reg[bmeCtrlHum] // takes effect with this write, section 5.4.3
		c.begun = time.Time{}
		if c.mode() != 0 {
			c.begun = now
		}
	}
}

// duration is the typical time of a measurement, section 9.1.
func (c *BME280) duration() time.Duration {
	samples := func(osrs byte) float64 {
		if osrs == 0 {
			return 0
		}
		return float64(int(1) << (min(osrs, 5) - 1))
	}
	ms := 1 + 2*samples(c.reg[bmeCtrlMeas]>>5)
	if p := samples(c.reg[bmeCtrlMeas] >> 2 & 7); p > 0 {
		ms += 2*p + 0.5
	}
	if h := samples(c.hum & 7); h > 0 {
		ms += 2*h + 0.5
	}
	return time.Duration(ms * float64(time.Millisecond))
}

// convert finishes a measurement that is due; normal mode makes one after the other.
func (c *BME280) convert(now time.Time) {
	if c.begun.IsZero() || now.Sub(c.begun) < c.duration() {
		return
	}
	c.begun = time.Time{}
	if c.mode() == 3 {
		c.begun = now
	} else {
		c.reg[bmeCtrlMeas] &^= 3
	}
	if c.has(Frozen) {
		return
	}
	// Bits to make the compensation give what there is; a quantity that is switched
	// off keeps the mark of no measurement.
	var t, p, h uint32 = 0x80000, 0x80000, 0x8000
	t = invert(1<<20, func(raw int32) bool {
		x, _ := bmeTemperature(raw)
		return float64(x)/100 >= c.celsius()
	})
	_, fine := bmeTemperature(int32(t))
	if c.reg[bmeCtrlMeas]>>2&7 != 0 {
		pressure := c.pressure() + c.Noise*c.rng.NormFloat64()
		p = invert(1<<20, func(raw int32) bool { return float64(bmePressure(raw, fine))/256 <= pressure })
	}
	if c.hum&7 != 0 {
		h = invert(1<<16, func(raw int32) bool { return float64(bmeHumidity(raw, fine))/102400 >= c.humidity() })
	}
	if c.reg[bmeCtrlMeas]>>5 == 0 {
		t = 0x80000
	}
	d := c.reg[bmeData : bmeData+8]
	d[0], d[1], d[2] = byte(p>>12), byte(p>>4), byte(p<<4)
	d[3], d[4], d[5] = byte(t>>12), byte(t>>4), byte(t<<4)
	binary.BigEndian.PutUint16(d[6:], uint16(h))
}

// invert returns the smallest raw word for which reached holds.
func invert(n int, reached func(raw int32) bool) uint32 {
	return uint32(min(n-1, sort.Search(n, func(i int) bool { return reached(int32(i)) })))
}

// The compensation formulas in integers, section 4.2.3, with the trimming words above.

func trim1(at int) int64 { return int64(int16(binary.LittleEndian.Uint16(bmeTrim1[at:]))) }

// bmeTemperature gives 0.01 °C and the fine temperature that the others need.
func bmeTemperature(raw int32) (centi, fine int32) {
	t1 := int32(binary.LittleEndian.Uint16(bmeTrim1[0:]))
	t2, t3 := int32(trim1(2)), int32(trim1(4))
	x := ((raw>>3 - t1<<1) * t2) >> 11
	y := ((((raw>>4 - t1) * (raw>>4 - t1)) >> 12) * t3) >> 14
	fine = x + y
	return (fine*5 + 128) >> 8, fine
}

// bmePressure gives Pa in 24.8 bits.
func bmePressure(raw, fine int32) uint32 {
	x := int64(fine) - 128000
	y := x*x*trim1(16) + (x*trim1(14))<<17 + trim1(12)<<35
	x = (x*x*trim1(10))>>8 + (x*trim1(8))<<12
	x = ((1<<47 + x) * int64(binary.LittleEndian.Uint16(bmeTrim1[6:]))) >> 33
	if x == 0 {
		return 0
	}
	p := ((int64(1048576-raw)<<31 - y) * 3125) / x
	x = (trim1(22) * (p >> 13) * (p >> 13)) >> 25
	y = (trim1(20) * p) >> 19
	return uint32(max(0, (p+x+y)>>8+trim1(18)<<4))
}

// bmeHumidity gives per cent in 22.10 bits.
func bmeHumidity(raw, fine int32) uint32 {
	h1, h3 := int64(bmeTrim1[25]), int64(bmeTrim2[2])
	h2 := int64(int16(binary.LittleEndian.Uint16(bmeTrim2[0:])))
	h4 := int64(int8(bmeTrim2[3]))<<4 | int64(bmeTrim2[4]&0x0F)
	h5 := int64(int8(bmeTrim2[5]))<<4 | int64(bmeTrim2[4]>>4)
	h6 := int64(int8(bmeTrim2[6]))
	v := int64(fine) - 76800
	a := (int64(raw)<<14 - h4<<20 - h5*v + 16384) >> 15
	b := (((((v*h6)>>10)*((v*h3)>>11+32768))>>10+2097152)*h2 + 8192) >> 14
	v = a * b
	v -= (((v >> 15) * (v >> 15) >> 7) * h1) >> 4
	return uint32(min(max(v, 0), 419430400) >> 12)
}
