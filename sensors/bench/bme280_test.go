package bench

import (
	"errors"
	"math"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/bmxx80"

	"fluewright/sensors"
)

// A recorded measurement of the part whose trimming words the chip has, with what
// periph devices v3.7.4 makes of it (bmxx80/bmx280_test.go, TestI2CSenseBME280_success).
func TestBME280Compensation(t *testing.T) {
	raw := []byte{0x4a, 0x52, 0xc0, 0x80, 0x96, 0xc0, 0x7a, 0x76}
	p := int32(raw[0])<<12 | int32(raw[1])<<4 | int32(raw[2])>>4
	c := int32(raw[3])<<12 | int32(raw[4])<<4 | int32(raw[5])>>4
	h := int32(raw[6])<<8 | int32(raw[7])
	centi, fine := bmeTemperature(c)
	if centi != 2372 {
		t.Errorf("temperature %d, want 2372 (23.72 °C)", centi)
	}
	if got := float64(bmePressure(p, fine)) / 256; math.Abs(got-100942.6953125) > 1e-6 {
		t.Errorf("pressure %.7f Pa, want 100942.6953125", got)
	}
	if got := float64(bmeHumidity(h, fine)) / 1024; math.Abs(got-65.30560) > 0.001 {
		t.Errorf("humidity %.5f %%, want 65.3056", got)
	}
}

// The real driver must read what the chip was given.
func TestBME280ThroughItsDriver(t *testing.T) {
	for _, v := range []struct {
		name                       string
		celsius, pascals, humidity float64
	}{
		{"a basement", 18.5, 98400, 0.55},
		{"a mountain in winter", -12.3, 74500, 0.2},
		{"a hot attic", 48, 103900, 0.08},
	} {
		bubble(t, v.name, func(t *testing.T) {
			b := NewBus(sensors.SystemClock{}, "bus")
			b.Attach(AmbientAddr, NewBME280(sensors.SystemClock{}, always(v.celsius), always(v.pascals), always(v.humidity)))
			d, err := bmxx80.NewI2C(b, AmbientAddr, &bmxx80.DefaultOpts)
			if err != nil {
				t.Fatal(err)
			}
			var e physic.Env
			if err := d.Sense(&e); err != nil {
				t.Fatal(err)
			}
			if got := e.Temperature.Celsius(); math.Abs(got-v.celsius) > 0.011 {
				t.Errorf("%.3f °C, want %g", got, v.celsius)
			}
			if got := float64(e.Pressure) / float64(physic.Pascal); math.Abs(got-v.pascals) > 0.5 {
				t.Errorf("%.2f Pa, want %g", got, v.pascals)
			}
			if got := float64(e.Humidity) / float64(100*physic.PercentRH); math.Abs(got-v.humidity) > 0.0005 {
				t.Errorf("humidity %.4f, want %g", got, v.humidity)
			}
		})
	}
}

func TestBME280Registers(t *testing.T) {
	setup := func() (*BME280, *i2c.Dev) {
		b := NewBus(sensors.SystemClock{}, "bus")
		c := NewBME280(sensors.SystemClock{}, always(20), always(98400), always(0.5))
		b.Attach(AmbientAddr, c)
		return c, &i2c.Dev{Bus: b, Addr: AmbientAddr}
	}
	read := func(t *testing.T, d *i2c.Dev, reg byte) byte {
		t.Helper()
		r := []byte{0}
		if err := d.Tx([]byte{reg}, r); err != nil {
			t.Fatal(err)
		}
		return r[0]
	}
	bubble(t, "nothing is measured without being asked", func(t *testing.T) {
		_, d := setup()
		if got := read(t, d, bmeData); got != 0x80 {
			t.Errorf("pressure register %#x, want 0x80 (BST-BME280-DS002 5.3)", got)
		}
	})
	bubble(t, "busy while measuring, then asleep", func(t *testing.T) {
		_, d := setup()
		if err := d.Tx([]byte{bmeCtrlHum, 1, bmeCtrlMeas, 0x25}, nil); err != nil {
			t.Fatal(err)
		}
		if got := read(t, d, bmeStatus); got != bmeMeasuring {
			t.Errorf("status %#x while measuring", got)
		}
		wait(8e6) // 1 + 2 + 2.5 + 2.5 ms, section 9.1
		if got := read(t, d, bmeStatus); got != 0 {
			t.Errorf("status %#x afterwards", got)
		}
		if got := read(t, d, bmeCtrlMeas); got != 0x24 {
			t.Errorf("ctrl_meas %#x, want sleep", got)
		}
	})
	bubble(t, "reset and brown-out", func(t *testing.T) {
		c, d := setup()
		for _, f := range []func() error{
			func() error { return d.Tx([]byte{bmeReset, 0xB6}, nil) },
			func() error { return c.Inject(BrownOut) },
		} {
			if err := d.Tx([]byte{bmeConfig, 0xA0}, nil); err != nil {
				t.Fatal(err)
			}
			if err := f(); err != nil {
				t.Fatal(err)
			}
			if err := d.Tx([]byte{bmeID}, make([]byte, 1)); !errors.Is(err, errNoAck) {
				t.Errorf("while starting up: %v", err)
			}
			wait(bmeStartUp)
			if got := read(t, d, bmeConfig); got != 0 {
				t.Errorf("config %#x after reset", got)
			}
		}
	})
	for _, c := range []struct {
		fault Fault
		id    byte
	}{{WrongPart, 0x58}, {Stuck00, 0}, {StuckFF, 0xFF}} {
		bubble(t, c.fault.String(), func(t *testing.T) {
			chip, d := setup()
			if err := chip.Inject(c.fault); err != nil {
				t.Fatal(err)
			}
			if got := read(t, d, bmeID); got != c.id {
				t.Errorf("id %#x, want %#x", got, c.id)
			}
		})
	}
}
