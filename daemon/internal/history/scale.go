package history

import (
	"math"

	"fluewright/analysis/frame"
)

// perUnit is how many counts are one °C or one Pa: finer than any sensor at a furnace is
// right, and a whole number of the steps in which the common thermocouple chips read.
var perUnit = [frame.Count]float64{
	frame.Firebox: 16, frame.Chamber: 16, frame.Flue: 16, frame.Plenum: 16,
	frame.Return: 16, frame.Room: 16, frame.Outdoor: 16,
	frame.Draft:   10,
	frame.Ambient: 1,
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
