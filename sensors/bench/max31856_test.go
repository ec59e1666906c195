package bench

import (
	"encoding/hex"
	"errors"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
)

// tc is a chip under test with junctions that can be set.
type tc struct {
	*MAX31856
	t         *testing.T
	hot, cold float64
}

func newTC(t *testing.T, hot, cold float64) *tc {
	x := &tc{t: t, hot: hot, cold: cold}
	x.MAX31856 = NewMAX31856(sensors.SystemClock{}, func() float64 { return x.hot }, func() float64 { return x.cold })
	return x
}

func (x *tc) write(addr byte, v ...byte) {
	x.t.Helper()
	w := append([]byte{addr | 0x80}, v...)
	if err := x.Tx(w, make([]byte, len(w))); err != nil {
		x.t.Fatal(err)
	}
}

func (x *tc) read(addr byte, n int) []byte {
	x.t.Helper()
	w := make([]byte, n+1)
	w[0] = addr
	r := make([]byte, n+1)
	if err := x.Tx(w, r); err != nil {
		x.t.Fatal(err)
	}
	return r[1:]
}

func (x *tc) want(name string, addr byte, want string) {
	x.t.Helper()
	want = strings.ReplaceAll(want, " ", "")
	if got := hex.EncodeToString(x.read(addr, len(want)/2)); got != strings.ToLower(want) {
		x.t.Errorf("%s: %s, want %s", name, got, strings.ToLower(want))
	}
}

// oneShot converts once, with the test for an open wire, and looks at the chip: it takes
// what the junctions are at when it is looked at, not before.
func (x *tc) oneShot() { x.t.Helper(); x.oneShotWith(0) }

func (x *tc) oneShotWith(more byte) {
	x.t.Helper()
	x.write(tcCR0, cr0OneShot|0x10|more)
	wait(300 * time.Millisecond)
	x.read(tcSR, 1)
}

func bubble(t *testing.T, name string, f func(t *testing.T)) {
	t.Run(name, func(t *testing.T) { synctest.Test(t, f) })
}

// MAX31856 datasheet 19-7534 Rev 0: Table 6 p. 18 for the power-on values, Tables 2 and
// 3 p. 13 for the temperatures, p. 15 for the interface.
func TestMAX31856Registers(t *testing.T) {
	const powerOn = "00 03 FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00"
	bubble(t, "power-on values", func(t *testing.T) {
		newTC(t, 500, 25).want("dump", 0, powerOn)
	})
	for _, v := range []struct {
		celsius float64
		bytes   string
	}{
		{1000, "3E 80 00"},
		{100.9375, "06 4F 00"},
		{25, "01 90 00"},
		{0.0625, "00 01 00"},
		{0, "00 00 00"},
		{-0.0625, "FF FF 00"},
		{-0.25, "FF FC 00"},
		{-1, "FF F0 00"},
	} {
		bubble(t, "hot junction "+v.bytes, func(t *testing.T) {
			x := newTC(t, v.celsius, 25)
			x.oneShot()
			x.want("LTC", tcLTCBH, v.bytes)
			x.want("CJT", tcCJTH, "19 00")
			x.want("SR", tcSR, "00")
		})
	}
	for _, v := range []struct {
		celsius float64
		bytes   string
	}{
		{125, "7D 00"},
		{64, "40 00"},
		{25, "19 00"},
		{0.5, "00 80"},
		{0.015625, "00 04"},
		{0, "00 00"},
		{-0.5, "FF 80"},
		{-25, "E7 00"},
		{-55, "C9 00"},
	} {
		bubble(t, "cold junction "+v.bytes, func(t *testing.T) {
			x := newTC(t, 100, v.celsius)
			x.oneShot()
			x.want("CJT", tcCJTH, v.bytes)
		})
	}
	bubble(t, "the address counts up, beyond the map is FF, and wraps", func(t *testing.T) {
		x := newTC(t, 0, 25)
		x.want("beyond", 0x0F, "00 FF FF")
		x.want("wrapped", 0x7E, "FF FF 00 03 FF")
		x.write(tcCJHF, 0x50, 0xD8)
		x.want("two registers", tcCJHF, "50 D8")
	})
	bubble(t, "results cannot be written, the cold junction only with its sensor off", func(t *testing.T) {
		x := newTC(t, 0, 25)
		x.write(tcCJTH, 0x20, 0x00, 0x11, 0x22, 0x33, 0xFF)
		x.want("results", tcCJTH, "00 00 00 00 00 00")
		x.write(tcCR0, cr0CJOff)
		x.write(tcCJTH, 0x20, 0x00)
		x.want("cold junction", tcCJTH, "20 00")
	})
	bubble(t, "offset is in the cold junction and in the compensation", func(t *testing.T) {
		x := newTC(t, 100, 25)
		x.write(tcCJTO, 0x20) // +2 °C, p. 24
		x.oneShot()
		x.want("CJT", tcCJTH, "1B 00")
		x.want("LTC", tcLTCBH, "06 60 00") // 102
	})
	bubble(t, "out of range is clamped and flagged", func(t *testing.T) {
		x := newTC(t, 1500, 25)
		x.oneShot()
		x.want("LTC", tcLTCBH, "55 C0 00") // 1372, Table 1 p. 12 and p. 15
		x.want("SR", tcSR, "40")
	})
	bubble(t, "thresholds", func(t *testing.T) {
		x := newTC(t, 600, 70)
		x.write(tcCJHF, 60)
		x.write(tcLTHFT, 0x1F, 0x40) // 500 °C
		x.oneShot()
		x.want("SR", tcSR, "28")
	})
	bubble(t, "the phase of the clock matters", func(t *testing.T) {
		s := NewSelect(sensors.SystemClock{}, "spi", newTC(t, 0, 25).MAX31856)
		for mode, want := range map[spi.Mode]byte{spi.Mode1: 0x03, spi.Mode3: 0x03, spi.Mode0: 0x81, spi.Mode2: 0x81} {
			p, _ := s.Open()
			c, err := p.Connect(physic.MegaHertz, mode, 8)
			if err != nil {
				t.Fatal(err)
			}
			r := make([]byte, 2)
			if err := c.Tx([]byte{tcCR1, 0}, r); err != nil || r[1] != want {
				t.Errorf("%s: CR1 reads %#02x, %v", mode, r[1], err)
			}
		}
	})
}

// Times: p. 4 and p. 20 of the datasheet, typical values.
func TestMAX31856TakesItsTime(t *testing.T) {
	for _, c := range []struct {
		name     string
		cr0, cr1 byte
		ms       int
	}{
		{"one shot", cr0OneShot, 0x03, 143},
		{"one shot at 50 Hz", cr0OneShot | cr050Hz, 0x03, 169},
		{"first of automatic", cr0Auto, 0x03, 143},
		{"with test for an open wire", cr0OneShot | 0x10, 0x03, 156},
		{"sixteen samples at 50 Hz", cr0OneShot | cr050Hz, 0x43, 769},
	} {
		bubble(t, c.name, func(t *testing.T) {
			x := newTC(t, 300, 25)
			x.write(tcCR0, c.cr0&cr050Hz, c.cr1)
			x.write(tcCR0, c.cr0)
			wait(time.Duration(c.ms-1) * time.Millisecond)
			x.want("before", tcLTCBH, "00 00 00")
			wait(2 * time.Millisecond)
			x.want("after", tcLTCBH, "12 C0 00")
			if got, want := x.read(tcCR0, 1)[0], c.cr0&^cr0OneShot; got != want {
				t.Errorf("CR0 %#02x, want %#02x", got, want)
			}
		})
	}
	bubble(t, "automatic mode goes on by itself", func(t *testing.T) {
		x := newTC(t, 100, 25)
		x.write(tcCR0, cr0Auto)
		wait(150 * time.Millisecond)
		x.want("first", tcLTCBH, "06 40 00")
		x.hot = 200
		x.want("not yet", tcLTCBH, "06 40 00")
		wait(90 * time.Millisecond)
		x.want("second", tcLTCBH, "0C 80 00")
		x.write(tcCR0, 0)
		x.hot = 300
		wait(time.Second)
		x.want("off", tcLTCBH, "0C 80 00")
	})
}

func TestMAX31856Faults(t *testing.T) {
	bubble(t, "open wire is found by the next one-shot and goes again", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.Inject(Open)
		x.oneShot()
		x.want("SR", tcSR, "01")
		x.Clear()
		x.oneShot()
		x.want("SR", tcSR, "00")
		x.want("LTC", tcLTCBH, "12 C0 00")
	})
	bubble(t, "open wire is found late in automatic mode", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.write(tcCR0, cr0Auto|0x10)
		wait(200 * time.Millisecond)
		x.want("SR", tcSR, "00")
		x.Inject(Open)
		wait(100 * time.Millisecond)
		x.want("untested", tcSR, "00") // garbage without a flag, Table 4 p. 14
		wait(16 * 82 * time.Millisecond)
		x.want("tested", tcSR, "01")
	})
	bubble(t, "over-voltage keeps the old temperature", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.oneShot()
		x.hot = 500
		x.Inject(OverVoltage)
		x.oneShot()
		x.want("LTC", tcLTCBH, "12 C0 00")
		x.want("SR", tcSR, "02")
	})
	bubble(t, "latched faults stay until they are cleared", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.Inject(Open)
		x.oneShotWith(cr0Latch)
		x.Clear()
		x.oneShotWith(cr0Latch)
		x.want("SR", tcSR, "01")
		x.write(tcCR0, cr0Latch|cr0Clear)
		x.want("SR", tcSR, "00")
		x.want("CR0", tcCR0, "04")
	})
	bubble(t, "a brown-out happens once and leaves power-on values", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.write(tcCR0, cr0Auto)
		wait(time.Second)
		x.Inject(BrownOut)
		x.want("dump", 0, "00 03 FF 7F C0 7F FF 80 00 00 00 00 00 00 00 00")
		x.write(tcCR0, cr0Auto)
		wait(time.Second)
		x.want("LTC", tcLTCBH, "12 C0 00")
	})
	bubble(t, "frozen", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.oneShot()
		x.Inject(Frozen)
		x.hot = 400
		x.oneShot()
		x.want("LTC", tcLTCBH, "12 C0 00")
	})
	for _, c := range []struct {
		fault Fault
		addr  byte
		want  string
	}{
		{Stuck00, tcCR1, "00 00"},
		{StuckFF, tcCR1, "FF FF"},
		{OutOfRange, tcLTCBH, "55 C0 00 40"},
		{ColdJunctionHot, tcCJTH, "5F 00"},
		{WrongPart, tcCR0, "90 19 00 00"},
		{WarmTerminals, tcCJTH, "46 00"},
		{JumpingTerminals, tcCJTH, "21 00 13 40 00"}, // 33 °C, and 308 °C
		{WiresSwapped, tcLTCBH, "F3 80 00 40"},       // −250 °C is below type K's range
		{ProbeOut | Open, tcSR, "01"},                // both at once
	} {
		bubble(t, c.fault.String(), func(t *testing.T) {
			x := newTC(t, 300, 25)
			if err := x.Inject(c.fault); err != nil {
				t.Fatal(err)
			}
			x.oneShot()
			x.want("answer", c.addr, c.want)
		})
	}
	bubble(t, "a probe that was pulled out cools", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.Inject(ProbeOut)
		x.oneShot()
		x.want("at first", tcLTCBH, "12 C0 00")
		wait(runsOut - 300*time.Millisecond)
		x.oneShot()
		x.want("126.17 °C, 275 K/e above the room", tcLTCBH, "07 E2 A0")
		x.Clear()
		x.oneShot()
		x.want("put back", tcLTCBH, "12 C0 00")
	})
	bubble(t, "one spike in ten conversions", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.Inject(Spikes)
		spikes := 0
		for range 100 {
			x.oneShot()
			if ltc := x.read(tcLTCBH, 2); ltc[0] > 0x16 {
				spikes++
			}
		}
		if spikes != 10 {
			t.Errorf("%d spikes", spikes)
		}
	})
	bubble(t, "a transfer hangs for a second", func(t *testing.T) {
		x := newTC(t, 300, 25)
		x.Inject(Timeout)
		start := time.Now()
		err := NewSelect(sensors.SystemClock{}, "spi", x.MAX31856).Transfer(spi.Mode1, []byte{0, 0}, nil)
		if !errors.Is(err, syscall.ETIMEDOUT) || time.Since(start) != Hang {
			t.Errorf("%v after %s", err, time.Since(start))
		}
	})
	if err := newTC(t, 0, 0).Inject(NACK); err == nil {
		t.Error("a chip on SPI can have no NACK")
	}
}

func TestSelectHeldOverPackets(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := NewSelect(sensors.SystemClock{}, "spi", newTC(t, 0, 25).MAX31856)
		p, _ := s.Open()
		c, err := p.Connect(physic.MegaHertz, spi.Mode1, 8)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.Connect(physic.MegaHertz, spi.Mode1, 8); err == nil {
			t.Error("connected twice")
		}
		r, r2 := make([]byte, 3), make([]byte, 2)
		err = c.TxPackets([]spi.Packet{
			{W: []byte{0x01}, KeepCS: true}, {R: r}, {W: []byte{0x03, 0}, R: r2},
		})
		if err != nil || r[0] != 0x03 || r[1] != 0xFF || r[2] != 0x7F || r2[1] != 0x7F {
			t.Errorf("% x, % x, %v", r, r2, err)
		}
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
		if err := c.Tx([]byte{0}, make([]byte, 1)); err == nil {
			t.Error("a closed port still works")
		}
	})
}
