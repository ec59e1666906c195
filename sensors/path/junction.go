package path

import (
	"math"
	"time"
)

// A terminal block has mass: in still air it takes minutes to warm. A quicker jump means
// that the wires' terminals and the chip's own sensor are not equally warm, and the
// reading is off by the difference (common practice, no source for the figures).
const (
	jump     = 5.0 // K
	jumpSpan = 10 * time.Second
	settling = time.Minute // the doubt after a jump
)

// A thermocouple with its wires swapped reads as far below its terminals as it is above.
// Indoors nothing that is measured lies far below the terminals for long.
const (
	swappedBelow = 10.0 // K
	swappedAfter = time.Minute
	swappedUntil = 5.0 // K above the terminals, which proves the wires right
)

type belief uint8

const (
	no belief = iota
	maybe
	surely
)

// junction follows the terminals of a thermocouple.
type junction struct {
	older, newer     float64 // two earlier values, at least jumpSpan apart
	olderAt, newerAt time.Time
	jumpAt           time.Time

	below  time.Time // since when the hot junction is far below; zero if it is not
	doubts bool      // it once was, and has not been above since
}

// jumped reports a jump once.
func (j *junction) jumped(at time.Time, cold float64) bool {
	switch {
	case j.newerAt.IsZero() || at.Sub(j.newerAt) > 3*jumpSpan:
		j.older, j.olderAt = cold, at
		j.newer, j.newerAt = cold, at
	case at.Sub(j.newerAt) >= jumpSpan:
		j.older, j.olderAt = j.newer, j.newerAt
		j.newer, j.newerAt = cold, at
	}
	if math.Abs(cold-j.older) <= jump {
		return false
	}
	j.older, j.olderAt = cold, at
	j.newer, j.newerAt = cold, at
	j.jumpAt = at
	return true
}

// unsettled reports whether there was a jump a moment ago.
func (j *junction) unsettled(at time.Time) bool {
	return !j.jumpAt.IsZero() && at.Sub(j.jumpAt) < settling
}

// swapped says how sure it is that the wires are swapped.
func (j *junction) swapped(at time.Time, hot, cold float64) belief {
	switch {
	case hot < cold-swappedBelow:
		if j.below.IsZero() {
			j.below = at
		}
		if at.Sub(j.below) >= swappedAfter {
			j.doubts = true
			return surely
		}
		return maybe
	case hot > cold+swappedUntil:
		j.doubts = false
	}
	j.below = time.Time{}
	if j.doubts {
		return maybe
	}
	return no
}
