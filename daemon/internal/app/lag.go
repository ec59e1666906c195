package app

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

const (
	// lagGain is how many times quicker a probe is made, and by how much its noise grows at
	// most: two thirds of the delay go.
	lagGain = 3
	// hottestGas bounds what may come of it, °C: no wood gas is hotter.
	hottestGas = 1400
	// lagGap is a silence after which the probe's past says nothing of its future.
	lagGap = 10 * time.Second
)

// sheath makes up for what a probe's sheath delays. It only ever raises a reading: what it
// would take off one that falls is an estimate too, and with a time constant that is too
// long it would make a hot flue look cool.
type sheath struct {
	fresh, now signal.Compensator
	last       time.Time
	clamped    uint64
}

// newSheath returns nil for a time constant of zero.
func newSheath(tau time.Duration) (*sheath, error) {
	if tau == 0 {
		return nil, nil
	}
	c, err := signal.NewCompensator(tau.Seconds(), lagGain)
	if err != nil {
		return nil, err
	}
	return &sheath{fresh: *c, now: *c}, nil
}

// quicken replaces the reading by what it would be with a quicker probe.
func (s *sheath) quicken(in *frame.Input, taken, origin time.Time) {
	if s == nil {
		return
	}
	if !in.Usable() || taken.Sub(s.last) > lagGap {
		s.now = s.fresh
	}
	if !in.Usable() {
		return
	}
	s.last = taken
	v, _ := s.now.Update(taken.Sub(origin).Seconds(), in.Value) // of a reading seen before, the same again
	if v > hottestGas {
		v = math.Max(hottestGas, in.Value)
		s.clamped++
	}
	in.Value = math.Max(in.Value, v)
}
