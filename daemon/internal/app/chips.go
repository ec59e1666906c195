package app

import (
	"context"
	"fmt"
	gopath "path"
	"slices"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/bme280"
	"fluewright/sensors/bus"
	"fluewright/sensors/max31855"
	"fluewright/sensors/max31856"
	"fluewright/sensors/mcp9600"
	"fluewright/sensors/mcp9808"
	"fluewright/sensors/path"
	"fluewright/sensors/pca9548"
	"fluewright/sensors/scan"
	"fluewright/sensors/sdp8xx"
	"fluewright/sensors/thermocouple"
	"fluewright/sensors/transmitter"
)

// chip is how one kind of chip is wired: its driver, and which of its quantities may
// feed which channel.
type chip struct {
	i2c      func(i2c.Bus, config.Sensor, sensors.Clock) (sensors.Sensor, error)
	spi      func(spi.Port, config.Sensor, sensors.Clock) (sensors.Sensor, error)
	quantity func(frame.Channel) sensors.Quantity
	// massFlow: its pressure has to be corrected for the air's density.
	massFlow bool
	// noise is the standard deviation that its reading has at rest, or one step of its
	// last digit, whichever is larger; K or Pa.
	noise float64
	// frozen is how long it may repeat itself; zero, for chips whose noise is below their
	// last digit, if it may for ever.
	frozen time.Duration
}

var chips = map[string]chip{
	"max31856": {
		spi: func(p spi.Port, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
			kind, err := thermocouple.ParseType(s.Thermocouple)
			if err != nil {
				return nil, err
			}
			return max31856.New(p, &max31856.Opts{
				Type:      kind,
				Averaging: s.Averaging,
				Mains:     s.MainsHz,
				Clock:     clock,
				Name:      s.Bus,
			})
		},
		quantity: only(sensors.HotJunction),
		noise:    0.05,
		frozen:   30 * time.Second,
	},
	"max31855": {
		spi: func(p spi.Port, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
			kind, err := thermocouple.ParseType(s.Thermocouple)
			if err != nil {
				return nil, err
			}
			return max31855.New(p, &max31855.Opts{Type: kind, Clock: clock, Name: s.Bus})
		},
		quantity: only(sensors.HotJunction),
		noise:    0.25, // a digit, which can stand still all night: no reading is called frozen
	},
	"mcp9600":      converter(mcp9600.MCP9600),
	"mcp9601":      converter(mcp9600.MCP9601),
	"sdp810-125pa": sdp(sdp8xx.SDP810P125),
	"sdp810-500pa": sdp(sdp8xx.SDP810P500),
	"sdp811-500pa": sdp(sdp8xx.SDP811P500),
	"sdp800-125pa": sdp(sdp8xx.SDP800P125),
	"sdp800-500pa": sdp(sdp8xx.SDP800P500),
	"sdp801-500pa": sdp(sdp8xx.SDP801P500),
	"sdp31-500pa":  sdp(sdp8xx.SDP31P500),
	"sdp32-125pa":  sdp(sdp8xx.SDP32P125),
	"sdp33-1500pa": sdp(sdp8xx.SDP33P1500),
	"ads1115": {
		i2c: func(b i2c.Bus, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
			x := s.Transmitter
			scale := transmitter.Scale{
				Signal: transmitter.Ratiometric, Low: x.Low, High: x.High, Divider: float64(x.Divider), Shunt: x.Shunt,
			}
			if x.Current {
				scale.Signal = transmitter.Current
			}
			return transmitter.New(b, &transmitter.Opts{
				Scale: scale, Address: s.Address, Input: x.Input, SupplyInput: x.SupplyInput, Clock: clock,
			})
		},
		quantity: only(sensors.DifferentialPressure),
	},
	"bme280": barometer,
	"bmp280": barometer,
	"mcp9808": {
		i2c: func(b i2c.Bus, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
			return mcp9808.New(b, &mcp9808.Opts{Address: s.Address, Clock: clock})
		},
		quantity: only(sensors.AirTemperature),
	},
}

// only is a chip that has one quantity for whatever channel it feeds.
func only(q sensors.Quantity) func(frame.Channel) sensors.Quantity {
	return func(frame.Channel) sensors.Quantity { return q }
}

func converter(part mcp9600.Part) chip {
	return chip{
		i2c: func(b i2c.Bus, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
			kind, err := thermocouple.ParseType(s.Thermocouple)
			if err != nil {
				return nil, err
			}
			return mcp9600.New(b, &mcp9600.Opts{Part: part, Type: kind, Address: s.Address, Clock: clock})
		},
		quantity: only(sensors.HotJunction),
		noise:    0.0625, // a digit; that it measures anew the chip says itself
	}
}

func sdp(part sdp8xx.Part) chip {
	return chip{
		i2c: func(b i2c.Bus, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
			return sdp8xx.New(b, &sdp8xx.Opts{Part: part, Address: s.Address, Clock: clock})
		},
		quantity: only(sensors.DifferentialPressure),
		massFlow: true,
		noise:    0.03,
		frozen:   30 * time.Second,
	}
}

var barometer = chip{
	i2c: func(b i2c.Bus, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
		return bme280.New(b, &bme280.Opts{Address: s.Address, Clock: clock})
	},
	quantity: func(c frame.Channel) sensors.Quantity {
		if c == frame.Ambient {
			return sensors.AbsolutePressure
		}
		return sensors.AirTemperature
	},
	frozen: time.Minute,
}

// buses makes a reading loop for each bus of the configuration. way says what the samples
// of a chip go through.
func buses(cfg *config.Config, b *scan.Board, clock sensors.Clock, way func(chip, config.Sensor) path.Opts) ([]*scan.Loop, error) {
	groups := map[string]*scan.Config{}
	trunks := map[string]*trunk{}
	var order []string
	for _, s := range cfg.Sensors {
		kind, ok := chips[s.Chip]
		if !ok {
			return nil, fmt.Errorf("no driver for chip %q", s.Chip)
		}
		name := controller(s)
		g := groups[name]
		if g == nil {
			g = &scan.Config{Name: name, Period: cfg.Sampling.Period, Burst: cfg.Sampling.Burst, Clock: clock}
			if kind.i2c != nil {
				trunks[name] = &trunk{SharedI2C: bus.NewSharedI2C(s.Bus)}
				g.Bus = trunks[name]
			}
			groups[name] = g
			order = append(order, name)
		}
		slot := scan.Slot{Name: s.Name, StaleAfter: cfg.Sampling.StaleAfter, Open: openOnSPI(kind, s, clock), Path: way(kind, s)}
		if kind.i2c != nil {
			slot.Open = openOnI2C(kind, s, clock, trunks[name])
			trunks[name].fit(s.Mux)
		}
		g.Slots = append(g.Slots, slot)
	}
	var loops []*scan.Loop
	for _, name := range order {
		l, err := scan.New(b, *groups[name])
		if err != nil {
			return nil, fmt.Errorf("set up %s: %w", name, err)
		}
		loops = append(loops, l)
	}
	return loops, nil
}

// controller is what shares the wires: the bus itself on I2C, and on SPI all chip
// selects of one controller, "/dev/spidev0" for /dev/spidev0.1.
func controller(s config.Sensor) string {
	if chips[s.Chip].spi != nil {
		return strings.TrimSuffix(s.Bus, gopath.Ext(s.Bus))
	}
	return s.Bus
}

func openOnSPI(kind chip, s config.Sensor, clock sensors.Clock) func(context.Context) (sensors.Sensor, error) {
	return func(context.Context) (sensors.Sensor, error) {
		port, err := bus.OpenSPI(s.Bus)
		if err != nil {
			return nil, err
		}
		dev, err := kind.spi(port, s, clock)
		if err != nil {
			_ = port.Close() // the first error is the one that counts
			return nil, err
		}
		return scan.WithPort(dev, port), nil
	}
}

// trunk is an I2C bus with the multiplexers on it. It is used by one loop's goroutine.
type trunk struct {
	*bus.SharedI2C
	addresses []uint16 // of the multiplexers
	open      i2c.Bus  // that the multiplexers were made for
	muxes     *pca9548.Group
}

// fit notes a multiplexer, each once.
func (t *trunk) fit(m config.Mux) {
	if m.Address != 0 && !slices.Contains(t.addresses, m.Address) {
		t.addresses = append(t.addresses, m.Address)
	}
}

// at is the bus that a chip behind m, or behind none, is on.
func (t *trunk) at(m config.Mux) (i2c.Bus, error) {
	b, err := t.Bus()
	if err != nil || m.Address == 0 {
		return b, err
	}
	if t.open != b {
		if t.muxes, err = pca9548.New(b, t.addresses...); err != nil {
			return nil, err
		}
		t.open = b
	}
	return t.muxes.Channel(m.Address, m.Channel)
}

func openOnI2C(kind chip, s config.Sensor, clock sensors.Clock, on *trunk) func(context.Context) (sensors.Sensor, error) {
	return func(context.Context) (sensors.Sensor, error) {
		b, err := on.at(s.Mux)
		if err != nil {
			return nil, err
		}
		return kind.i2c(b, s, clock)
	}
}

// sources says which chip and quantity feeds each channel.
func sources(cfg *config.Config) (all [frame.Count]source) {
	for _, s := range cfg.Sensors {
		kind := chips[s.Chip]
		for _, c := range s.Channels {
			all[c] = source{sensor: s.Name, quantity: kind.quantity(c), fitted: true, massFlow: kind.massFlow, lag: s.Lag}
		}
	}
	return all
}
