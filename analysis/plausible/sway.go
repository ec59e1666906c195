package plausible

import (
	"time"

	"fluewright/analysis/signal"
)

// Gas in a chimney sways by seconds, as wind and fire do; a sensor's own noise has no
// memory. Between an average over two seconds and one over a quarter of a minute much of
// the one is left and little of the other.
const (
	swayQuick = 2 * time.Second
	swaySlow  = 15 * time.Second
)

// sway is how a draft moves between the two, Pa². The zero value has seen nothing.
type sway struct {
	begun       bool
	quick, slow float64
	square      float64
	seen        time.Duration
}

// follow takes a reading; over is how long what it moved by is remembered.
func (s *sway) follow(v float64, dt, over time.Duration) {
	if !s.begun {
		s.begun, s.quick, s.slow = true, v, v
		return
	}
	s.seen += dt
	s.quick = signal.Toward(s.quick, v, dt, swayQuick)
	s.slow = signal.Toward(s.slow, v, dt, swaySlow)
	off := s.quick - s.slow
	s.square = signal.Toward(s.square, float64(off*off), dt, min(over, max(0, s.seen-dt)))
}
