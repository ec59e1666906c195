package transmitter

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"fluewright/sensors"
	"fluewright/sensors/bus/bustest"
)

func newDev(t *testing.T, b i2c.Bus, o Opts) *Dev {
	t.Helper()
	d, err := New(b, &o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// The conversions of input 0 and 1 at ±6.144 V and of input 2 at ±4.096 V. 0x3415 is
// 2.5 V, 0x6803 4.9926 V; at ±4.096 V 0x2580 is 1.2 V, 12 mA in 100 Ω.
var (
	onVolts   = Opts{Scale: volts, Input: 0, SupplyInput: 1}
	onCurrent = Opts{Scale: current, Input: 2, Address: 0x4A}

	startVolts  = []string{"01 C1 83", "01 > C1 83", "00 > 34 15"}
	supplyVolts = []string{"01 D1 83", "01 > D1 83", "00 > 68 03"}
	senseVolts  = slices.Concat(supplyVolts, []string{"01 C1 83", "01 > C1 83", "00 > 34 15"}, supplyVolts)
)

func TestSense(t *testing.T) {
	for _, tc := range []struct {
		name    string
		opts    Opts
		address uint16
		start   []string
		sense   []string
		pascals float64
		raw     string
	}{
		{"volts", onVolts, 0x48, startVolts, senseVolts, 0.0463, "34156803"},
		{
			"current", onCurrent, 0x4A,
			[]string{"01 E3 83", "01 > E3 83", "00 > 25 80"},
			[]string{"01 E3 83", "01 > E3 83", "00 > 25 80"},
			30, "25800000",
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ops := append(bustest.At(t, tc.address, tc.start...), bustest.At(t, tc.address, tc.sense...)...)
				d := newDev(t, bustest.New(t, ops...), tc.opts)
				if err := d.Start(t.Context()); err != nil {
					t.Fatal(err)
				}
				got, err := d.Sense(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if v, ok := got.Get(sensors.DifferentialPressure); !ok || !(math.Abs(v-tc.pascals) < 0.001) {
					t.Errorf("%v Pa, %v, want %v", v, ok, tc.pascals)
				}
				if got.Raw.String() != tc.raw {
					t.Errorf("raw %s, want %s", got.Raw, tc.raw)
				}
				if err := d.Halt(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

func TestEachTransferFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ops := append(bustest.At(t, 0x48, startVolts...), bustest.At(t, 0x48, senseVolts...)...)
		bustest.FailEach(t, ops, func(t *testing.T, b i2c.Bus) error {
			d := newDev(t, b, onVolts)
			if err := d.Start(t.Context()); err != nil {
				return err
			}
			_, err := d.Sense(t.Context())
			return err
		})
	})
}

// A fault of the signal is the transmitter's, one of the converter the converter's.
func TestFaultsNameTheirDevice(t *testing.T) {
	for _, tc := range []struct {
		name   string
		ops    []string
		code   sensors.Code
		device string
	}{
		{"wire off", []string{"01 E3 83", "01 > E3 83", "00 > 00 01"}, sensors.SignalLow, "transmitter behind ads1115"},
		{"supply dip", []string{"01 E3 83", "01 > 85 83"}, sensors.LostConfiguration, "ads1115"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDev(t, bustest.New(t, bustest.At(t, 0x4A, tc.ops...)...), onCurrent)
				got, err := d.Sense(t.Context())
				var f *sensors.Fault
				if !errors.As(err, &f) || f.Code != tc.code || !strings.HasPrefix(f.Device, tc.device) {
					t.Errorf("%v, want %s of %s", err, tc.code, tc.device)
				}
				if _, ok := got.Get(sensors.DifferentialPressure); ok {
					t.Error("a value beside the fault")
				}
			})
		})
	}
}

// A supply that falls between its conversion and the signal's gives a wrong ratio: 4.1 V
// for 5 V made 13 Pa of suction out of a draft of 12. 0x5580 is 4.104 V, 0x6600 4.896 V.
func TestASupplyThatMovesIsNoPressure(t *testing.T) {
	for name, after := range map[string]string{"out of bounds": "00 > 55 80", "within them": "00 > 66 00", "none": "00 > 00 00"} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ops := slices.Clone(senseVolts)
				ops[len(ops)-1] = after
				d := newDev(t, bustest.New(t, bustest.At(t, 0x48, ops...)...), onVolts)
				got, err := d.Sense(t.Context())
				var f *sensors.Fault
				if !errors.As(err, &f) || f.Code != sensors.SignalSupply {
					t.Errorf("%v", err)
				}
				if _, ok := got.Get(sensors.DifferentialPressure); ok {
					t.Error("a value beside the fault")
				}
			})
		})
	}
}

func TestNewRefuses(t *testing.T) {
	change := func(o Opts, f func(*Opts)) Opts { f(&o); return o }
	for _, tc := range []struct {
		opts Opts
		want string
	}{
		{change(onCurrent, func(o *Opts) { o.Address = 0x50 }), "0x48 to 0x4b"},
		{change(onCurrent, func(o *Opts) { o.Input = 4 }), "inputs"},
		{change(onVolts, func(o *Opts) { o.SupplyInput = -1 }), "inputs"},
		{change(onVolts, func(o *Opts) { o.SupplyInput = 0 }), "both on input 0"},
		{change(onVolts, func(o *Opts) { o.High = -25 }), "lower end first"},
		{change(onVolts, func(o *Opts) { o.Low = math.NaN() }), "lower end first"},
		{change(onVolts, func(o *Opts) { o.Divider = 3 }), "divider"},
		{change(onCurrent, func(o *Opts) { o.Shunt = 250 }), "shunt"},
		{change(onCurrent, func(o *Opts) { o.Signal = 0 }), "no signal"},
	} {
		if _, err := New(bustest.New(t), &tc.opts); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %v, want %q", tc.opts, err, tc.want)
		}
	}
}

// echoing answers as a converter whose every input is at 12 mA in 100 Ω.
type echoing struct {
	config [2]byte
	bytes  int
}

func (e *echoing) String() string                  { return "bus" }
func (e *echoing) SetSpeed(physic.Frequency) error { return nil }

func (e *echoing) Tx(_ uint16, w, r []byte) error {
	e.bytes += len(w) + len(r)
	switch {
	case len(w) == 3:
		copy(e.config[:], w[1:])
	case w[0] == 1:
		copy(r, e.config[:])
	default:
		copy(r, []byte{0x25, 0x80})
	}
	return nil
}

// hasty waits for nothing.
type hasty struct{ sensors.SystemClock }

func (hasty) Sleep(context.Context, time.Duration) error { return nil }

func BenchmarkSense(b *testing.B) {
	e := &echoing{}
	o := onCurrent
	o.Clock = hasty{}
	d, err := New(e, &o)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Sense(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(e.bytes)/float64(b.N), "busB/op")
}
