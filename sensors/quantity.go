package sensors

// Quantity is something that a chip measures.
type Quantity uint8

// What the supported chips measure, with the unit of the value.
const (
	HotJunction          Quantity = iota // thermocouple, compensated and linearised, °C
	ColdJunction                         // terminals of the thermocouple, °C
	DifferentialPressure                 // port "+" minus port "−", Pa
	AbsolutePressure                     // Pa
	AirTemperature                       // air at the chip, or at a probe that is one, °C
	RelativeHumidity                     // ratio, 0 to 1
	Quantities                           // how many there are
)

var quantityNames = [Quantities]string{
	HotJunction:          "hot-junction",
	ColdJunction:         "cold-junction",
	DifferentialPressure: "differential-pressure",
	AbsolutePressure:     "absolute-pressure",
	AirTemperature:       "air-temperature",
	RelativeHumidity:     "relative-humidity",
}

// String returns the quantity's name as diagnostics print it.
func (q Quantity) String() string {
	if q < Quantities {
		return quantityNames[q]
	}
	return "unknown-quantity"
}
