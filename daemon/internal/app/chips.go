package app

import (
	"context"
	"fmt"
	"path"
	"strings"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/bme280"
	"fluewright/sensors/bus"
	"fluewright/sensors/max31856"
	"fluewright/sensors/scan"
	"fluewright/sensors/sdp8xx"
	"fluewright/sensors/thermocouple"
)

// chip is how one kind of chip is wired: its driver, and which of its quantities may
// feed which channel.
type chip struct {
	i2c      func(i2c.Bus, config.Sensor, sensors.Clock) (sensors.Sensor, error)
	spi      func(spi.Port, config.Sensor, sensors.Clock) (sensors.Sensor, error)
	quantity func(frame.Channel) sensors.Quantity
	// massFlow: its pressure has to be corrected for the air's density.
	massFlow bool
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
		quantity: func(frame.Channel) sensors.Quantity { return sensors.HotJunction },
	},
	"sdp810-125pa": sdp(sdp8xx.SDP810P125),
	"sdp810-500pa": sdp(sdp8xx.SDP810P500),
	"bme280":       barometer,
	"bmp280":       barometer,
}

func sdp(part sdp8xx.Part) chip {
	return chip{
		i2c: func(b i2c.Bus, s config.Sensor, clock sensors.Clock) (sensors.Sensor, error) {
			return sdp8xx.New(b, &sdp8xx.Opts{Part: part, Address: s.Address, Clock: clock})
		},
		quantity: func(frame.Channel) sensors.Quantity { return sensors.DifferentialPressure },
		massFlow: true,
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
}

// buses makes a reading loop for each bus of the configuration.
func buses(cfg *config.Config, b *scan.Board, clock sensors.Clock) ([]*scan.Loop, error) {
	groups := map[string]*scan.Config{}
	shared := map[string]*bus.SharedI2C{}
	var order []string
	for _, s := range cfg.Sensors {
		kind, ok := chips[s.Chip]
		if !ok {
			return nil, fmt.Errorf("no driver for chip %q", s.Chip)
		}
		name := controller(s)
		g := groups[name]
		if g == nil {
			g = &scan.Config{Name: name, Period: cfg.Sampling.Period, Clock: clock}
			if kind.i2c != nil {
				shared[name] = bus.NewSharedI2C(s.Bus)
				g.Bus = shared[name]
			}
			groups[name] = g
			order = append(order, name)
		}
		slot := scan.Slot{Name: s.Name, StaleAfter: cfg.Sampling.StaleAfter, Open: openOnSPI(kind, s, clock)}
		if kind.i2c != nil {
			slot.Open = openOnI2C(kind, s, clock, shared[name])
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
		return strings.TrimSuffix(s.Bus, path.Ext(s.Bus))
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

func openOnI2C(kind chip, s config.Sensor, clock sensors.Clock, shared *bus.SharedI2C) func(context.Context) (sensors.Sensor, error) {
	return func(context.Context) (sensors.Sensor, error) {
		b, err := shared.Bus()
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
			all[c] = source{sensor: s.Name, quantity: kind.quantity(c), fitted: true, massFlow: kind.massFlow}
		}
	}
	return all
}
