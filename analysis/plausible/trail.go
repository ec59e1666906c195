package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

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
		if courses[c].recent() {
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

// gained is the most that a channel gained over so many marks, K.
func (t *trail) gained(c frame.Channel, over int) float64 {
	most := 0.0
	for i := 0; i+over < t.count; i++ {
		if gain := t.ago(i)[c] - t.ago(i + over)[c]; gain > most {
			most = gain
		}
	}
	return most
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
