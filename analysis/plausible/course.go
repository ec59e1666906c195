package plausible

import (
	"math"
	"time"

	"fluewright/analysis/signal"
)

const (
	maxGap    = 2 * time.Minute // the longest silence over which anything is carried on
	briefly   = 20 * time.Second
	usually   = 10 * time.Minute
	briefLeap = 1.0  // Pa: more from one draft reading to the next counts as this
	hotLeap   = 20.0 // K: more of a bend between three readings counts as this
)

// course is how one channel has moved: its level, its noise, and for how long its value
// has been the same to the last bit.
type course struct {
	has            bool
	raw, rawBefore float64 // the last two readings
	value          float64 // the last one, without single wrong ones
	count          int     // readings since the last gap
	absent         bool    // there is none now
	missing        time.Duration
	seen           time.Duration // of readings since the last gap

	level float64 // over briefly
	// brief and usual are the variance of the noise over briefly and usually. Noise is
	// what successive differences show (draft), or second ones (temperatures, whose sheath
	// makes a ramp of every step): neither sees a slow course.
	brief, usual float64
	quantum      float64       // the least change that was seen; NaN before the first
	same         time.Duration // so long has the value been the same
	repeats      int           // and so many readings
}

// step takes a reading; NaN is none.
func (c *course) step(v float64, dt time.Duration, pressure bool) {
	if math.IsNaN(v) {
		c.absent = true
		c.missing += dt
		if c.missing > maxGap {
			c.restart()
		}
		return
	}
	dt += c.missing
	c.missing, c.absent = 0, false
	if !c.has || dt > maxGap || c.count == 0 {
		usual, quantum := c.usual, c.quantum
		if !c.has {
			usual, quantum = 0, math.NaN()
		}
		*c = course{has: true, raw: v, rawBefore: v, value: v, level: v, count: 1, usual: usual, brief: usual, quantum: quantum}
		return
	}
	if dt == 0 {
		return // another frame of the same moment, or time that ran backwards
	}
	c.count++
	c.seen += dt
	variance := c.variance(v, pressure)
	v, c.raw, c.rawBefore = c.believed(v, pressure), v, c.raw
	change := v - c.value
	if change == 0 {
		c.same += dt
		c.repeats++
	} else {
		c.same, c.repeats = 0, 0
		if size := math.Abs(change); !(size >= c.quantum) {
			c.quantum = size
		}
	}
	// Of the first readings the plain mean.
	over := max(briefly, 12*dt)
	c.brief = signal.Toward(c.brief, variance, dt, min(over, c.seen))
	c.usual = signal.Toward(c.usual, variance, dt, min(usually, max(c.seen, over)))
	c.level = signal.Toward(c.level, v, dt, briefly)
	c.value = v
}

// variance is what a reading says of the noise.
func (c *course) variance(v float64, pressure bool) float64 {
	if pressure {
		d := max(-briefLeap, min(briefLeap, v-c.raw))
		return float64(d*d) / 2
	}
	if c.count <= 2 {
		return 0
	}
	d := max(-hotLeap, min(hotLeap, (v-c.raw)-(c.raw-c.rawBefore)))
	return float64(d*d) / 6
}

// believed is a temperature as the rules see it: the middle one of the last three
// readings, which a single wrong one cannot move.
func (c *course) believed(v float64, pressure bool) float64 {
	if pressure || c.count <= 2 {
		return v
	}
	return max(min(v, c.raw), min(max(v, c.raw), c.rawBefore))
}

// restart forgets what a gap makes worthless. The last value stays, for it tells whether
// two channels were exchanged meanwhile.
func (c *course) restart() { c.count, c.seen, c.same, c.repeats = 0, 0, 0, 0 }

// fresh reports whether the last reading is of now.
func (c *course) fresh() bool { return c.count > 0 && !c.absent }

// recent reports whether there was one at most a few seconds ago, so that the level is still
// of now: a reading that gets lost on the way is no end of anything.
func (c *course) recent() bool { return c.count > 0 && c.missing <= wireOff }

// noisy reports whether a variance is noise that takes the reading across its own steps,
// so that no two readings in a row need be the same. A value that flickers between two
// steps has at most half a step.
func (c *course) noisy(variance float64) bool {
	return variance >= float64(0.5*c.quantum*c.quantum) // NaN compares false
}
