package bench

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"fluewright/sensors"
)

// Registers of the MCP9600 and MCP9601, datasheet DS20005426G Table 5-1.
const (
	mcpHot      = 0x00
	mcpDelta    = 0x01
	mcpCold     = 0x02
	mcpStatus   = 0x04
	mcpDevice   = 0x06
	mcpAlert1   = 0x10
	mcpAlert4   = 0x13
	mcpIdentity = 0x20

	mcpUpdated = 0x40
	mcpShort   = 0x20
	mcpRange   = 0x10

	mcpConversion = 320 * time.Millisecond // 18 bits, Table 5-3
	mcpPowerUp    = 20 * time.Millisecond  // p. 7
)

// MCP9601 is a thermocouple converter on I2C that notices an open thermocouple. Like the
// MAX31856 here, its wire is of whatever type its register names.
type MCP9601 struct {
	breakable

	// Noise is the standard deviation of one conversion, K.
	Noise float64

	clock     sensors.Clock
	hot, cold func() float64

	mu    sync.Mutex
	rng   *rand.Rand
	reg   map[byte][2]byte // one-byte registers use the first
	begun time.Time        // of the running conversion
	busy  time.Time        // nothing is acknowledged before
	sent  [2]byte          // the bytes transmitted last
}

// NewMCP9601 returns the chip just after power-on, when it begins to convert.
func NewMCP9601(clock sensors.Clock, hot, cold func() float64) *MCP9601 {
	c := &MCP9601{
		breakable: breakable{
			kind: "mcp9601",
			can: NACK | Timeout | Stuck00 | StuckFF | BrownOut | Open | ShortGround | OutOfRange |
				Frozen | WrongPart | ColdJunctionHot | Stretch,
		},
		clock: clock, hot: hot, cold: cold,
		rng: rand.New(rand.NewPCG(9601, 1)),
	}
	c.powerOn()
	c.busy = time.Time{}
	return c
}

func (c *MCP9601) powerOn() {
	c.reg = map[byte][2]byte{mcpIdentity: {0x41, 0x10}}
	c.begun = c.clock.Now()
	c.busy = c.begun.Add(mcpPowerUp)
}

// Tx is one transaction: a pointer with or without what to write, then a read.
func (c *MCP9601) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.clock.Now()
	if c.dipped() {
		c.powerOn()
	}
	switch {
	case c.has(Timeout):
		return errTimeout
	case c.has(NACK) || now.Before(c.busy):
		return errNoAck
	}
	c.convert(now)
	var at byte
	if len(w) > 0 {
		at = w[0]
		c.write(at, w[1:], now)
	}
	if len(r) == 0 {
		return nil
	}
	value := c.reg[at]
	if at == mcpIdentity && c.has(WrongPart) {
		value = [2]byte{0x40, 0x10} // an MCP9600
	}
	if c.has(Stretch) && c.rng.IntN(8) == 0 {
		value = c.sent // section 4.1.7
	}
	c.sent = value
	fill(r, 0xFF)
	copy(r, value[:])
	switch {
	case c.has(Stuck00):
		fill(r, 0x00)
	case c.has(StuckFF):
		fill(r, 0xFF)
	}
	return nil
}

func (c *MCP9601) write(at byte, b []byte, now time.Time) {
	v := c.reg[at]
	switch {
	case len(b) == 0:
	case at == mcpStatus:
		if b[0]&mcpUpdated == 0 { // writing 1 does nothing
			c.reg[at] = [2]byte{v[0] &^ mcpUpdated}
		}
	case at >= mcpAlert1 && at <= mcpAlert4:
		copy(v[:], b)
		v[1] &^= 0x03 // not implemented, Register 5-9
		c.reg[at] = v
	case at > mcpStatus && at < mcpAlert1:
		c.reg[at] = [2]byte{b[0]}
		if at == mcpDevice {
			c.begun = now
		}
	}
}

// convert finishes the conversion that is due; in normal mode the next follows.
func (c *MCP9601) convert(now time.Time) {
	if c.reg[mcpDevice][0]&0x03 != 0 || now.Sub(c.begun) < mcpConversion || c.has(Frozen) {
		return
	}
	c.begun = now.Add(-(now.Sub(c.begun) % mcpConversion))
	status := c.reg[mcpStatus][0] &^ (mcpShort | mcpRange)
	cold := c.cold()
	if c.has(ColdJunctionHot) {
		cold = 95
	}
	hot := c.hot() + c.Noise*c.rng.NormFloat64()
	switch {
	case c.has(ShortGround):
		status |= mcpShort
	case c.has(Open | OutOfRange):
		status |= mcpRange
	}
	put := func(at byte, celsius float64) int16 {
		v := int16(math.Round(clamp(celsius*16, math.MinInt16, math.MaxInt16)))
		var b [2]byte
		binary.BigEndian.PutUint16(b[:], uint16(v))
		c.reg[at] = b
		return v
	}
	j := put(mcpCold, clamp(cold, -40, 125))
	if status&mcpRange == 0 { // else they stand still, section 5.2.1
		d := put(mcpDelta, hot-float64(j)/16)
		put(mcpHot, float64(d)/16+float64(j)/16)
	}
	c.reg[mcpStatus] = [2]byte{status | mcpUpdated}
}
