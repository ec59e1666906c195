package survey

import (
	"context"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/ads1115"
	"fluewright/sensors/bme280"
	"fluewright/sensors/max31855"
	"fluewright/sensors/max31856"
	"fluewright/sensors/mcp9600"
	"fluewright/sensors/mcp9808"
	"fluewright/sensors/sdp8xx"
)

// onI2C is how a chip, or a family that shares its identity, is recognised on I2C. A new
// chip is a line in i2cKinds and an Identify in its driver.
type onI2C struct {
	family    string
	addresses []uint16
	// mute: it refuses to be read while it is idle, so that it is asked even where nobody
	// answers a read.
	mute     bool
	identify func(context.Context, i2c.Bus, uint16, sensors.Clock) (*sensors.Found, error)
}

// i2cKinds are asked in this order; the first that recognises the chip has it.
var i2cKinds = []onI2C{
	{family: "sdp8xx", addresses: []uint16{0x21, 0x22, 0x23, 0x25, 0x26}, mute: true, identify: sdp8xx.Identify},
	{family: "bme280", addresses: []uint16{0x76, 0x77}, identify: bme280.Identify},
	{family: "mcp9600", addresses: from(0x60, 8), identify: mcp9600.Identify},
	{family: "mcp9808", addresses: from(0x18, 8), identify: mcp9808.Identify},
	{family: "ads1115", addresses: from(0x48, 4), identify: ads1115.Identify},
}

// onSPI is the same for SPI. A port can be connected once in its life, so that each gets
// a fresh one.
type onSPI struct {
	family   string
	identify func(context.Context, spi.Port, sensors.Clock) (*sensors.Found, error)
}

var spiKinds = []onSPI{
	{family: "max31856", identify: max31856.Identify},
	{family: "max31855", identify: max31855.Identify}, // after it, as its Identify says
}

// muxAddresses are those of multiplexers, which are found before what may be behind them.
var muxAddresses = from(0x70, 8)

func from(first uint16, n int) []uint16 {
	all := make([]uint16, n)
	for i := range all {
		all[i] = first + uint16(i)
	}
	return all
}
