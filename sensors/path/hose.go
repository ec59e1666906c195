package path

import (
	"math"
	"time"

	"fluewright/sensors"
)

const (
	calmOver = time.Minute     // the average of the movement
	calmFrom = 2 * time.Minute // before that there is too little to tell
	// collapse is how quickly it must have become still: a fire that burns out takes
	// hours, after which a windless night may be as still as a blocked hose.
	collapse = 15 * time.Minute
	// calm is how little the pressure moves when the sensor hears only itself, lively how
	// much it must have moved before, in multiples of the sensor's noise (judgement, no
	// source).
	calm    = 1.5
	lively  = 4.0
	hoseGap = 10 * time.Second
)

// hose notices that a hose in which gas moved has become still. Movement is the mean
// square of successive differences, half of which is the variance of independent noise
// and which a slow drift of the level does not touch (von Neumann 1941, Ann. Math. Stat.
// 12, 367).
type hose struct {
	last      float64
	since, at time.Time
	movement  float64   // Pa²
	livelyAt  time.Time // zero until it moved
	blocked   bool
}

func (h *hose) step(s *sensors.Sample, noise float64) bool {
	v, ok := s.Get(sensors.DifferentialPressure)
	if !ok {
		return false
	}
	dt := s.Taken.Sub(h.at)
	switch {
	case h.at.IsZero() || dt > hoseGap:
		*h = hose{since: s.Taken, blocked: h.blocked}
	case dt > 0:
		d := v - h.last
		// The weight of the first samples is that of a plain mean.
		over := min(calmOver, s.Taken.Sub(h.since))
		h.movement += (d*d/2 - h.movement) * min(1, dt.Seconds()/over.Seconds())
	default:
		return false
	}
	h.last, h.at = v, s.Taken
	if s.Taken.Sub(h.since) < calmFrom {
		return false
	}
	moves := math.Sqrt(h.movement)
	if moves > lively*noise {
		h.livelyAt = s.Taken
	}
	fell := !h.livelyAt.IsZero() && s.Taken.Sub(h.livelyAt) < collapse
	h.blocked = moves < calm*noise && (h.blocked || fell)
	return h.blocked
}
