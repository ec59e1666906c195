package config

import (
	"slices"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/units"
)

// chip is what the configuration must know of a kind of chip.
type chip struct {
	name string
	bus  busKind
	// feeds lists, for each quantity that the chip measures, the channels that it may
	// be: one of each list at most.
	feeds [][]frame.Channel
	// addresses on I2C, the default first.
	addresses []int
	// thermocouples are the types that it can be told or made for; none if it has no
	// thermocouple.
	thermocouples []string
	// filters: it averages and rejects the mains' hum as it is told.
	filters bool
	// converts: an analog transmitter is behind it.
	converts bool
}

type busKind uint8

const (
	i2c busKind = iota
	spi
)

// String returns the name of the bus as people write it.
func (b busKind) String() string {
	if b == spi {
		return "SPI"
	}
	return "I2C"
}

// example is a device file of the kind.
func (b busKind) example() string {
	if b == spi {
		return "/dev/spidev0.0"
	}
	return "/dev/i2c-1"
}

var (
	// probed are the places where a thermocouple can sit: all temperatures.
	probed = []frame.Channel{
		frame.Firebox, frame.Chamber, frame.Flue, frame.Plenum, frame.Return, frame.Room, frame.Outdoor,
	}
	// aired are those that an air sensor survives: the BME280 and BMP280 work up to 85 °C
	// (from memory), and a plenum can be hotter.
	aired = []frame.Channel{frame.Room, frame.Return, frame.Outdoor}
)

var chips = []chip{
	{name: "max31856", bus: spi, feeds: [][]frame.Channel{probed}, thermocouples: thermocoupleTypes(), filters: true},
	// Its type is the suffix of its name; there is none for type B.
	{name: "max31855", bus: spi, feeds: [][]frame.Channel{probed}, thermocouples: thermocoupleTypes()[1:]},
	{name: "mcp9600", feeds: [][]frame.Channel{probed}, addresses: span8(0x60), thermocouples: thermocoupleTypes()},
	{name: "mcp9601", feeds: [][]frame.Channel{probed}, addresses: span8(0x60), thermocouples: thermocoupleTypes()},
	{name: "sdp810-125pa", feeds: draft, addresses: []int{0x25}},
	{name: "sdp810-500pa", feeds: draft, addresses: []int{0x25}},
	{name: "sdp811-500pa", feeds: draft, addresses: []int{0x26}},
	{name: "sdp800-125pa", feeds: draft, addresses: []int{0x25}},
	{name: "sdp800-500pa", feeds: draft, addresses: []int{0x25}},
	{name: "sdp801-500pa", feeds: draft, addresses: []int{0x26}},
	{name: "sdp31-500pa", feeds: draft, addresses: []int{0x21, 0x22, 0x23}},
	{name: "sdp32-125pa", feeds: draft, addresses: []int{0x21, 0x22, 0x23}},
	{name: "sdp33-1500pa", feeds: draft, addresses: []int{0x21, 0x22, 0x23}},
	{name: "ads1115", feeds: draft, addresses: []int{0x48, 0x49, 0x4A, 0x4B}, converts: true},
	{name: "bme280", feeds: [][]frame.Channel{{frame.Ambient}, aired}, addresses: []int{0x76, 0x77}},
	{name: "bmp280", feeds: [][]frame.Channel{{frame.Ambient}, aired}, addresses: []int{0x76, 0x77}},
	{name: "mcp9808", feeds: [][]frame.Channel{aired}, addresses: span8(0x18)},
}

// draft is what a differential-pressure sensor may feed.
var draft = [][]frame.Channel{{frame.Draft}}

// span8 is eight addresses, as three pins select them.
func span8(first int) []int {
	all := make([]int, 8)
	for i := range all {
		all[i] = first + i
	}
	return all
}

// Chips lists the names of the chips that a configuration may fit.
func Chips() []string {
	names := make([]string, len(chips))
	for i, c := range chips {
		names[i] = c.name
	}
	return names
}

// chipCalled returns the chip, nil if there is none of the name.
func chipCalled(name string) *chip {
	if i := slices.IndexFunc(chips, func(c chip) bool { return c.name == name }); i >= 0 {
		return &chips[i]
	}
	return nil
}

// channels lists all that the chip may feed.
func (c *chip) channels() []frame.Channel { return slices.Concat(c.feeds...) }

// thermocouples lists the types and the hottest that each measures, °C (MAX31856
// datasheet 19-7534 Rev 0, table 1 on page 12).
var thermocouples = []struct {
	letter  string
	hottest float64
}{
	{"B", 1820}, {"E", 1000}, {"J", 1200}, {"K", 1372}, {"N", 1300}, {"R", 1768}, {"S", 1768}, {"T", 400},
}

func thermocoupleTypes() []string {
	letters := make([]string, len(thermocouples))
	for i, t := range thermocouples {
		letters[i] = t.letter
	}
	return letters
}

// hottest returns what a thermocouple of the type measures at most, °C.
func hottest(letter string) float64 {
	for _, t := range thermocouples {
		if t.letter == letter {
			return t.hottest
		}
	}
	return 0
}

// both writes a temperature in the two scales.
func both(celsius float64) string {
	return units.US.Temperature(celsius) + " (" + units.SI.Temperature(celsius) + ")"
}
