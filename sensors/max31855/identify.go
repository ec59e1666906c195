package max31855

import (
	"context"
	"math"
	"time"

	"periph.io/x/conn/v3/spi"

	"fluewright/sensors"
	"fluewright/sensors/thermocouple"
)

// looks and their distance: that what came three times, a conversion apart, can be a
// temperature each time is no chance.
const (
	looks = 3
	apart = conversionTime + 50*time.Millisecond
	// steady is how far terminals may drift in that time, K: far more than they can.
	steady = 1.0
)

// Identify recognises a chip on a port that nobody has connected yet; nil means that it is
// another, or none. The chip has no identity: it is what sends, again and again, a frame
// that is possible, with terminals at a temperature that stays. Which type it is made for
// nothing can tell: the values are those of type K.
//
// It sends zeros, which the chip does not see: it has no data input. Ask for the MAX31856
// first, whose registers can look like a frame.
func Identify(ctx context.Context, p spi.Port, clock sensors.Clock) (*sensors.Found, error) {
	d, err := New(p, &Opts{Type: thermocouple.K, Clock: clock})
	if err != nil {
		return nil, err
	}
	var low, high float64
	for i := range looks {
		if err := clock.Sleep(ctx, apart); err != nil {
			return nil, err
		}
		if err := d.read(); err != nil {
			return nil, err
		}
		_, err := Decode(d.r[:], d.kind)
		switch sensors.CodeOf(err) {
		case sensors.StuckLow, sensors.StuckHigh, sensors.ImpossibleFrame, sensors.ColdJunctionRange, sensors.OutOfRange:
			return nil, nil
		}
		cold := coldJunction(uint32(d.r[2])<<8 | uint32(d.r[3]))
		if i == 0 {
			low, high = cold, cold
		}
		low, high = math.Min(low, cold), math.Max(high, cold)
	}
	if high-low > steady || low < coldLow || high > coldHigh {
		return nil, nil
	}
	return &sensors.Found{Chip: "max31855", Detail: "its type is its suffix; taken for K", Sensor: d}, nil
}
