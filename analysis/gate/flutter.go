package gate

import (
	"math"
	"time"
)

// Swing is how the draft swings about its mean of seconds.
type Swing struct {
	// Known says that the sampling is quick enough and there was time enough to tell.
	Known      bool
	Fluttering bool
	// Frequency in Hz; 0 where the sampling is too slow to tell it.
	Frequency float64
	RMS       float64 // Pa
	// Irregular is the standard deviation of the periods over their mean: a gate swings like
	// a pendulum, gusts and the fire's rumble do not.
	Irregular float64
}

// A gate that swings: its periods between 0.3 and 2 Hz (from memory, no source), and how
// regular and how large. Periods between the crossings of filtered noise have an
// irregularity of 0.4 to 0.6. A sampling of 1 Hz folds the swing to another frequency and
// leaves it regular, so that there the period says nothing and the regularity must be
// better.
const (
	quick, slow        = 550 * time.Millisecond, 1100 * time.Millisecond // between samples
	quickest, slowest  = 0.5, 3.6                                        // s a period
	longestFolded      = 12.0                                            // s a period
	regular, regularly = 0.3, 0.22                                       // sampled quickly, slowly
	leastRMS           = 0.6                                             // Pa
	leastShare         = 0.05                                            // of the draft
	baseOver           = 2.5                                             // s, of the mean that the swing is about
	powerOver          = 20.0                                            // s
	periodsOver        = 20.0                                            // periods
	leastPeriods       = 40.0
	knownAfter         = 180.0 // s
)

// flutter finds the swing of one draft.
type flutter struct {
	last    time.Duration
	started bool
	seen    float64 // s
	folded  bool    // the sampling is slow
	base    float64 // Pa, mean
	power   float64 // Pa², of what is left
	above   bool
	since   float64 // s since the last crossing upwards
	crossed bool
	periods float64 // how many were counted
	mean    float64 // s
	square  float64 // s², mean of squares about the mean
}

func (f *flutter) reset() { *f = flutter{} }

func (f *flutter) step(at time.Duration, draft float64) Swing {
	dt := at - f.last
	switch {
	case !(math.Abs(draft) < 500):
		return Swing{}
	case !f.started || dt < 0 || dt > slow:
		*f = flutter{started: true, last: at, base: draft}
		return Swing{}
	case dt == 0:
		return f.swing()
	}
	f.last, f.folded = at, dt > quick
	s := dt.Seconds()
	f.seen += s
	x := draft - f.base
	f.base += float64(s / (s + baseOver) * x)
	over := min(powerOver, f.seen)
	f.power += float64(s / (s + over) * (float64(x*x) - f.power))
	f.cross(x, s)
	return f.swing()
}

// cross counts the crossings upwards, which must come from well below.
func (f *flutter) cross(x, s float64) {
	f.since += s
	edge := float64(0.5 * math.Sqrt(f.power))
	switch {
	case f.above && x < -edge:
		f.above = false
	case !f.above && x > edge:
		f.above = true
		if f.crossed {
			f.count(f.since)
		}
		f.crossed, f.since = true, 0
	}
}

func (f *flutter) count(period float64) {
	f.periods++
	w := 1 / min(f.periods, periodsOver)
	d := period - f.mean
	f.mean += float64(w * d)
	f.square += float64(w * (float64(d*(period-f.mean)) - f.square))
}

func (f *flutter) swing() Swing {
	if f.periods < leastPeriods {
		return Swing{Known: f.seen > knownAfter}
	}
	w := Swing{Known: true, RMS: math.Sqrt(f.power), Irregular: math.Sqrt(max(0, f.square)) / f.mean}
	most, longest := regular, slowest
	if f.folded {
		most, longest = regularly, longestFolded
	} else {
		w.Frequency = 1 / f.mean
	}
	w.Fluttering = w.Irregular <= most && f.mean >= quickest && f.mean <= longest && f.since < 3*f.mean &&
		w.RMS >= max(leastRMS, float64(leastShare*math.Abs(f.base)))
	return w
}
