package bench

import (
	"math/rand/v2"

	"fluewright/sensors/thermocouple"
)

// Where the chips of fitEvery sit.
const (
	ConverterAddr   = 0x60 // MCP9601 behind channel 0 of the multiplexer, channel outdoor
	TransmitterAddr = 0x48 // transmitter of ±100 Pa with its ADS1115, channel draft
	AirAddr         = 0x18 // MCP9808, channel return
	MuxAddr         = 0x70
)

// fitEvery adds a MAX31855K at the firebox on spidev1.1 and a second I2C bus, i2c-2, with
// an MCP9808, a transmitter and a multiplexer. Behind its channel 0 is an MCP9601, behind
// channel 3 another SDP810-125Pa at the address of the first.
func (b *Bench) fitEvery(seed uint64, noise func(float64) float64) {
	random := func(n uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, n)) }
	terminals := func() float64 { return b.value("room") + 3 }

	firebox := NewMAX31855(b.clock, thermocouple.K, b.reader("firebox"), terminals)
	firebox.Noise, firebox.rng = noise(0.05), random(31855)
	b.spi["spidev1.1"] = NewSelect(b.clock, "spidev1.1", firebox)

	outdoor := NewMCP9601(b.clock, b.reader("outdoor"), terminals)
	outdoor.Noise, outdoor.rng = noise(0.05), random(9601)
	second := NewSDP8xx(b.clock, b.reader("draft"), b.reader("ambient"), b.reader("room"))
	second.Noise, second.rng = noise(0.08), random(810)
	mux := NewMux()
	mux.Attach(0, ConverterAddr, outdoor)
	mux.Attach(3, DraftAddr, second)
	analog := NewTransmitter(b.clock, b.reader("draft"), -100, 100)
	analog.Noise, analog.rng = noise(0.05), random(1115)
	air := NewMCP9808(b.clock, b.reader("return"))

	bus := NewBus(b.clock, "i2c-2")
	bus.Attach(MuxAddr, mux)
	bus.Attach(TransmitterAddr, analog)
	bus.Attach(AirAddr, air)
	b.buses["i2c-2"] = bus

	b.broken["i2c-2"] = &bus.breakable
	b.broken["max31855"] = &firebox.breakable
	b.broken["mcp9601"] = &outdoor.breakable
	b.broken["sdp810"] = &second.breakable
	b.broken["transmitter"] = &analog.breakable
	b.broken["mcp9808"] = &air.breakable
	b.broken["pca9548"] = &mux.breakable
}
