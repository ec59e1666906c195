package bench

import (
	"math"
	"sync"
	"time"

	"fluewright/sensors"
)

// mcp9808Conversion is at the finest resolution, which the chip has after power-on.
const mcp9808Conversion = 250 * time.Millisecond

// mcp9808PowerOn are the registers after power-on (Linux drivers/hwmon/jc42.c for the
// identity; all else 0, the last the finest resolution).
var mcp9808PowerOn = [9]uint16{6: 0x0054, 7: 0x0400, 8: 0x0003}

// MCP9808 measures the temperature of air on I2C.
type MCP9808 struct {
	breakable

	clock   sensors.Clock
	celsius func() float64

	mu    sync.Mutex
	reg   [9]uint16
	begun time.Time // of the running conversion
}

// NewMCP9808 returns the chip just after power-on, when it begins to convert.
func NewMCP9808(clock sensors.Clock, celsius func() float64) *MCP9808 {
	return &MCP9808{
		breakable: breakable{
			kind: "mcp9808",
			can:  NACK | Timeout | Stuck00 | StuckFF | BrownOut | Frozen | WrongPart,
		},
		clock: clock, celsius: celsius, reg: mcp9808PowerOn, begun: clock.Now(),
	}
}

// Tx is one transaction: a pointer with or without what to write, then a read.
func (c *MCP9808) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.clock.Now()
	if c.dipped() {
		c.reg, c.begun = mcp9808PowerOn, now
	}
	switch {
	case c.has(Timeout):
		return errTimeout
	case c.has(NACK):
		return errNoAck
	}
	if c.reg[1]&0x0100 == 0 && now.Sub(c.begun) >= mcp9808Conversion && !c.has(Frozen) {
		c.begun = now
		c.reg[5] = uint16(int16(math.Round(clamp(c.celsius(), -40, 125)*16))) & 0x1FFF
	}
	var at byte
	if len(w) > 0 {
		at = w[0] & 0x0F
	}
	switch {
	case len(w) == 3 && at >= 1 && at <= 4:
		c.reg[at] = uint16(w[1])<<8 | uint16(w[2])
	case len(w) == 2 && at == 8:
		c.reg[at] = uint16(w[1])
	}
	var word uint16
	if int(at) < len(c.reg) {
		word = c.reg[at]
	}
	if at == 7 && c.has(WrongPart) {
		word = 0x0201 // an MCP9804
	}
	fill(r, 0xFF)
	switch {
	case c.has(Stuck00):
		fill(r, 0x00)
	case c.has(StuckFF):
	case at == 8:
		copy(r, []byte{byte(word)})
	default:
		copy(r, []byte{byte(word >> 8), byte(word)})
	}
	return nil
}
