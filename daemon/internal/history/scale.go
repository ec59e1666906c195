package history

import (
	"math"

	"fluewright/analysis/frame"
)

// perUnit is how many counts are one °C or one Pa: finer than any sensor at a furnace is
// right, and a whole number to each step of the commonest thermocouple chips, 0.25 °C. What
// is finer would be the sensor's noise, and noise is what costs room.
var perUnit = [frame.Count]float64{
	frame.Firebox: 8, frame.Chamber: 8, frame.Flue: 8, frame.Plenum: 8,
	frame.Return: 8, frame.Room: 8, frame.Outdoor: 8,
	frame.Draft:   10,
	frame.Ambient: 0.25,
}

// count is the nearest whole count of a value.
func count(c frame.Channel, v float64) int32 {
	n := math.Floor(float64(v*perUnit[c]) + 0.5)
	return int32(min(max(n, math.MinInt32), math.MaxInt32))
}

// value undoes count.
func value(c frame.Channel, n float64) float64 { return n / perUnit[c] }

func unit(c frame.Channel) string {
	if c.Pressure() {
		return "Pa"
	}
	return "°C"
}
