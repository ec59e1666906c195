package bench

import (
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"fluewright/sensors"
)

// Commands of the SDP8xx. The numbers, times and refusals here and below are those of
// Sensirion's driver embedded-i2c-sdp (sdp_i2c.h) and of public code that quotes the
// datasheet SDP8xx-Digital v1.1.
const (
	sdpMassFlowAverage = 0x3603
	sdpMassFlow        = 0x3608
	sdpPressureAverage = 0x3615
	sdpPressure        = 0x361E
	sdpStop            = 0x3FF9
	sdpOnceMassFlow    = 0x3624
	sdpOncePressure    = 0x362F
	sdpIdentify1       = 0x367C
	sdpIdentify2       = 0xE102
	sdpSleep           = 0x3677
)

const (
	sdpPowerUp  = 25 * time.Millisecond
	sdpFirst    = 8 * time.Millisecond
	sdpSettled  = 20 * time.Millisecond
	sdpEach     = 500 * time.Microsecond
	sdpOnce     = 45 * time.Millisecond
	sdpIdleWait = 500 * time.Microsecond
	sdpReset    = 2 * time.Millisecond

	sdpCalibrated = 96600.0 // Pa: in pressure mode the reading is true at this ambient
)

// SDP8xx is a differential-pressure sensor on I2C, by default an SDP810-125Pa.
type SDP8xx struct {
	breakable

	// Noise is the standard deviation of one measurement, Pa; averaging quarters it.
	Noise float64

	clock                      sensors.Clock
	pressure, ambient, celsius func() float64

	mu    sync.Mutex
	rng   *rand.Rand
	mode  uint16    // running measurement command, 0 when idle, sdpSleep when asleep
	since time.Time // of the mode
	read  time.Time // of the latest result
	busy  time.Time // nothing is acknowledged before
	ident uint16    // how far the identification has come
	last  [9]byte
}

// NewSDP8xx returns the sensor just after power-on. pressure is port "+" minus port "−",
// Pa, so the draft when "−" is at the flue; ambient is absolute, Pa; celsius is the
// sensor's own temperature.
func NewSDP8xx(clock sensors.Clock, pressure, ambient, celsius func() float64) *SDP8xx {
	return &SDP8xx{
		breakable: breakable{
			kind: "sdp8xx",
			can:  NACK | Timeout | BadCRC | Stuck00 | StuckFF | BrownOut | Frozen | WrongPart,
		},
		clock: clock, pressure: pressure, ambient: ambient, celsius: celsius,
		rng: rand.New(rand.NewPCG(810, 1)),
	}
}

// Tx is one transaction at the sensor's address.
func (c *SDP8xx) Tx(w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.clock.Now()
	if c.dipped() {
		// After the dip it is idle, and silent while it starts.
		c.mode, c.ident, c.busy = 0, 0, now.Add(sdpPowerUp)
	}
	switch {
	case c.has(Timeout):
		return errTimeout
	case c.has(NACK) || now.Before(c.busy):
		return errNoAck
	}
	if len(w) > 0 {
		if err := c.command(w, now); err != nil {
			return err
		}
	}
	if len(r) > 0 {
		return c.answer(r, now)
	}
	return nil
}

// Reset is the general call 0x00 06, which does not reach a sleeping sensor.
func (c *SDP8xx) Reset() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.mode != sdpSleep {
		c.mode, c.ident, c.busy = 0, 0, c.clock.Now().Add(sdpReset)
	}
}

// command takes what was written; while it measures it acknowledges only the stop.
func (c *SDP8xx) command(w []byte, now time.Time) error {
	if c.mode == sdpSleep {
		// Any write header wakes it and is refused.
		c.mode, c.busy = 0, now.Add(sdpReset)
		return errNoAck
	}
	once := c.mode == sdpOnceMassFlow || c.mode == sdpOncePressure
	if once && now.Sub(c.since) >= sdpOnce {
		once = false
	}
	if once {
		return errNoAck
	}
	if len(w) < 2 {
		return nil // half a command does nothing
	}
	cmd := uint16(w[0])<<8 | uint16(w[1])
	if c.continuous() && cmd != sdpStop {
		return errNoAck // also the start again: it must be sent only once
	}
	// The two halves of the identification are two writes, with nothing in between.
	ident := c.ident
	c.ident = 0
	switch cmd {
	case sdpStop:
		c.mode, c.busy = 0, now.Add(sdpIdleWait)
	case sdpMassFlow, sdpMassFlowAverage, sdpPressure, sdpPressureAverage,
		sdpOnceMassFlow, sdpOncePressure, sdpSleep:
		c.mode, c.since, c.read = cmd, now, time.Time{}
	case sdpIdentify1:
		c.ident = sdpIdentify1
	case sdpIdentify2:
		if ident == sdpIdentify1 {
			c.ident = sdpIdentify2
		}
	default:
		return errNoAck // no such command
	}
	return nil
}

func (c *SDP8xx) continuous() bool {
	switch c.mode {
	case sdpMassFlow, sdpMassFlowAverage, sdpPressure, sdpPressureAverage:
		return true
	}
	return false
}

// answer is the read header: refused while there is no new result.
func (c *SDP8xx) answer(r []byte, now time.Time) error {
	switch {
	case c.has(Stuck00):
		fill(r, 0x00)
		return nil
	case c.has(StuckFF):
		fill(r, 0xFF)
		return nil
	case c.ident == sdpIdentify2:
		c.ident = 0
		c.send(r, c.identity())
		return nil
	case c.continuous():
		if now.Sub(c.since) < sdpFirst || !c.read.IsZero() && now.Sub(c.read) < sdpEach {
			return errNoAck
		}
	case c.mode == sdpOnceMassFlow || c.mode == sdpOncePressure:
		if now.Sub(c.since) < sdpOnce {
			return errNoAck
		}
	default:
		return errNoAck
	}
	if !c.has(Frozen) || c.last == [9]byte{} {
		c.measure(now)
	}
	c.read = now
	if !c.continuous() {
		c.mode = 0 // a single result is handed out once
	}
	c.send(r, c.last[:])
	return nil
}

// measure makes a frame of what there is: pressure, temperature, scale, each with its
// checksum.
func (c *SDP8xx) measure(now time.Time) {
	dp, noise := c.pressure(), c.Noise
	switch c.mode {
	case sdpPressure, sdpPressureAverage, sdpOncePressure:
		dp *= c.ambient() / sdpCalibrated
	}
	if c.mode == sdpPressureAverage || c.mode == sdpMassFlowAverage {
		noise /= 4
	}
	dp += noise * c.rng.NormFloat64()
	if c.continuous() && now.Sub(c.since) < sdpSettled {
		dp *= 1.03 // a few per cent off in the first milliseconds
	}
	scale := 240.0
	if c.has(WrongPart) {
		scale = 60
	}
	// Beyond the range of a word the reading stays at its end.
	put := func(at int, v float64) {
		n := int16(clamp(math.Round(v), math.MinInt16, math.MaxInt16))
		c.last[at], c.last[at+1] = byte(n>>8), byte(n)
		c.last[at+2] = crc8(c.last[at : at+2])
	}
	put(0, dp*scale)
	put(3, c.celsius()*200)
	put(6, scale)
}

// identity is product number and serial: an SDP810-125Pa, or an SDP810-500Pa as the
// wrong part.
func (c *SDP8xx) identity() []byte {
	words := [6]uint16{0x0302, 0x0B01, 0x4455, 0x6677, 0x8899, 0xAABB}
	if c.has(WrongPart) {
		words[1] = 0x0A01
	}
	var frame []byte
	for _, w := range words {
		pair := []byte{byte(w >> 8), byte(w)}
		frame = append(frame, pair[0], pair[1], crc8(pair))
	}
	return frame
}

// send fills r; a master that reads on past the end sees the released line.
func (c *SDP8xx) send(r, frame []byte) {
	fill(r, 0xFF)
	copy(r, frame)
	if c.has(BadCRC) {
		for i := 2; i < len(r); i += 3 {
			r[i] ^= 0x13
		}
	}
}

// crc8 is polynomial 0x31, initial value 0xFF, not reflected.
func crc8(b []byte) byte {
	crc := byte(0xFF)
	for _, x := range b {
		crc ^= x
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
