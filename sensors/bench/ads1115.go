package bench

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"fluewright/sensors"
)

// The ADS1115's configuration, datasheet SBAS444D section 9.6.3.
const (
	adsReset = 0x8583
	adsIdle  = 0x8000
	adsOnce  = 0x0100
)

// adsFullScale is by bits 11 to 9, V.
var adsFullScale = [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}

// adsRate is by bits 7 to 5, samples a second.
var adsRate = [8]float64{8, 16, 32, 64, 128, 250, 475, 860}

// Transmitter is an analog transmitter of differential pressure, 0.5 to 4.5 V at a supply
// of 5 V, with the ADS1115 that converts it: the signal is on input 0, the supply on
// input 1. The converter's clock is 10 % slow, as the datasheet allows (section 7.5).
type Transmitter struct {
	breakable

	// Noise is the standard deviation of the pressure, Pa.
	Noise float64

	clock    sensors.Clock
	pressure func() float64
	low      float64 // at 0.5 V
	high     float64 // at 4.5 V

	mu     sync.Mutex
	rng    *rand.Rand
	config uint16
	result uint16
	begun  time.Time // of the running conversion; zero when idle
}

// NewTransmitter returns both just after power-on. pressure is what the transmitter is
// connected to, Pa; low and high are its range.
func NewTransmitter(clock sensors.Clock, pressure func() float64, low, high float64) *Transmitter {
	return &Transmitter{
		breakable: breakable{
			kind: "transmitter",
			can: NACK | Timeout | Stuck00 | StuckFF | BrownOut | Frozen | Open | ShortSupply |
				OutOfRange | SupplyLow,
		},
		clock: clock, pressure: pressure, low: low, high: high,
		rng: rand.New(rand.NewPCG(1115, 1)), config: adsReset,
	}
}

// Reset is the general call 0x00 06, which this chip obeys (section 9.4.1).
func (c *Transmitter) Reset() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.powerOn()
}

func (c *Transmitter) powerOn() { c.config, c.result, c.begun = adsReset, 0, time.Time{} }

// Tx is one transaction: a pointer with or without a word to write, then a read.
func (c *Transmitter) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.dipped() {
		c.powerOn()
	}
	switch {
	case c.has(Timeout):
		return errTimeout
	case c.has(NACK):
		return errNoAck
	}
	now := c.clock.Now()
	c.convert(now)
	var at byte
	if len(w) > 0 {
		at = w[0]
	}
	if at == 1 && len(w) == 3 {
		v := binary.BigEndian.Uint16(w[1:])
		c.config = v &^ adsIdle
		if v&adsIdle != 0 && c.begun.IsZero() {
			c.begun = now
		}
	}
	word := c.result
	switch at {
	case 1:
		word = c.config
		if c.begun.IsZero() {
			word |= adsIdle
		}
	case 2, 3: // the comparator's thresholds, as after a reset (from memory)
		word = [...]uint16{0x8000, 0x7FFF}[at-2]
	}
	fill(r, 0xFF)
	copy(r, []byte{byte(word >> 8), byte(word)})
	switch {
	case c.has(Stuck00):
		fill(r, 0x00)
	case c.has(StuckFF):
		fill(r, 0xFF)
	}
	return nil
}

// convert finishes the conversion that is due.
func (c *Transmitter) convert(now time.Time) {
	seconds := 1 / (0.9 * adsRate[c.config>>5&7])
	if c.begun.IsZero() || now.Sub(c.begun) < time.Duration(seconds*float64(time.Second)) {
		return
	}
	c.begun = time.Time{}
	if c.has(Frozen) {
		return
	}
	signal, supply := c.volts()
	in := 0.0
	switch c.config >> 12 & 7 {
	case 4:
		in = signal
	case 5:
		in = supply
	}
	code := math.Round(in / adsFullScale[c.config>>9&7] * 32768)
	c.result = uint16(int16(clamp(code, math.MinInt16, math.MaxInt16)))
}

// volts are at the inputs.
func (c *Transmitter) volts() (signal, supply float64) {
	supply = 5.02
	if c.has(SupplyLow) {
		supply = 4.1
	}
	pressure := c.pressure() + c.Noise*c.rng.NormFloat64()
	if c.has(OutOfRange) {
		pressure = c.high + 0.05*(c.high-c.low) // before it says that it has failed
	}
	spans := clamp((pressure-c.low)/(c.high-c.low), -0.05, 1.1)
	switch {
	case c.has(Open):
		return 0, supply
	case c.has(ShortSupply):
		return supply, supply
	}
	return (0.1 + 0.8*spans) * supply, supply
}
