package spillage

import (
	"math"
	"time"

	"fluewright/analysis/signal"
)

const (
	doubtFor = 40 * time.Second // a hose that is off is known by then
	nothing  = 0.5              // Pa: what a sensor open to the room reads
	strong   = 2.0              // Pa: a draft
	hush     = 0.3              // of its former movement: less than any live flue keeps
	noiseOf  = 30 * time.Second
	newNoise = 4 * time.Second
	moved    = 5.0 // K: a flue whose gas has stopped or turned
)

// quiet tells a reading that fell silent from a draft that turned: the hose that comes off
// leaves the sensor to the room's air, at once and without the flue's noise, and the gas
// goes on as it was.
type quiet struct {
	has      bool
	previous float64
	level    float64 // Pa, before it fell
	noise    float64 // Pa, before it fell
	fallen   bool
	since    time.Duration // it fell, beyond doubtFor when it was heard again
	now      float64       // Pa of noise since then
	flue     float64       // °C, when it fell
}

// step reports whether the reading is doubtful.
func (q *quiet) step(draft, flue float64, dt time.Duration) bool {
	if !q.has || dt > maxGap {
		*q = quiet{has: true, previous: draft, level: draft}
		return false
	}
	step := min(math.Abs(draft-q.previous), strong)
	q.previous = draft
	size := math.Abs(draft)
	switch {
	case draft >= strong, !q.fallen && (size > nothing || q.level < strong):
		q.level = signal.Toward(q.level, draft, dt, noiseOf)
		q.noise = signal.Toward(q.noise, step, dt, noiseOf)
		q.fallen = false
		return false
	case !q.fallen:
		q.fallen, q.since, q.now, q.flue = true, 0, 0, flue
		step = 0 // the fall itself
	case size > 2*nothing:
		q.since = doubtFor + 1 // something moves the sensor
	}
	q.since += dt
	q.now = signal.Toward(q.now, step, dt, newNoise)
	if q.since > doubtFor || math.Abs(flue-q.flue) > moved {
		return false
	}
	return q.now <= max(0.02, float64(hush*q.noise)) || q.since < newNoise
}
