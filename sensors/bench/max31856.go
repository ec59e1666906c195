package bench

import (
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"fluewright/sensors"
)

// Registers of the MAX31856, datasheet 19-7534 Rev 0, Table 6 p. 18.
const (
	tcCR0   = 0x00
	tcCR1   = 0x01
	tcCJHF  = 0x03
	tcCJLF  = 0x04
	tcLTHFT = 0x05
	tcLTLFT = 0x07
	tcCJTO  = 0x09
	tcCJTH  = 0x0A
	tcLTCBH = 0x0C
	tcSR    = 0x0F

	tcRegisters = 0x10
)

// Bits of CR0 and SR, pp. 19 and 26.
const (
	cr0Auto     = 0x80
	cr0OneShot  = 0x40
	cr0OpenTest = 0x30
	cr0CJOff    = 0x08
	cr0Latch    = 0x04
	cr0Clear    = 0x02
	cr050Hz     = 0x01

	srCJRange = 0x80
	srTCRange = 0x40
	srCJHigh  = 0x20
	srCJLow   = 0x10
	srTCHigh  = 0x08
	srTCLow   = 0x04
	srOVUV    = 0x02
	srOpen    = 0x01
)

// tcPowerOn are the power-on values, Table 6 p. 18.
var tcPowerOn = [tcRegisters]byte{
	0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80,
}

// tcRange is what each type measures, °C, Table 1 p. 12, in the order of CR1's codes.
var tcRange = [8][2]float64{
	{250, 1820},
	{-200, 1000},
	{-210, 1200},
	{-200, 1372},
	{-200, 1300},
	{-50, 1768},
	{-50, 1768},
	{-200, 400},
}

// MAX31856 is a thermocouple amplifier on SPI. It gives the linearised temperature of
// whatever type its register names: the wire always matches. Voltage mode (types above
// 7) is not modelled; the temperature stays where it was.
type MAX31856 struct {
	breakable

	// Noise is the standard deviation of one conversion, K.
	Noise float64

	clock     sensors.Clock
	hot, cold func() float64

	mu    sync.Mutex
	rng   *rand.Rand
	reg   [tcRegisters]byte
	begun time.Time // of the running conversion; zero when idle
	count uint64    // conversions since automatic mode was entered
}

// NewMAX31856 returns the chip just after power-on. hot and cold give the temperature of
// the junctions, °C, whenever a conversion ends.
func NewMAX31856(clock sensors.Clock, hot, cold func() float64) *MAX31856 {
	return &MAX31856{
		breakable: breakable{
			kind: "max31856",
			can: Timeout | Stuck00 | StuckFF | BrownOut | Open | OverVoltage | OutOfRange |
				Frozen | WrongPart | ColdJunctionHot,
		},
		clock: clock, hot: hot, cold: cold,
		rng: rand.New(rand.NewPCG(31856, 1)),
		reg: tcPowerOn,
	}
}

// Tx is one assertion of the chip select: an address byte (bit 7 set to write), then
// data with the address counting up, p. 15.
func (c *MAX31856) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.dipped() {
		c.reg, c.begun = tcPowerOn, time.Time{}
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
		// A MAX31855 in its place: 32 bits whatever it is sent (19-5793 Rev 5 p. 9),
		// here 25 °C at both junctions.
		fill(r, 0)
		copy(r, []byte{0x01, 0x90, 0x19, 0x00})
		return nil
	}
	if len(w) == 0 { // selected and left alone
		fill(r, 0xFF)
		return nil
	}
	// A conversion that has ended meanwhile is made up for now; the chip needs no
	// goroutine, at the price of taking its inputs when it is looked at.
	c.convert()
	was := c.reg[tcCR0]
	addr, write := w[0]&0x7F, w[0]&0x80 != 0
	for i := range w {
		out := byte(0xFF) // released and pulled up
		if i > 0 {
			if write {
				c.write(addr, w[i])
			} else if addr < tcRegisters {
				out = c.reg[addr]
			}
			addr = (addr + 1) & 0x7F
		}
		if i < len(r) {
			r[i] = out
		}
	}
	c.deselect(was)
	return nil
}

// write stores into the writable registers; the cold junction only when its own sensor
// is off, p. 24.
func (c *MAX31856) write(addr, v byte) {
	switch {
	case addr <= tcCJTO,
		(addr == tcCJTH || addr == tcCJTH+1) && c.reg[tcCR0]&cr0CJOff != 0:
		c.reg[addr] = v
	}
}

// deselect is the rising edge of the chip select, where conversions start, p. 19.
func (c *MAX31856) deselect(was byte) {
	cr0 := c.reg[tcCR0]
	if cr0&cr0Clear != 0 {
		if cr0&cr0Latch != 0 { // no effect in comparator mode
			c.reg[tcSR] = 0
		}
		c.reg[tcCR0] &^= cr0Clear
	}
	switch {
	case cr0&cr0Auto != 0:
		c.reg[tcCR0] &^= cr0OneShot // without effect in automatic mode
		if was&cr0Auto == 0 {
			c.begun, c.count = c.clock.Now(), 0
		}
	case cr0&cr0OneShot != 0 && was&cr0OneShot == 0:
		c.begun = c.clock.Now()
	case was&cr0Auto != 0:
		c.begun = time.Time{}
	}
}

// conversion is how long one takes, p. 4 and p. 20: the typical time, plus averaging,
// plus the test for an open wire (Table 4 p. 14) where it is made.
func (c *MAX31856) conversion(first, tested bool) time.Duration {
	ms, more := 143.0, 33.33
	switch hz50 := c.reg[tcCR0]&cr050Hz != 0; {
	case first && hz50:
		ms, more = 169, 40
	case !first && hz50:
		ms, more = 98, 20
	case !first:
		ms, more = 82, 16.67
	}
	samples := 1 << min(4, c.reg[tcCR1]>>4&7)
	ms += float64(samples-1) * more
	if tested {
		ms += [4]float64{0, 13.3, 33.4, 113.4}[c.reg[tcCR0]>>4&3]
	}
	if c.reg[tcCR0]&cr0CJOff != 0 {
		ms -= 25
	}
	return time.Duration(ms * float64(time.Millisecond))
}

// convert finishes the conversions that are due.
func (c *MAX31856) convert() {
	if c.begun.IsZero() {
		return
	}
	waited := c.clock.Now().Sub(c.begun)
	if c.reg[tcCR0]&cr0Auto == 0 {
		// A single shot always makes the test for an open wire, Table 4 p. 14.
		if waited >= c.conversion(true, true) {
			c.reg[tcCR0] &^= cr0OneShot
			c.begun = time.Time{}
			c.latch(true)
		}
		return
	}
	// Automatic: many may have passed; only the last counts, and whether one of them
	// made the test for an open wire (every 16th, Table 4).
	first := c.conversion(true, true)
	if c.count == 0 && waited < first {
		return
	}
	done := c.count
	if done == 0 {
		waited -= first
		c.begun = c.begun.Add(first)
		done = 1
	}
	each := c.conversion(false, false)
	n := waited / each
	c.begun = c.begun.Add(n * each)
	done += uint64(n)
	if done == c.count {
		return
	}
	tested := c.count == 0 || done/16 != c.count/16
	c.count = done
	c.latch(tested)
}

// latch puts what the junctions are at into the registers.
func (c *MAX31856) latch(tested bool) {
	if c.has(Frozen) {
		return // time passes, registers do not follow
	}
	var status byte
	if c.has(OverVoltage) {
		// Suspends conversion and the other tests, p. 14.
		c.status(srOVUV)
		return
	}
	cold := c.cold()
	if c.has(ColdJunctionHot) {
		cold = 95
	}
	terminals := cold
	if c.reg[tcCR0]&cr0CJOff == 0 {
		cold += float64(int8(c.reg[tcCJTO])) / 16
		if cold < -55 || cold > 125 {
			status |= srCJRange
		}
		put := int16(math.Round(clamp(cold, -64, 127.984375)*64)) << 2
		c.reg[tcCJTH], c.reg[tcCJTH+1] = byte(put>>8), byte(put)
	}
	cold = float64(int16(c.reg[tcCJTH])<<8|int16(c.reg[tcCJTH+1])) / 256

	hot := c.hot()
	if c.has(OutOfRange) {
		hot = 2500
	}
	if c.has(Open) {
		// Floating inputs: near the terminals, drifting.
		hot = terminals + 3*c.rng.NormFloat64()
	}
	switch {
	case !tested || c.reg[tcCR0]&cr0OpenTest == 0:
		status |= c.reg[tcSR] & srOpen // stays as it was, p. 14
	case c.has(Open):
		status |= srOpen
	}
	// Compensation adds what the chip believes its terminals to be at.
	hot += cold - terminals + c.Noise*c.rng.NormFloat64()
	if k := c.reg[tcCR1] & 0x0F; k < 8 {
		lo, hi := tcRange[k][0], tcRange[k][1]
		if hot < lo || hot > hi {
			status |= srTCRange
			hot = clamp(hot, lo, hi) // p. 15
		}
		put := int32(math.Round(hot*128)) << 5
		c.reg[tcLTCBH], c.reg[tcLTCBH+1], c.reg[tcLTCBH+2] = byte(put>>16), byte(put>>8), byte(put)
	}
	c.status(status | c.thresholds(cold, hot))
}

// thresholds compares with the limits in the registers.
func (c *MAX31856) thresholds(cold, hot float64) (status byte) {
	limit := func(at int) float64 { return float64(int16(c.reg[at])<<8|int16(c.reg[at+1])) / 16 }
	if cold > float64(int8(c.reg[tcCJHF])) {
		status |= srCJHigh
	}
	if cold < float64(int8(c.reg[tcCJLF])) {
		status |= srCJLow
	}
	if hot > limit(tcLTHFT) {
		status |= srTCHigh
	}
	if hot < limit(tcLTLFT) {
		status |= srTCLow
	}
	return status
}

// status sets the fault bits: as they are in comparator mode, kept until cleared in
// interrupt mode, p. 19.
func (c *MAX31856) status(s byte) {
	if c.reg[tcCR0]&cr0Latch != 0 {
		s |= c.reg[tcSR]
	}
	c.reg[tcSR] = s
}

func clamp(x, lo, hi float64) float64 { return math.Min(hi, math.Max(lo, x)) }

func fill(b []byte, v byte) {
	for i := range b {
		b[i] = v
	}
}
