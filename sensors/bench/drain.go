package bench

import (
	"math"
	"time"
)

// drain is a level that runs out once it is cut off from what held it up.
type drain struct {
	since time.Time // zero while it is held
	from  float64
}

// runsOut is the time constant: a thin probe in still air, and a plugged hose of which
// the flow through the sensor lets the pressure out, take about as long.
const runsOut = 30 * time.Second

// level returns held, or, once it is cut off, what is left of it above the floor.
func (d *drain) level(cut bool, now time.Time, held, floor float64) float64 {
	if !cut {
		d.since = time.Time{}
		return held
	}
	if d.since.IsZero() {
		d.since, d.from = now, held
	}
	return floor + (d.from-floor)*math.Exp(-float64(now.Sub(d.since))/float64(runsOut))
}
