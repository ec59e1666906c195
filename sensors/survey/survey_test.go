package survey_test

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/bench"
	"fluewright/sensors/bus"
	"fluewright/sensors/max31856"
	"fluewright/sensors/sdp8xx"
	"fluewright/sensors/survey"
	"fluewright/sensors/thermocouple"
	"fluewright/sensors/traffic"
)

// on returns options that look at the bench.
func on(b *bench.Bench) survey.Options {
	buses, selects := b.Devices()
	return survey.Options{
		Open: bus.Opener{
			I2C: func(name string) (i2c.BusCloser, error) { return buses[strings.TrimPrefix(name, "/dev/")].Open() },
			SPI: func(name string) (spi.PortCloser, error) { return selects[strings.TrimPrefix(name, "/dev/")].Open() },
		},
		Adapters: func() []bus.Adapter {
			var all []bus.Adapter
			for _, name := range slices.Sorted(maps.Keys(buses)) {
				all = append(all, bus.Adapter{Device: "/dev/" + name})
			}
			for _, name := range slices.Sorted(maps.Keys(selects)) {
				all = append(all, bus.Adapter{Device: "/dev/" + name, SPI: true})
			}
			return all
		},
	}
}

func newBench(t *testing.T, lines ...string) *bench.Bench {
	t.Helper()
	b, err := bench.New(bench.Config{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range append([]string{"pin flue 300", "pin chamber 600", "pin plenum 60", "pin draft 12", "pin room 20", "pin ambient 98000"}, lines...) {
		if _, err := b.Do(l); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

func find(t *testing.T, buses []survey.Bus, device string, address uint16) survey.Chip {
	t.Helper()
	for _, b := range buses {
		for _, c := range b.Chips {
			if b.Device == device && c.Address == address {
				return c
			}
		}
	}
	t.Fatalf("no chip on %s at %#02x", device, address)
	return survey.Chip{}
}

func reading(t *testing.T, c survey.Chip, q sensors.Quantity) survey.Reading {
	t.Helper()
	for _, r := range c.Look.Readings {
		if r.Quantity == q {
			return r
		}
	}
	t.Fatalf("%s has no %s: %+v", c.Chip, q, c.Look)
	return survey.Reading{}
}

// The tolerances are the bench's noise, and for the draft the air's density too: the
// sensor reads 98000/96600 of what is there.
func TestFindsWhatIsThere(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		buses, err := survey.Run(t.Context(), on(newBench(t)))
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []struct {
			device  string
			address uint16
			chip    string
			q       sensors.Quantity
			value   float64
			within  float64
		}{
			{"/dev/spidev0.0", 0, "max31856", sensors.HotJunction, 300, 0.2},
			{"/dev/spidev0.1", 0, "max31856", sensors.HotJunction, 600, 0.2},
			{"/dev/spidev1.0", 0, "max31856", sensors.ColdJunction, 23, 0.1},
			{"/dev/i2c-1", 0x25, "sdp810-125pa", sensors.DifferentialPressure, 12 * 98000 / 96600.0, 0.1},
			{"/dev/i2c-1", 0x76, "bme280", sensors.AbsolutePressure, 98000, 5},
		} {
			c := find(t, buses, want.device, want.address)
			if c.Chip != want.chip || c.Measuring || c.Look.Samples != 8 || c.Look.Fault != nil {
				t.Errorf("%s %#02x: %+v", want.device, want.address, c)
			}
			if r := reading(t, c, want.q); r.Value < want.value-want.within || r.Value > want.value+want.within {
				t.Errorf("%s %s: %v, want %v within %v", want.chip, want.q, r.Value, want.value, want.within)
			}
		}
		n := 0
		for _, b := range buses {
			n += len(b.Chips)
			if b.Fault != nil || len(b.Strangers) > 0 {
				t.Errorf("%s: %v, strangers %#x", b.Device, b.Fault, b.Strangers)
			}
		}
		if n != 5 {
			t.Errorf("%d chips, want 5", n)
		}
		if d := find(t, buses, "/dev/i2c-1", 0x25).Detail; !strings.Contains(d, "serial 445566778899aabb") {
			t.Errorf("detail %q", d)
		}
	})
}

// One of each chip, two of them behind a multiplexer: found where they are, and nowhere
// else, twice over, since the first survey leaves all as it was.
func TestFindsOneOfEach(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, err := bench.New(bench.Config{Seed: 1, Every: true})
		if err != nil {
			t.Fatal(err)
		}
		for c, v := range map[string]string{"firebox": "640", "outdoor": "-12", "return": "19", "draft": "14", "ambient": "96600", "room": "21"} {
			if _, err := b.Do("pin " + c + " " + v); err != nil {
				t.Fatal(err)
			}
		}
		for range 2 {
			found, err := survey.Run(t.Context(), on(b))
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]string{}
			for _, bus := range found {
				if bus.Fault != nil || len(bus.Strangers) > 0 {
					t.Errorf("%s: %v, strangers %#x", bus.Device, bus.Fault, bus.Strangers)
				}
				for _, c := range bus.Chips {
					at := fmt.Sprintf("%s %#02x", strings.TrimPrefix(bus.Device, "/dev/"), c.Address)
					if c.Mux.Address != 0 {
						at += fmt.Sprintf(" behind %#02x/%d", c.Mux.Address, c.Mux.Channel)
					}
					got[at] = c.Chip
					for _, r := range c.Look.Readings {
						want, ok := map[string]float64{"max31855": 640, "mcp9601": -12, "mcp9808": 19, "sdp810-125pa": 14}[c.Chip]
						if ok && r.Quantity != sensors.ColdJunction && math.Abs(r.Value-want) > 0.4 {
							t.Errorf("%s measures %v, want %v", c.Chip, r.Value, want)
						}
					}
					if c.Look.Fault != nil || c.Look.Samples < 8 && c.Chip != "pca9548" && c.Chip != "ads1115" {
						t.Errorf("%s: %+v", c.Chip, c.Look)
					}
				}
			}
			want := map[string]string{
				"i2c-1 0x25": "sdp810-125pa", "i2c-1 0x76": "bme280",
				"i2c-2 0x18": "mcp9808", "i2c-2 0x48": "ads1115", "i2c-2 0x70": "pca9548",
				"i2c-2 0x60 behind 0x70/0": "mcp9601", "i2c-2 0x25 behind 0x70/3": "sdp810-125pa",
				"spidev0.0 0x00": "max31856", "spidev0.1 0x00": "max31856", "spidev1.0 0x00": "max31856", "spidev1.1 0x00": "max31855",
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		}
	})
}

// What another program has set going is read, and goes on.
func TestLeavesAloneWhatMeasures(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		buses, selects := b.Devices()
		// Continuous with temperature compensation, as no driver of ours starts it.
		if err := buses["i2c-1"].Tx(0x25, []byte{0x36, 0x1E}, nil); err != nil {
			t.Fatal(err)
		}
		if err := buses["i2c-1"].Tx(0x76, []byte{0xF4, 0x27}, nil); err != nil {
			t.Fatal(err)
		}
		write := []byte{0x80, 0x90, 0x02} // automatic, type J
		if err := selects["spidev0.0"].Transfer(spi.Mode1, write, nil); err != nil {
			t.Fatal(err)
		}
		found, err := survey.Run(t.Context(), on(b))
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []survey.Chip{find(t, found, "/dev/i2c-1", 0x25), find(t, found, "/dev/i2c-1", 0x76), find(t, found, "/dev/spidev0.0", 0)} {
			if !c.Measuring || c.Look.Fault != nil {
				t.Errorf("%s: %+v", c.Chip, c)
			}
		}
		if v := reading(t, find(t, found, "/dev/i2c-1", 0x25), sensors.DifferentialPressure).Value; v < 11.5 || v > 12.7 {
			t.Errorf("draft %v", v)
		}
		if v := reading(t, find(t, found, "/dev/spidev0.0", 0), sensors.HotJunction).Value; v < 299 || v > 301 {
			t.Errorf("flue %v", v)
		}
		// Still as they were; the sensor has a new value after half a millisecond.
		time.Sleep(time.Millisecond)
		frame := make([]byte, 9)
		if err := buses["i2c-1"].Tx(0x25, nil, frame); err != nil {
			t.Errorf("the pressure sensor was stopped: %v", err)
		}
		if err := buses["i2c-1"].Tx(0x76, []byte{0xF4}, frame[:1]); err != nil || frame[0] != 0x27 {
			t.Errorf("the barometer's control register is %#x, %v", frame[0], err)
		}
		r := make([]byte, 3)
		if err := selects["spidev0.0"].Transfer(spi.Mode1, []byte{0, 0, 0}, r); err != nil || r[1] != 0x90 || r[2] != 0x02 {
			t.Errorf("the amplifier's registers are %x, %v", r[1:], err)
		}
	})
}

// expander is a port expander, as it may sit at an SDP8xx's address: whatever is written
// sets its pins, and a read gives them.
type expander struct {
	bench.Chip
	pins   byte
	writes int
}

func (e *expander) Tx(w, r []byte) error {
	for _, b := range w {
		e.pins, e.writes = b, e.writes+1
	}
	for i := range r {
		r[i] = e.pins
	}
	return nil
}

func (e *expander) Faults() bench.Fault { return 0 }

func TestStrangersKeepTheirState(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		buses, _ := b.Devices()
		relays, mux := &expander{pins: 0x5A}, &expander{pins: 0x02}
		buses["i2c-1"].Attach(0x21, relays)
		buses["i2c-1"].Attach(0x77, mux)
		found, err := survey.Run(t.Context(), on(b))
		if err != nil {
			t.Fatal(err)
		}
		if relays.writes != 0 || relays.pins != 0x5A {
			t.Errorf("a port expander was written %d times, its pins are %#x", relays.writes, relays.pins)
		}
		if c := find(t, found, "/dev/i2c-1", 0x77); c.Chip != "pca9548" || mux.pins != 0x02 {
			t.Errorf("%s at 0x77, left at %#x", c.Chip, mux.pins)
		}
		if diff := cmp.Diff([]uint16{0x21}, found[0].Strangers); diff != "" {
			t.Errorf("strangers (-want +got):\n%s", diff)
		}
	})
}

func TestFaultsAreNamed(t *testing.T) {
	for _, tc := range []struct {
		fault   string
		device  string
		address uint16
		want    sensors.Code
	}{
		{"fault flue open", "/dev/spidev0.0", 0, sensors.OpenCircuit},
		{"fault flue over-voltage", "/dev/spidev0.0", 0, sensors.InputVoltage},
		{"fault flue cold-junction-hot", "/dev/spidev0.0", 0, sensors.ColdJunctionRange},
		{"fault draft crc", "/dev/i2c-1", 0x25, sensors.BadChecksum},
	} {
		t.Run(tc.fault, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				found, err := survey.Run(t.Context(), on(newBench(t, tc.fault)))
				if err != nil {
					t.Fatal(err)
				}
				if c := find(t, found, tc.device, tc.address); c.Look.Fault == nil || c.Look.Fault.Code != tc.want {
					t.Errorf("%s: %v, want %s", c.Chip, c.Look.Fault, tc.want)
				}
			})
		})
	}
}

func known(name, device string) survey.Known {
	if strings.Contains(device, "spi") {
		return survey.Known{Name: name, Bus: device, Chip: "max31856", SPI: func(p spi.Port, c sensors.Clock) (sensors.Sensor, error) {
			return max31856.New(p, &max31856.Opts{Type: thermocouple.K, Averaging: 16, Mains: 50, Clock: c})
		}}
	}
	return survey.Known{Name: name, Bus: device, Address: 0x25, Chip: "sdp810-125pa", I2C: func(b i2c.Bus, c sensors.Clock) (sensors.Sensor, error) {
		return sdp8xx.New(b, &sdp8xx.Opts{Part: sdp8xx.SDP810P125, Clock: c})
	}}
}

func TestKnownChips(t *testing.T) {
	for _, tc := range []struct {
		name  string
		lines []string
		known survey.Known
		want  sensors.Code
	}{
		{"well, and averaging for long", nil, known("flue", "/dev/spidev0.0"), ""},
		{"well, by another name of the bus", nil, known("draft", "/dev/i2c/by-path/soc"), ""},
		{"silent", []string{"fault draft nack"}, known("draft", "/dev/i2c-1"), sensors.NoAnswer},
		{"another part", []string{"fault draft wrong-part"}, known("draft", "/dev/i2c-1"), sensors.WrongPart},
		{"no chip select", []string{"fault flue stuck-ff"}, known("flue", "/dev/spidev0.0"), sensors.StuckHigh},
		{"the whole bus", []string{"fault i2c-1 timeout"}, known("draft", "/dev/i2c-1"), sensors.BusDown},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o := on(newBench(t, tc.lines...))
				inner := o.Adapters
				o.Adapters = func() []bus.Adapter {
					all := inner()
					all[0].Links = []string{"/dev/i2c/by-path/soc"}
					return all
				}
				o.Known = []survey.Known{tc.known}
				found, err := survey.Run(t.Context(), o)
				if err != nil {
					t.Fatal(err)
				}
				var got []survey.Chip
				for _, b := range found {
					for _, c := range b.Chips {
						if c.Name == tc.known.Name {
							got = append(got, c)
						}
					}
				}
				if len(got) != 1 {
					t.Fatalf("found %d times", len(got))
				}
				code := sensors.Code("")
				if f := got[0].Look.Fault; f != nil {
					code = f.Code
				}
				if code != tc.want || (code == "") != (got[0].Look.Samples == 8) {
					t.Errorf("%+v, want %q", got[0].Look, tc.want)
				}
			})
		})
	}
}

// A bus that cannot be opened is told of each chip that is known to be on it, and a chip
// that the kernel drives is not talked to.
func TestBusesThatAreNotFree(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := on(newBench(t))
		o.Known = []survey.Known{known("draft", "/dev/i2c-1"), known("flue", "/dev/spidev7.0")}
		busy := &sensors.Fault{Code: sensors.BusInUse, Device: "/dev/i2c-1", Detail: "process 812, fluewright"}
		missing := &sensors.Fault{Code: sensors.DeviceMissing, Device: "/dev/spidev7.0"}
		o.Open.I2C = func(string) (i2c.BusCloser, error) { return nil, busy }
		inner := o.Open.SPI
		o.Open.SPI = func(name string) (spi.PortCloser, error) {
			if name == "/dev/spidev7.0" {
				return nil, missing
			}
			return inner(name)
		}
		found, err := survey.Run(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		if c := find(t, found, "/dev/i2c-1", 0x25); c.Look.Fault != busy || found[0].Fault != busy {
			t.Errorf("%+v", c.Look)
		}
		if c := find(t, found, "/dev/spidev7.0", 0); c.Name != "flue" || c.Look.Fault != missing {
			t.Errorf("%+v", c)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t)
		o := on(b)
		o.Adapters = func() []bus.Adapter {
			return []bus.Adapter{{Device: "/dev/i2c-1", Bound: map[uint16]string{0x76: "bmp280", 0x25: "sdp8xx"}}}
		}
		o.Known = []survey.Known{known("draft", "/dev/i2c-1")}
		found, err := survey.Run(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(found[0].Chips); n != 1 {
			t.Errorf("%d chips, want the known one alone", n)
		}
		if f := find(t, found, "/dev/i2c-1", 0x25).Look.Fault; f == nil || f.Code != sensors.BusInUse || !strings.Contains(f.Detail, "sdp8xx") {
			t.Errorf("%v", f)
		}
	})
}

// What is recorded, plays: the survey of the record finds what the survey of the chips
// found, and asks for every transfer of it.
func TestRecordAndPlayback(t *testing.T) {
	for name, lines := range map[string][]string{
		"well":   nil,
		"ailing": {"fault flue open", "fault draft nack", "fault ambient stuck-ff"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o := on(newBench(t, lines...))
				var file strings.Builder
				r := traffic.NewRecorder(&file, o.Open, sensors.SystemClock{})
				o.Open = r.Opener()
				live, err := survey.Run(t.Context(), o)
				if err != nil || r.Err() != nil {
					t.Fatal(err, r.Err())
				}
				p, err := traffic.Read(strings.NewReader(file.String()))
				if err != nil {
					t.Fatal(err)
				}
				again, err := survey.Run(t.Context(), survey.Options{Open: p.Opener(), Adapters: p.Adapters})
				if err != nil {
					t.Fatal(err)
				}
				ignore := cmp.Options{
					cmpopts.IgnoreUnexported(survey.Chip{}, survey.Look{}), cmpopts.EquateEmpty(),
					cmpopts.IgnoreFields(sensors.Fault{}, "Err", "Device"),
				}
				if diff := cmp.Diff(live, again, ignore); diff != "" {
					t.Errorf("played back (-live +record):\n%s", diff)
				}
				if rest := p.Rest(); len(rest) > 0 {
					t.Errorf("%d transfers were not asked for, first %s", len(rest), rest[0])
				}
			})
		})
	}
}

func TestEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := survey.Run(ctx, on(newBench(t))); err == nil {
			t.Error("no error after the end")
		}
	})
}
