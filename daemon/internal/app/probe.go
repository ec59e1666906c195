package app

import (
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fluewright/daemon/internal/config"
	"fluewright/sensors"
	"fluewright/sensors/survey"
)

// Driver tells a survey how to make the driver of a configured chip, as a run makes it.
func Driver(s config.Sensor, k *survey.Known) {
	kind := chips[s.Chip]
	if kind.spi != nil {
		k.SPI = func(p spi.Port, clock sensors.Clock) (sensors.Sensor, error) { return kind.spi(p, s, clock) }
		return
	}
	k.I2C = func(b i2c.Bus, clock sensors.Clock) (sensors.Sensor, error) { return kind.i2c(b, s, clock) }
}
