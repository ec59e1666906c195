package bench_test

import (
	"context"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/bme280"
	"fluewright/sensors/max31855"
	"fluewright/sensors/max31856"
	"fluewright/sensors/mcp9600"
	"fluewright/sensors/mcp9808"
	"fluewright/sensors/pca9548"
	"fluewright/sensors/scan"
	"fluewright/sensors/sdp8xx"
	"fluewright/sensors/thermocouple"
	"fluewright/sensors/transmitter"
)

// world is what the chips measure; the hot junction warms slowly, so that an old value
// is a wrong one.
type world struct{ began time.Time }

func (w world) hot() float64              { return w.hotAt(time.Now()) }
func (w world) hotAt(t time.Time) float64 { return 300 + 0.5*t.Sub(w.began).Seconds() }
func (w world) terminals() float64        { return 27 }
func (w world) pressure() float64         { return 12 }
func (w world) air() float64              { return 20 }
func (w world) ambient() float64          { return sdp8xx.CalibrationPressure }
func (w world) humidity() float64         { return 0.4 }

// rig is a driver with its virtual chip, and what is broken there.
type rig struct {
	breaks    bench.Chip
	open      func() (sensors.Sensor, error)
	quantity  sensors.Quantity
	truth     func(taken time.Time) float64
	tolerance float64 // K or Pa; of the hot junction, half a second of its rise included
}

func still(x float64) func(time.Time) float64 { return func(time.Time) float64 { return x } }

// told is what a fault of the bench must lead to: the code that stands on the board in
// the end. For a fault that comes and goes it is the code that was seen, if any was.
type told map[bench.Fault]sensors.Code

// silent is a fault that the driver cannot notice; the value must be right all the same,
// or stand still, which is for the signal path to notice.
const silent = sensors.Code("")

// elsewhere are faults of the furnace's side that no driver can tell: a number is a number
// to it. They are judged by package path and by the analysis, and tested there.
const elsewhere = bench.WarmTerminals | bench.JumpingTerminals | bench.WiresSwapped | bench.ProbeOut |
	bench.Spikes | bench.HoseOff | bench.HoseSwapped | bench.TubeBlocked | bench.ZeroDrift | bench.Exchanged

func onSPI(name string, chip bench.Chip) *bench.Select {
	return bench.NewSelect(sensors.SystemClock{}, name, chip)
}

func onI2C(addr uint16, chip bench.Chip) *bench.Bus {
	b := bench.NewBus(sensors.SystemClock{}, "i2c-1")
	b.Attach(addr, chip)
	return b
}

var rigs = map[string]struct {
	build func(w world) rig
	told  told
}{
	"max31856": {
		func(w world) rig {
			c := bench.NewMAX31856(sensors.SystemClock{}, w.hot, w.terminals)
			at := onSPI("spidev0.0", c)
			return rig{c, func() (sensors.Sensor, error) {
				p, err := at.Open()
				if err != nil {
					return nil, err
				}
				return max31856.New(p, &max31856.DefaultOpts)
			}, sensors.HotJunction, w.hotAt, 0.4}
		},
		told{
			bench.Timeout: sensors.BusDown, bench.Stuck00: sensors.StuckLow, bench.StuckFF: sensors.StuckHigh,
			bench.BrownOut: sensors.LostConfiguration, bench.Open: sensors.OpenCircuit,
			bench.OverVoltage: sensors.InputVoltage, bench.OutOfRange: sensors.OutOfRange, bench.Frozen: silent,
			bench.WrongPart: sensors.ImpossibleFrame, bench.ColdJunctionHot: sensors.ColdJunctionRange,
		},
	},
	"max31855": {
		func(w world) rig {
			c := bench.NewMAX31855(sensors.SystemClock{}, thermocouple.K, w.hot, w.terminals)
			at := onSPI("spidev1.1", c)
			return rig{c, func() (sensors.Sensor, error) {
				p, err := at.Open()
				if err != nil {
					return nil, err
				}
				return max31855.New(p, &max31855.Opts{Type: thermocouple.K})
			}, sensors.HotJunction, w.hotAt, 0.4}
		},
		told{
			bench.Timeout: sensors.BusDown, bench.Stuck00: sensors.StuckLow, bench.StuckFF: sensors.StuckHigh,
			bench.BrownOut: sensors.StuckLow, bench.Open: sensors.OpenCircuit, bench.ShortGround: sensors.ShortToGround,
			bench.ShortSupply: sensors.ShortToSupply, bench.OutOfRange: sensors.OutOfRange, bench.Frozen: silent,
			bench.WrongPart: sensors.ImpossibleFrame, bench.ColdJunctionHot: sensors.ColdJunctionRange,
		},
	},
	"mcp9601": {
		func(w world) rig {
			c := bench.NewMCP9601(sensors.SystemClock{}, w.hot, w.terminals)
			b := onI2C(0x60, c)
			return rig{c, func() (sensors.Sensor, error) {
				return mcp9600.New(b, &mcp9600.DefaultOpts)
			}, sensors.HotJunction, w.hotAt, 0.4}
		},
		told{
			bench.NACK: sensors.NoAnswer, bench.Timeout: sensors.BusDown, bench.Stuck00: sensors.StuckLow,
			bench.StuckFF: sensors.StuckHigh, bench.BrownOut: sensors.NoAnswer, bench.Open: sensors.OpenCircuit,
			bench.ShortGround: sensors.ShortCircuit, bench.OutOfRange: sensors.OpenCircuit,
			bench.Frozen: sensors.ImpossibleFrame, bench.WrongPart: sensors.WrongPart,
			bench.ColdJunctionHot: sensors.ColdJunctionRange, bench.Stretch: sensors.ImpossibleFrame,
		},
	},
	"sdp810-125pa": {
		func(w world) rig {
			c := bench.NewSDP8xx(sensors.SystemClock{}, w.pressure, w.ambient, w.air)
			b := onI2C(0x25, c)
			return rig{c, func() (sensors.Sensor, error) {
				return sdp8xx.New(b, &sdp8xx.DefaultOpts)
			}, sensors.DifferentialPressure, still(12), 0.01}
		},
		told{
			bench.NACK: sensors.NoAnswer, bench.Timeout: sensors.BusDown, bench.BadCRC: sensors.BadChecksum,
			bench.Stuck00: sensors.StuckLow, bench.StuckFF: sensors.StuckHigh, bench.BrownOut: sensors.NoAnswer,
			bench.Frozen: silent, bench.WrongPart: sensors.WrongPart,
		},
	},
	"sdp810-125pa behind a multiplexer": {
		func(w world) rig {
			m := bench.NewMux()
			m.Attach(3, 0x25, bench.NewSDP8xx(sensors.SystemClock{}, w.pressure, w.ambient, w.air))
			// Another of the same address: if both were reached, their bits would be mixed.
			m.Attach(4, 0x25, bench.NewSDP8xx(sensors.SystemClock{}, w.air, w.ambient, w.air))
			b := onI2C(0x70, m)
			return rig{m, func() (sensors.Sensor, error) {
				g, err := pca9548.New(b, 0x70)
				if err != nil {
					return nil, err
				}
				return behind(g, 0x70, 3, func(b i2c.Bus) (sensors.Sensor, error) { return sdp8xx.New(b, &sdp8xx.DefaultOpts) })
			}, sensors.DifferentialPressure, still(12), 0.01}
		},
		told{bench.NACK: sensors.MuxNoAnswer, bench.Timeout: sensors.BusDown, bench.BrownOut: silent},
	},
	"transmitter": {
		func(w world) rig {
			c := bench.NewTransmitter(sensors.SystemClock{}, w.pressure, -25, 25)
			b := onI2C(0x48, c)
			return rig{c, func() (sensors.Sensor, error) {
				return transmitter.New(b, &transmitter.Opts{
					Scale: transmitter.Scale{Signal: transmitter.Ratiometric, Low: -25, High: 25, Divider: 1}, SupplyInput: 1,
				})
			}, sensors.DifferentialPressure, still(12), 0.01}
		},
		told{
			bench.NACK: sensors.NoAnswer, bench.Timeout: sensors.BusDown, bench.Stuck00: sensors.StuckLow,
			bench.StuckFF: sensors.StuckHigh, bench.BrownOut: silent, bench.Open: sensors.SignalLow,
			bench.ShortSupply: sensors.SignalHigh, bench.OutOfRange: sensors.OutOfRange,
			// Frozen, the two inputs read alike: as the supply, which is converted last.
			bench.SupplyLow: sensors.SignalSupply, bench.Frozen: sensors.SignalHigh,
		},
	},
	"bme280": {
		func(w world) rig {
			c := bench.NewBME280(sensors.SystemClock{}, w.air, w.ambient, w.humidity)
			b := onI2C(0x76, c)
			return rig{c, func() (sensors.Sensor, error) {
				return bme280.New(b, &bme280.DefaultOpts)
			}, sensors.AirTemperature, still(20), 0.02}
		},
		told{
			bench.NACK: sensors.NoAnswer, bench.Timeout: sensors.BusDown, bench.Stuck00: sensors.StuckLow,
			bench.StuckFF: sensors.StuckHigh, bench.BrownOut: sensors.NoAnswer, bench.Frozen: silent,
			// A BMP280 in a BME280's place serves as well, without the humidity.
			bench.WrongPart: silent,
		},
	},
	"mcp9808": {
		func(w world) rig {
			c := bench.NewMCP9808(sensors.SystemClock{}, w.air)
			b := onI2C(0x18, c)
			return rig{c, func() (sensors.Sensor, error) {
				return mcp9808.New(b, &mcp9808.DefaultOpts)
			}, sensors.AirTemperature, still(20), 0.07}
		},
		told{
			bench.NACK: sensors.NoAnswer, bench.Timeout: sensors.BusDown, bench.Stuck00: sensors.StuckLow,
			bench.StuckFF: sensors.StuckHigh, bench.BrownOut: sensors.LostConfiguration, bench.Frozen: silent,
			bench.WrongPart: silent, // told at the next start
		},
	},
}

func behind(g *pca9548.Group, addr uint16, n int, open func(i2c.Bus) (sensors.Sensor, error)) (sensors.Sensor, error) {
	b, err := g.Channel(addr, n)
	if err != nil {
		return nil, err
	}
	return open(b)
}

// Each chip, each way in which it can fail: what stands on the board, that no good value
// is a wrong one meanwhile, and that it comes back by itself.
func TestWhatIsToldOfEachFault(t *testing.T) {
	for name, r := range rigs {
		for f := bench.Fault(1); len(f.Names()) > 0; f <<= 1 {
			if f&elsewhere != 0 {
				continue
			}
			t.Run(name+"/"+f.String(), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					x := r.build(world{time.Now()})
					code, listed := r.told[f]
					if possible := x.breaks.Inject(f) == nil; possible != listed {
						t.Fatalf("the chip can have it: %v; it is in the table: %v", possible, listed)
					}
					if !listed {
						return
					}
					x.breaks.Clear()
					play(t, x, f, code)
				})
			})
		}
	}
}

func play(t *testing.T, x rig, f bench.Fault, code sensors.Code) {
	const period = 500 * time.Millisecond
	board := scan.NewBoard()
	loop, err := scan.New(board, scan.Config{
		Name: "bus", Period: period,
		Slots: []scan.Slot{{Name: "x", Open: func(context.Context) (sensors.Sensor, error) { return x.open() }}},
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- loop.Run(ctx) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	clock := sensors.SystemClock{}
	var last sensors.Reading
	watching := true
	// watch looks ten times a second, for d at most or until a reading satisfies.
	watch := func(d time.Duration, until func(sensors.Reading) bool) bool {
		for range int(d / (100 * time.Millisecond)) {
			_ = clock.Sleep(ctx, 100*time.Millisecond)
			last = board.Reading("x", x.quantity, time.Now())
			if want := x.truth(last.Taken); last.Quality == sensors.Good && watching && !(math.Abs(last.Value-want) <= x.tolerance) {
				t.Fatalf("good: %v, true: %v (raw %s)", last.Value, want, last.Raw)
			}
			if age := time.Since(last.Taken); last.Quality == sensors.Good && age > 5*period+100*time.Millisecond {
				t.Fatalf("good after %v", age)
			}
			if until(last) {
				return true
			}
		}
		return false
	}
	// Off the loop's beat, so that nothing is broken in the middle of a look.
	_ = clock.Sleep(ctx, 37*time.Millisecond)
	good := func(r sensors.Reading) bool { return r.Quality == sensors.Good }
	never := func(sensors.Reading) bool { return false }
	if !watch(5*time.Second, good) {
		t.Fatalf("never good: %v", last.Fault)
	}
	// A while, so that the chip has settled.
	watch(time.Second, never)
	before, _ := board.Status("x")
	watching = f != bench.Frozen // then the value is an old one, by intent
	if err := x.breaks.Inject(f); err != nil {
		t.Fatal(err)
	}
	watch(time.Second, never) // what was measured before has been fetched
	held := last.Value
	watch(15*time.Second, never)
	status, _ := board.Status("x")
	seen := make([]sensors.Code, 0, len(status.Faults))
	for c, n := range status.Faults {
		if n > before.Faults[c] {
			seen = append(seen, c)
		}
	}
	switch passing := f&(bench.BrownOut|bench.Stretch) != 0; {
	case code == silent:
		if len(seen) != 0 || last.Quality != sensors.Good {
			t.Errorf("%v, faults %v; want nothing told", last.Quality, seen)
		}
		if f == bench.Frozen && last.Value != held {
			t.Errorf("%v, then %v, though frozen", held, last.Value)
		}
	case passing:
		if !slices.Contains(seen, code) {
			t.Errorf("faults %v, want %s among them", seen, code)
		}
	default:
		if last.Quality != sensors.Faulty || last.Fault.Code != code {
			t.Errorf("%v %v, want %s", last.Quality, last.Fault, code)
		} else if last.Fault.Hint() == "" || last.Fault.Device == "" {
			t.Errorf("no hint or device in %+v", last.Fault)
		}
	}
	x.breaks.Clear()
	watch(time.Second, never)
	watching = true
	if !watch(16*time.Second, good) {
		t.Errorf("not good again: %v", last.Fault)
	}
}
