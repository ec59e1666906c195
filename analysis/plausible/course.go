package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
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
	c.brief = toward(c.brief, variance, dt, min(over, c.seen))
	c.usual = toward(c.usual, variance, dt, min(usually, max(c.seen, over)))
	c.level = toward(c.level, v, dt, briefly)
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

// noisy reports whether a variance is noise that takes the reading across its own steps,
// so that no two readings in a row need be the same. A value that flickers between two
// steps has at most half a step.
func (c *course) noisy(variance float64) bool {
	return variance >= float64(0.5*c.quantum*c.quantum) // NaN compares false
}

// toward moves an average by the backward-difference weight: stable for any step, and the
// same on every machine.
func toward(average, v float64, dt, over time.Duration) float64 {
	s := dt.Seconds()
	if w := s + over.Seconds(); w > 0 {
		return average + float64(s/w*(v-average))
	}
	return average
}

const (
	mark     = 30 * time.Second
	marks    = 41 // 20 min
	shortAgo = 6  // marks: 3 min
	longAgo  = marks - 1
)

// trail is the levels of the last 20 min, one a mark.
type trail struct {
	levels [marks]frame.Values
	next   int // where the next goes
	count  int
	since  time.Duration
}

// step reports whether a mark was made.
func (t *trail) step(courses *[frame.Count]course, dt time.Duration) bool {
	t.since += dt
	if t.since < mark {
		return false
	}
	t.since = 0
	for c := range courses {
		level := math.NaN()
		if courses[c].fresh() {
			level = courses[c].level
		}
		t.levels[t.next][c] = level
	}
	t.next = (t.next + 1) % marks
	t.count = min(t.count+1, marks)
	return true
}

// ago returns the levels so many marks ago; 0 is the latest. It is for i < count only.
func (t *trail) ago(i int) *frame.Values { return &t.levels[(t.next-1-i+2*marks)%marks] }

// bounds are the lowest and the highest level of a channel over the latest marks; NaN
// where one of them has none.
func (t *trail) bounds(c frame.Channel, over int) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range min(over+1, t.count) {
		v := t.ago(i)[c]
		low, high = min(low, v), max(high, v)
	}
	if t.count == 0 {
		return math.NaN(), math.NaN()
	}
	return low, high
}

// latest is bounds without the marks that have no level; NaN where none has one.
func (t *trail) latest(c frame.Channel, over int) (low, high float64) {
	low, high = math.NaN(), math.NaN()
	for i := range min(over+1, t.count) {
		v := t.ago(i)[c]
		if !(v >= low) && !math.IsNaN(v) {
			low = v
		}
		if !(v <= high) && !math.IsNaN(v) {
			high = v
		}
	}
	return low, high
}

// mean is that of the levels from marks ago to marks ago that there are; NaN for none.
func (t *trail) mean(c frame.Channel, from, to int) float64 {
	sum, n := 0.0, 0.0
	for i := from; i < min(to, t.count); i++ {
		if v := t.ago(i)[c]; !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum / n
}
