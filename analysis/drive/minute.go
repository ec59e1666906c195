package drive

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// Minute is about a minute of readings: long against gusts, the swing of a gate and a
// sheath's lag, short against a burn.
type Minute struct {
	At       time.Duration // its end
	Weight   float64       // s that it rests on
	Drive    float64       // Pa/m
	Draft    float64       // Pa
	Spread   float64       // Pa, standard deviation of the draft within it
	Measured bool          // the outdoor temperature was
}

// Calm reports whether the wind leaves the draft to the fire.
func (m Minute) Calm() bool {
	return m.Spread <= max(calmPa, float64(calmShare*m.Draft))
}

// Gather makes minutes of frames.
type Gather struct {
	last    time.Duration
	started bool
	spoilt  bool // readings within it say nothing of gate or chimney
	sum     Minute
	square  float64 // Pa² s, about the mean
}

const (
	// calmPa and calmShare are how much a draft moves within a calm minute, in Pa and of
	// its mean: a gust that doubles the wind's pressure moves it by more.
	calmPa, calmShare = 1.5, 0.2

	minute  = 60.0            // s that a Minute holds
	longest = 2 * time.Minute // between two frames that belong together
	// hardest is the draft beyond which a reading is nonsense, Pa; wind included.
	hardest = 500.0
)

// Step takes the readings at a time. spoilt says that the draft depends on something else
// now: a door stands open, deposit burns. It returns a minute when one is full.
func (g *Gather) Step(at time.Duration, v *frame.Values, air Air, spoilt bool) (Minute, bool) {
	dt := at - g.last
	gap := !g.started || dt < 0 || dt > longest
	g.last, g.started = at, true
	if gap {
		g.sum, g.square, g.spoilt = Minute{}, 0, false
		return Minute{}, false
	}
	g.spoilt = g.spoilt || spoilt
	drive, measured := air.Of(v)
	draft := v[frame.Draft]
	if math.IsNaN(drive) || !(math.Abs(draft) < hardest) || dt == 0 {
		return Minute{}, false
	}
	m := &g.sum
	w := min(dt.Seconds(), minute)
	m.Weight += w
	m.Drive += float64(w / m.Weight * (drive - m.Drive))
	off := draft - m.Draft
	m.Draft += float64(w / m.Weight * off)
	g.square += float64(w * off * (draft - m.Draft))
	m.At, m.Measured = at, measured
	if m.Weight < minute {
		return Minute{}, false
	}
	out, ok := *m, !g.spoilt
	out.Spread = math.Sqrt(max(0, g.square) / m.Weight)
	g.sum, g.square, g.spoilt = Minute{}, 0, false
	return out, ok
}
