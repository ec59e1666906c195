package max31856

import (
	"time"

	"fluewright/sensors/thermocouple"
)

// Registers (Table 6, p. 18). A read starts at any address, a write at address | 0x80;
// both go on to the following ones while chip select is low.
const (
	regCR0    = 0x00
	regCR1    = 0x01
	regMask   = 0x02
	regCJHF   = 0x03 // cold-junction high threshold, °C
	regCJLF   = 0x04
	regLTHFTH = 0x05 // thermocouple thresholds, 2^-4 °C
	regLTHFTL = 0x06
	regLTLFTH = 0x07
	regLTLFTL = 0x08
	regCJTO   = 0x09 // cold-junction offset; the chip adds it itself (p. 13)
	regCJTH   = 0x0A
	regCJTL   = 0x0B
	regLTCBH  = 0x0C
	regLTCBM  = 0x0D
	regLTCBL  = 0x0E
	regSR     = 0x0F

	registers = 16
	writeBit  = 0x80
)

// CR0 (p. 19).
const (
	cr0Auto    = 0x80
	cr0OneShot = 0x40 // clears itself when the conversion is done
	cr0OpenPos = 4
	cr0Mains50 = 0x01 // may be changed only in the off mode
)

// CR1 (p. 20).
const cr1AveragePos = 4

// SR (p. 26).
const (
	srColdRange = 0x80
	srHotRange  = 0x40
	srColdHigh  = 0x20
	srColdLow   = 0x10
	srHotHigh   = 0x08
	srHotLow    = 0x04
	srVoltage   = 0x02 // OVUV: conversions are suspended
	srOpen      = 0x01
)

// typeInfo is the type's code in CR1 (p. 20) and the range in which the chip linearises
// it; beyond, it reports the limit itself (Table 1, p. 12, and p. 15).
type typeInfo struct {
	code      byte
	low, high float64
}

// types is indexed by thermocouple.Type; the entry of no type is empty.
var types = [...]typeInfo{
	thermocouple.B: {0, 250, 1820},
	thermocouple.E: {1, -200, 1000},
	thermocouple.J: {2, -210, 1200},
	thermocouple.K: {3, -200, 1372},
	thermocouple.N: {4, -200, 1300},
	thermocouple.R: {5, -50, 1768},
	thermocouple.S: {6, -50, 1768},
	thermocouple.T: {7, -200, 400},
}

// OpenTest is how long the chip waits in its test for an open circuit, by the source
// resistance of probe and filter (Table 4, p. 14). There is no way to leave it out.
type OpenTest byte

// The tests.
const (
	Below5kOhm      OpenTest = iota + 1 // the usual one: no filter resistors to speak of
	Below40kOhm                         // 5 to 40 kΩ, time constant below 2 ms
	Below40kOhmSlow                     // 5 to 40 kΩ, time constant above 2 ms
)

// duration is the test's longest time, with the cold junction on (Table 4, p. 14).
func (o OpenTest) duration() time.Duration {
	switch o {
	case Below40kOhm:
		return 37 * time.Millisecond
	case Below40kOhmSlow:
		return 125 * time.Millisecond
	}
	return 15 * time.Millisecond
}
