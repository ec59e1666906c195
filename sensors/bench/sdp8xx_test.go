package bench

import (
	"bytes"
	"encoding/hex"
	"errors"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/sensors"
)

type sdp struct {
	*SDP8xx
	t                          *testing.T
	pressure, ambient, celsius float64
}

func newSDP(t *testing.T) *sdp {
	x := &sdp{t: t, ambient: sdpCalibrated, celsius: 25}
	x.SDP8xx = NewSDP8xx(sensors.SystemClock{},
		func() float64 { return x.pressure }, func() float64 { return x.ambient }, func() float64 { return x.celsius })
	return x
}

func (x *sdp) send(cmd uint16) error { return x.Tx([]byte{byte(cmd >> 8), byte(cmd)}, nil) }

func (x *sdp) must(cmd uint16) {
	x.t.Helper()
	if err := x.send(cmd); err != nil {
		x.t.Fatalf("command %04x: %v", cmd, err)
	}
}

func (x *sdp) want(name, frame string) {
	x.t.Helper()
	frame = strings.ToLower(strings.ReplaceAll(frame, " ", ""))
	r := make([]byte, len(frame)/2)
	if err := x.Tx(nil, r); err != nil {
		x.t.Errorf("%s: %v", name, err)
	} else if got := hex.EncodeToString(r); got != frame {
		x.t.Errorf("%s: %s, want %s", name, got, frame)
	}
}

func (x *sdp) refused(name string, err error) {
	x.t.Helper()
	if !errors.Is(err, errNoAck) {
		x.t.Errorf("%s: error %v, want no acknowledgement", name, err)
	}
}

// Pairs of bytes and CRC: BE EF from Sensirion's driver documentation, the others from
// the tests of the crate sdp8xx.
func TestCRC8(t *testing.T) {
	for _, v := range [][3]byte{
		{0xBE, 0xEF, 0x92},
		{0, 0, 0x81},
		{0, 1, 0xB0},
		{3, 4, 0x68},
		{6, 7, 0x4C},
		{3, 2, 0xCE},
		{2, 1, 0x69},
		{0xFF, 0xFF, 0xAC},
		{0x44, 0x55, 0x00},
		{0x66, 0x77, 0xE1},
		{0x88, 0x99, 0x24},
		{0xAA, 0xBB, 0xC5},
	} {
		if got := crc8(v[:2]); got != v[2] {
			t.Errorf("% x: %#02x, want %#02x", v[:2], got, v[2])
		}
	}
}

// Frames after Sensirion's embedded-i2c-sdp and python-i2c-sdp: words, checksums and
// scale 240 of the 125 Pa parts.
func TestSDP8xxFrames(t *testing.T) {
	for _, v := range []struct {
		pascals, celsius float64
		frame            string
	}{
		{0, 25, "00 00 81 13 88 01 00 F0 03"},
		{-12.5, 23.5, "F4 48 9E 12 5C 35 00 F0 03"},
		{-60, 20, "C7 C0 C2 0F A0 E4 00 F0 03"},
		{0.5, -5, "00 78 C0 FC 18 D7 00 F0 03"},
		{-0.5, 22.5, "FF 88 C3 11 94 E6 00 F0 03"},
	} {
		bubble(t, v.frame, func(t *testing.T) {
			x := newSDP(t)
			x.pressure, x.celsius = v.pascals, v.celsius
			x.must(sdpPressureAverage)
			wait(sdpSettled)
			x.want("frame", v.frame)
			wait(time.Second)
			x.want("cut short", v.frame[:8])
		})
	}
	bubble(t, "ambient pressure scales the reading", func(t *testing.T) {
		x := newSDP(t)
		x.pressure, x.ambient = 100, 100650 // a true 100 Pa reads 104.2 at 1006.5 mbar
		x.must(sdpPressure)
		wait(time.Second)
		r := make([]byte, 2)
		if err := x.Tx(nil, r); err != nil {
			t.Fatal(err)
		}
		if got := float64(int16(r[0])<<8|int16(r[1])) / 240; got < 104.15 || got > 104.25 {
			t.Errorf("reads %.3f Pa", got)
		}
	})
	bubble(t, "product number and serial", func(t *testing.T) {
		x := newSDP(t)
		x.must(sdpIdentify1)
		x.must(sdpIdentify2)
		x.want("identity", "03 02 CE 0B 01 AA 44 55 00 66 77 E1 88 99 24 AA BB C5")
		x.refused("again", x.Tx(nil, make([]byte, 3)))
	})
}

func TestSDP8xxRefuses(t *testing.T) {
	read := func(x *sdp) error { return x.Tx(nil, make([]byte, 9)) }
	bubble(t, "reading while idle", func(t *testing.T) {
		x := newSDP(t)
		x.refused("idle", read(x))
	})
	bubble(t, "reading before the first result and twice within half a millisecond", func(t *testing.T) {
		x := newSDP(t)
		x.must(sdpPressureAverage)
		wait(7 * time.Millisecond)
		x.refused("early", read(x))
		wait(time.Millisecond)
		if err := read(x); err != nil {
			t.Error(err)
		}
		x.refused("at once", read(x))
		wait(sdpEach)
		if err := read(x); err != nil {
			t.Error(err)
		}
	})
	bubble(t, "commands while measuring, until stopped", func(t *testing.T) {
		x := newSDP(t)
		x.must(sdpPressureAverage)
		x.refused("identify", x.send(sdpIdentify1))
		x.refused("start again", x.send(sdpPressureAverage))
		x.must(sdpStop)
		x.refused("too soon after the stop", x.send(sdpIdentify1))
		wait(sdpIdleWait)
		x.must(sdpIdentify1)
	})
	bubble(t, "everything during a single measurement, which is handed out once", func(t *testing.T) {
		x := newSDP(t)
		x.must(sdpOncePressure)
		wait(44 * time.Millisecond)
		x.refused("read", read(x))
		x.refused("stop", x.send(sdpStop))
		wait(time.Millisecond)
		x.want("frame", "00 00 81 13 88 01 00 F0 03")
		x.refused("again", read(x))
	})
	bubble(t, "the write that wakes it", func(t *testing.T) {
		x := newSDP(t)
		x.must(sdpSleep)
		x.refused("wake", x.Tx([]byte{0}, nil))
		wait(2 * time.Millisecond)
		x.must(sdpPressureAverage)
	})
	bubble(t, "an unknown command", func(t *testing.T) {
		x := newSDP(t)
		x.refused("unknown", x.send(0x1234))
	})
	bubble(t, "everything for a while after a brown-out", func(t *testing.T) {
		x := newSDP(t)
		x.must(sdpPressureAverage)
		wait(time.Second)
		x.Inject(BrownOut)
		x.refused("at once", read(x))
		wait(sdpPowerUp)
		x.refused("no longer measuring", read(x))
		x.must(sdpPressureAverage)
	})
}

// counts reads the pressure.
func (x *sdp) counts() int16 {
	x.t.Helper()
	r := make([]byte, 9)
	if err := x.Tx(nil, r); err != nil {
		x.t.Fatal(err)
	}
	return int16(r[0])<<8 | int16(r[1])
}

func TestSDP8xxFaults(t *testing.T) {
	for _, c := range []struct {
		fault Fault
		frame string
	}{
		{BadCRC, "00 00 92 13 88 12 00 F0 10"},
		{Stuck00, "00 00 00 00 00 00 00 00 00"},
		{StuckFF, "FF FF FF FF FF FF FF FF FF"},
		{WrongPart, "00 00 81 13 88 01 00 3C 39"},
	} {
		bubble(t, c.fault.String(), func(t *testing.T) {
			x := newSDP(t)
			x.must(sdpPressureAverage)
			wait(time.Second)
			x.Inject(c.fault)
			x.want("frame", c.frame)
		})
	}
	bubble(t, "frozen", func(t *testing.T) {
		x := newSDP(t)
		x.must(sdpPressureAverage)
		wait(time.Second)
		x.want("before", "00 00 81 13 88 01 00 F0 03")
		x.Inject(Frozen)
		x.pressure = 50
		wait(time.Second)
		x.want("after", "00 00 81 13 88 01 00 F0 03")
	})
	for _, c := range []struct {
		fault  Fault
		counts int16 // of 240 a pascal, at 12.5 Pa
	}{
		{HoseOff, 0}, {HoseSwapped, -3000}, {ZeroDrift, 3720}, {ZeroDrift | HoseOff, 720},
	} {
		bubble(t, c.fault.String(), func(t *testing.T) {
			x := newSDP(t)
			x.pressure = 12.5
			x.must(sdpPressureAverage)
			wait(time.Second)
			x.Inject(c.fault)
			if got := x.counts(); got != c.counts {
				t.Errorf("%d counts, want %d", got, c.counts)
			}
		})
	}
	bubble(t, "a blocked tube loses its pressure", func(t *testing.T) {
		x := newSDP(t)
		x.pressure = 12.5
		x.must(sdpPressureAverage)
		wait(time.Second)
		x.Inject(TubeBlocked)
		if got := x.counts(); got != 3000 {
			t.Errorf("%d counts at first", got)
		}
		wait(runsOut)
		if got := x.counts(); got != 1104 { // 12.5 Pa/e
			t.Errorf("%d counts later", got)
		}
	})
	bubble(t, "another specimen", func(t *testing.T) {
		x := newSDP(t)
		mine := x.identity()
		x.Inject(Exchanged)
		if theirs := x.identity(); bytes.Equal(mine, theirs) || !bytes.Equal(mine[:6], theirs[:6]) {
			t.Errorf("% x after % x: want another serial and the same product", theirs, mine)
		}
	})
	bubble(t, "no acknowledgement", func(t *testing.T) {
		x := newSDP(t)
		x.Inject(NACK)
		x.refused("stop", x.send(sdpStop))
	})
}

func TestBus(t *testing.T) {
	bubble(t, "an absent address", func(t *testing.T) {
		b := NewBus(sensors.SystemClock{}, "bus")
		if err := b.Tx(0x50, []byte{0}, nil); !errors.Is(err, errNoAck) {
			t.Errorf("error %v", err)
		}
	})
	bubble(t, "one chip hangs, or the whole bus", func(t *testing.T) {
		b := NewBus(sensors.SystemClock{}, "bus")
		x := newSDP(t)
		b.Attach(DraftAddr, x)
		b.SetHang(3 * time.Second)
		for _, addr := range []uint16{DraftAddr, 0x50} {
			x.Inject(Timeout)
			if addr == 0x50 {
				b.Inject(Timeout)
			}
			start := time.Now()
			if err := b.Tx(addr, []byte{0}, nil); !errors.Is(err, syscall.ETIMEDOUT) || time.Since(start) != 3*time.Second {
				t.Errorf("%#x: %v after %s", addr, err, time.Since(start))
			}
		}
	})
	bubble(t, "the general call resets", func(t *testing.T) {
		b := NewBus(sensors.SystemClock{}, "bus")
		if err := b.Tx(0, []byte{0x06}, nil); !errors.Is(err, errNoAck) {
			t.Errorf("with nobody there: %v", err)
		}
		x := newSDP(t)
		b.Attach(DraftAddr, x)
		x.must(sdpPressureAverage)
		if err := b.Tx(0, []byte{0x06}, nil); err != nil {
			t.Fatal(err)
		}
		wait(sdpReset)
		x.must(sdpIdentify1)
	})
}
