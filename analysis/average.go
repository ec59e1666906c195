package analysis

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

// maxGap is the longest silence over which an average is carried on.
const maxGap = 2 * time.Minute

// average is a first-order average of an input against irregular time. While the input
// is missing it has the input's quality and no value.
type average struct {
	over  time.Duration
	value float64
	last  time.Duration // of the last usable input
	has   bool
}

func (a *average) step(at time.Duration, in frame.Input) frame.Input {
	if !in.Usable() {
		in.Value = 0
		return in
	}
	switch dt := at - a.last; {
	case !a.has || dt > maxGap || dt < 0:
		a.value, a.has = in.Value, true
	default:
		a.value = signal.Toward(a.value, in.Value, dt, a.over)
	}
	a.last = at
	in.Value = a.value
	return in
}
