package plausible

import (
	"math"
	"time"
)

// A hose comes off at once; a chimney stalls slowly, and the gas in it is never quite at
// rest at exactly the room's pressure.
const (
	offWithin = 5 * time.Second
	offFor    = 20 * time.Second // sooner than a turned draft is believed
	offLooks  = 4
	offStill  = 0.5 // of the movement before
	offBand   = 3.0 // times the movement before
	offMost   = 1.5 // Pa
	coolsIn   = 10 * time.Minute
	coolsTo   = 0.7 // of the flue's rise: so quickly cools a fire that gets no air
)

// fall is a draft that went from strong to nothing.
type fall struct {
	sinceStrong time.Duration
	wasStrong   bool
	band        float64 // Pa: nothing, with its noise
	usual       float64 // Pa² of movement while it was strong; zero where it is not known for one of gas

	on     bool // at nothing since
	lasted time.Duration
	looks  int
	sum    float64
	square float64 // of successive differences
	last   float64
	out    int // readings in a row that were not at nothing

	flue   float64 // K, when it fell
	judged bool
	found  string
}

// step takes a reading of the draft; alive says that it has moved as gas does, burning that there is a fire as far
// as is known.
func (f *fall) step(v float64, dt time.Duration, c *course, alive, burning bool, flue float64) string {
	f.sinceStrong += dt
	if v >= strong {
		*f = fall{wasStrong: true, band: max(weak, min(offMost, float64(offBand*math.Sqrt(c.usual))))}
		if alive {
			f.usual = c.usual
		}
		return ""
	}
	if !burning || !f.wasStrong {
		*f = fall{}
		return ""
	}
	nothing := math.Abs(v) <= f.band
	switch {
	case !f.on && nothing && f.sinceStrong <= max(offWithin, dt):
		f.on, f.last, f.flue = true, v, flue
		f.looks, f.sum = 1, v
		return ""
	case !f.on:
		return ""
	case !nothing:
		if f.out++; f.out >= 2 {
			*f = fall{}
		}
		return f.found
	}
	f.out = 0
	if dt > 0 {
		f.follow(v, dt, c)
	}
	if f.found == HoseOff && f.lasted < coolsIn && flue < float64(coolsTo*f.flue) {
		f.found = DraftGone // it was the chimney
	}
	return f.found
}

// follow judges once, by the readings since the fall.
func (f *fall) follow(v float64, dt time.Duration, c *course) {
	f.lasted += dt
	if f.judged {
		return
	}
	d := v - f.last
	f.last = v
	f.looks++
	f.sum += v
	f.square += float64(d * d)
	if f.lasted < offFor || f.looks < offLooks {
		return
	}
	f.judged = true
	mean := f.sum / float64(f.looks)
	moves := f.square / float64(2*(f.looks-1))
	switch {
	case math.Abs(mean) > weak:
	case f.usual >= lively*lively && c.noisy(f.usual) && moves <= float64(offStill*offStill*f.usual):
		f.found = HoseOff
	default:
		f.found = DraftGone
	}
}
