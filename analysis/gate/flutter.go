package gate

import (
	"math"
	"time"
)

// Swing is how the draft swings between 0.3 and 2 Hz.
type Swing struct {
	// Known says that the sampling is quick enough and there was time enough to tell.
	Known      bool
	Fluttering bool
	Frequency  float64 // Hz
	RMS        float64 // Pa
	// Irregular is the standard deviation of the periods over their mean: a gate swings like
	// a pendulum, gusts and the fire's rumble do not.
	Irregular float64
}

// A gate that swings: its frequencies, and how regular and how large. Frequencies from
// memory, no source. Periods between the crossings of filtered noise have an irregularity
// of 0.5 and more.
const (
	slowestSampling = 550 * time.Millisecond
	slowest         = 3.6 // s a period
	quickest        = 0.5 // s a period
	regular         = 0.3
	leastRMS        = 0.8  // Pa
	leastShare      = 0.06 // of the draft
	baseOver        = 2.5  // s, of the mean that the swing is about
	powerOver       = 20.0 // s
	periodsOver     = 20.0 // periods
	leastPeriods    = 40.0
)

// flutter finds the swing of one draft.
type flutter struct {
	last    time.Duration
	started bool
	seen    float64 // s
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
	case !f.started || dt < 0 || dt > slowestSampling:
		*f = flutter{started: true, last: at, base: draft}
		return Swing{}
	case dt == 0:
		return f.swing()
	}
	f.last = at
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
		return Swing{Known: f.seen > 180}
	}
	w := Swing{Known: true, Frequency: 1 / f.mean, RMS: math.Sqrt(f.power)}
	w.Irregular = math.Sqrt(max(0, f.square)) / f.mean
	w.Fluttering = w.Irregular <= regular && f.mean >= quickest && f.mean <= slowest &&
		w.RMS >= max(leastRMS, float64(leastShare*math.Abs(f.base))) && f.since < 3*f.mean
	return w
}
