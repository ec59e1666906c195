package bme280

import (
	"context"
	"errors"
	"math"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
)

// chip answers register reads and keeps register writes, and can fail at each transfer.
type chip struct {
	addr uint16
	reg  [256]byte
	log  []string // registers, R or W and how many bytes
	fail map[int]error
	// change runs before each transfer, to let the chip lose its mind.
	change func(transfer int, c *chip)
}

// newChip is a chip with the calibration and the measurement of bmxx80's own test
// (bmx280_test.go, TestI2CSenseBME280_success), which come from a real device.
func newChip(id byte) *chip {
	c := &chip{addr: 0x76, fail: map[int]error{}}
	copy(c.reg[0x88:], []byte{
		0x10, 0x6e, 0x6c, 0x66, 0x32, 0x0, 0x5d, 0x95, 0xb8, 0xd5, 0xd0, 0xb, 0x77, 0x1e,
		0x9d, 0xff, 0xf9, 0xff, 0xac, 0x26, 0xa, 0xd8, 0xbd, 0x10, 0x0, 0x4b,
	})
	copy(c.reg[0xE1:], []byte{0x6e, 0x1, 0x0, 0x13, 0x5, 0x0, 0x1e})
	copy(c.reg[0xF7:], []byte{0x4a, 0x52, 0xc0, 0x80, 0x96, 0xc0, 0x7a, 0x76})
	c.reg[0xD0] = id
	return c
}

func (c *chip) String() string                  { return "/dev/i2c-1" }
func (c *chip) SetSpeed(physic.Frequency) error { return errors.ErrUnsupported }

func (c *chip) Tx(addr uint16, w, r []byte) error {
	n := len(c.log)
	what := "W"
	if len(r) > 0 {
		what = "R"
	}
	c.log = append(c.log, strings.ToUpper(what+hexByte(w[0])))
	if c.change != nil {
		c.change(n, c)
	}
	if err := c.fail[n]; err != nil {
		return err
	}
	if addr != c.addr {
		return syscall.Errno(121)
	}
	if len(r) > 0 {
		copy(r, c.reg[w[0]:])
		return nil
	}
	for i := 0; i+1 < len(w); i += 2 {
		c.reg[w[i]] = w[i+1]
	}
	return nil
}

func hexByte(b byte) string {
	const digits = "0123456789abcdef"
	return string([]byte{digits[b>>4], digits[b&0xF]})
}

func newDev(t testing.TB, c *chip) *Dev {
	t.Helper()
	d, err := New(c, &Opts{Address: c.addr})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// The expected values are those of bmxx80's test for the same words.
func TestSense(t *testing.T) {
	for _, tc := range []struct {
		name     string
		id       byte
		humidity bool
		raw      string
	}{
		{"BME280", 0x60, true, "4a52c08096c07a76"},
		{"BMP280", 0x58, false, "4a52c08096c0"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := newChip(tc.id)
				c.reg[0xF3] = 0x08 // measuring for ever must hold nobody up
				d := newDev(t, c)
				if err := d.Start(t.Context()); err != nil {
					t.Fatal(err)
				}
				c.log = nil
				s, err := d.Sense(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if diff := cmp.Diff([]string{"RF2", "RF7"}, c.log); diff != "" {
					t.Errorf("transfers of a look (-want +got):\n%s", diff)
				}
				for q, want := range map[sensors.Quantity]float64{
					sensors.AbsolutePressure: 100942.6953125,
					sensors.AirTemperature:   23.72,
					sensors.RelativeHumidity: 0.653056,
				} {
					got, ok := s.Get(q)
					if wantOK := q != sensors.RelativeHumidity || tc.humidity; ok != wantOK {
						t.Errorf("%s measured: %v, want %v", q, ok, wantOK)
					}
					if ok && math.Abs(got-want) > 1e-9*want {
						t.Errorf("%s %v, want %v", q, got, want)
					}
				}
				if s.Raw.String() != tc.raw {
					t.Errorf("raw %s, want %s", s.Raw, tc.raw)
				}
				c.log = nil
				for range 2 {
					if err := d.Halt(); err != nil {
						t.Error(err)
					}
				}
				if c.reg[0xF4]&3 != 0 || len(c.log) != 1 {
					t.Errorf("ctrl_meas %02x after halt, transfers %v", c.reg[0xF4], c.log)
				}
			})
		})
	}
}

func TestSenseFaults(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(c *chip)
		want   sensors.Code
	}{
		{"supply dip", func(c *chip) {
			copy(c.reg[0xF2:], []byte{0, 0, 0, 0, 0, 0x80, 0, 0, 0x80, 0, 0, 0x80, 0})
		}, sensors.LostConfiguration},
		{"asleep", func(c *chip) { c.reg[0xF4] &^= 3 }, sensors.LostConfiguration},
		{"humidity switched off", func(c *chip) { c.reg[0xF2] = 0 }, sensors.LostConfiguration},
		{"released bus", func(c *chip) {
			for i := range c.reg {
				c.reg[i] = 0xFF
			}
		}, sensors.StuckHigh},
		{"pressure not measured", func(c *chip) { copy(c.reg[0xF7:], []byte{0x80, 0, 0}) }, sensors.ImpossibleFrame},
		{"temperature not measured", func(c *chip) { copy(c.reg[0xFA:], []byte{0x80, 0, 0}) }, sensors.ImpossibleFrame},
		{"humidity not measured", func(c *chip) { copy(c.reg[0xFD:], []byte{0x80, 0}) }, sensors.ImpossibleFrame},
		{"pressure words zero", func(c *chip) { copy(c.reg[0xF7:], []byte{0, 0, 0}) }, sensors.ImpossibleFrame},
		{"pressure words ones", func(c *chip) { copy(c.reg[0xF7:], []byte{0xFF, 0xFF, 0xF0}) }, sensors.ImpossibleFrame},
		{"temperature words zero", func(c *chip) { copy(c.reg[0xFA:], []byte{0, 0, 0}) }, sensors.ImpossibleFrame},
		{"not acknowledged", func(c *chip) { c.addr = 0x20 }, sensors.NoAnswer},
		{"measurement not acknowledged", func(c *chip) { c.fail[1] = syscall.Errno(121) }, sensors.NoAnswer},
		{"bus down during the measurement", func(c *chip) { c.fail[1] = syscall.ETIMEDOUT }, sensors.BusDown},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := newChip(0x60)
				d := newDev(t, c)
				if err := d.Start(t.Context()); err != nil {
					t.Fatal(err)
				}
				good := *c
				c.log = nil
				tc.change(c)
				s, err := d.Sense(t.Context())
				if sensors.CodeOf(err) != tc.want || s != (sensors.Sample{}) {
					t.Errorf("%v, %v, want %s", s, err, tc.want)
				}
				// The chip back in order, the next look starts it and reads it.
				*c = good
				c.fail = map[int]error{}
				if _, err := d.Sense(t.Context()); err != nil {
					t.Errorf("afterwards: %v", err)
				}
			})
		})
	}
}

func TestStartFaults(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(c *chip)
		want   sensors.Code
	}{
		{"BMP180", func(c *chip) { c.reg[0xD0] = 0x55 }, sensors.WrongPart},
		{"zero", func(c *chip) { c.reg[0xD0] = 0 }, sensors.StuckLow},
		{"released bus", func(c *chip) { c.reg[0xD0] = 0xFF }, sensors.StuckHigh},
		{"just powered", func(c *chip) { c.reg[0xF3] = 0x01 }, sensors.Settling},
		{"calibration read wrong once", func(c *chip) {
			c.change = func(n int, c *chip) {
				if n == 3 {
					c.reg[0x90] ^= 1
				}
			}
		}, sensors.ImpossibleFrame},
		{"identity fails", func(c *chip) { c.fail[0] = syscall.EIO }, sensors.BusError},
		{"status fails", func(c *chip) { c.fail[1] = syscall.EIO }, sensors.BusError},
		{"calibration fails", func(c *chip) { c.fail[2] = syscall.EIO }, sensors.BusError},
		{"set-up fails", func(c *chip) { c.fail[6] = syscall.ETIMEDOUT }, sensors.BusDown},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := newChip(0x60)
			tc.change(c)
			err := newDev(t, c).Start(t.Context())
			if sensors.CodeOf(err) != tc.want {
				t.Errorf("%v, want %s", err, tc.want)
			}
		})
	}
}

func TestStartIsCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := newDev(t, newChip(0x60)).Start(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want %v", err, context.Canceled)
	}
}

func TestNewRefusesAddress(t *testing.T) {
	if _, err := New(newChip(0x60), &Opts{Address: 0x40}); err == nil {
		t.Error("address 0x40 accepted")
	}
	if d, err := New(newChip(0x60), &Opts{}); err != nil || d.address != 0x76 {
		t.Errorf("default address 0x%02x, %v", d.address, err)
	}
}

// No words on the bus make a value outside what the chip can measure.
func FuzzSense(f *testing.F) {
	f.Add([]byte{0x4a, 0x52, 0xc0, 0x80, 0x96, 0xc0, 0x7a, 0x76})
	f.Add([]byte{0x80, 0, 0, 0x80, 0, 0, 0x80, 0})
	f.Add([]byte{0, 0, 0, 0, 0, 0, 0, 0})
	f.Add([]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF})
	f.Fuzz(func(t *testing.T, words []byte) {
		c := newChip(0x60)
		d := newDev(t, c)
		d.clock = instant{}
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		copy(c.reg[0xF7:0xFF], words)
		s, err := d.Sense(t.Context())
		if err != nil {
			return
		}
		p, _ := s.Get(sensors.AbsolutePressure)
		c1, _ := s.Get(sensors.AirTemperature)
		h, _ := s.Get(sensors.RelativeHumidity)
		if !(p >= 30000 && p <= 110000 && c1 >= -40 && c1 <= 85 && h >= 0 && h <= 1) {
			t.Errorf("% x: %v Pa, %v °C, %v", words, p, c1, h)
		}
	})
}

// instant is a clock on which nothing takes time.
type instant struct{ sensors.SystemClock }

func (instant) Sleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }

func BenchmarkSense(b *testing.B) {
	c := newChip(0x60)
	d := newDev(b, c)
	if err := d.Start(b.Context()); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		c.log = c.log[:0]
		if _, err := d.Sense(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	// Twice address and register, address again, then 4 and 8 bytes.
	b.ReportMetric(2*3+4+8, "busB/op")
}
