package panel

import (
	"iter"
	"math"
	"time"
)

// Column is what was read in one stretch of time. Without a reading Count is 0 and the
// rest means nothing.
type Column struct {
	Min, Max, Mean float64
	Count          int
}

// empty reports that there is nothing to draw.
func (c *Column) empty() bool {
	return c.Count <= 0 || !usable(c.Min) || !usable(c.Max) || !usable(c.Mean)
}

// add takes one reading in.
func (c *Column) add(v float64) { c.merge(Column{v, v, v, 1}) }

// merge takes another stretch in.
func (c *Column) merge(o Column) {
	switch {
	case o.empty():
		return
	case c.empty():
		*c = o
		return
	}
	c.Min, c.Max = min(c.Min, o.Min), max(c.Max, o.Max)
	c.Count += o.Count
	// A mean cannot leave the hull, whatever rounding does.
	c.Mean += float64((o.Mean - c.Mean) * (float64(o.Count) / float64(c.Count)))
	c.Mean = min(max(c.Mean, c.Min), c.Max)
}

// usable reports whether v can be taken in: a number whose sums stay numbers.
func usable(v float64) bool { return math.Abs(v) < 1e300 }

// Reduce sorts readings between from and to into n columns of equal width. A NaN is no
// reading.
func Reduce(readings iter.Seq2[time.Time, float64], from, to time.Time, n int) []Column {
	columns := make([]Column, n)
	for t, v := range readings {
		if i, ok := place(t, from, to, n); ok && usable(v) {
			columns[i].add(v)
		}
	}
	return columns
}

// place says in which of n columns between from and to a moment lies.
func place(t, from, to time.Time, n int) (int, bool) {
	if t.Before(from) || t.After(to) || n < 1 {
		return 0, false
	}
	share := float64(t.Sub(from)) / float64(to.Sub(from))
	return min(max(int(share*float64(n)), 0), n-1), true
}

// Reducer is Reduce for a window whose end is not known yet: its columns grow wider with
// it, and its memory does not. Make it with NewReducer.
type Reducer struct {
	from    time.Time
	last    Reading
	width   time.Duration // of a column
	columns []Column
	// spacings counts the distances between readings by their power of two in ms.
	spacings [32]int
}

// finest is the width of the columns that a Reducer begins with.
const finest = time.Second

// NewReducer returns a reducer of readings from a moment on that keeps 4n columns at most:
// enough for n pixels.
func NewReducer(from time.Time, n int) *Reducer {
	return &Reducer{from: from, last: Reading{Time: from}, width: finest, columns: make([]Column, 0, 4*max(n, 1))}
}

// Add takes one reading in. Readings come in the order of time; earlier than the window
// is not in it, and NaN is no reading.
func (r *Reducer) Add(t time.Time, v float64) {
	if t.Before(r.from) || !usable(v) {
		return
	}
	if d := t.Sub(r.last.Time); d > 0 {
		r.spacings[min(ilog2(d.Milliseconds()), len(r.spacings)-1)]++
	}
	if !t.Before(r.last.Time) {
		r.last = Reading{t, v}
	}
	i := t.Sub(r.from) / r.width
	for i >= time.Duration(cap(r.columns)) {
		r.halve()
		i = t.Sub(r.from) / r.width
	}
	if int(i) >= len(r.columns) {
		r.columns = r.columns[:i+1]
	}
	r.columns[i].add(v)
}

func ilog2(v int64) (n int) {
	for ; v > 1; v >>= 1 {
		n++
	}
	return n
}

// halve makes one column of two.
func (r *Reducer) halve() {
	half := (len(r.columns) + 1) / 2
	for i := range half {
		c := r.columns[2*i]
		if 2*i+1 < len(r.columns) {
			c.merge(r.columns[2*i+1])
		}
		r.columns[i] = c
	}
	clear(r.columns[half:])
	r.columns = r.columns[:half]
	r.width *= 2
}

// Columns returns n columns between from and to.
func (r *Reducer) Columns(from, to time.Time, n int) []Column {
	columns := make([]Column, n)
	for i, c := range r.columns {
		middle := r.from.Add(time.Duration(i)*r.width + r.width/2)
		// What was read in the column that straddles an end is inside if its middle is, and
		// the very last reading always is.
		if i == len(r.columns)-1 && middle.After(to) && !r.last.Time.After(to) {
			middle = to
		}
		if j, ok := place(middle, from, to, n); ok {
			columns[j].merge(c)
		}
	}
	return columns
}

// Last returns the last reading.
func (r *Reducer) Last() Reading { return r.last }

// Hold returns how far apart readings may be and still belong together: four times their
// usual distance, a column's width at least, five minutes at most.
func (r *Reducer) Hold() time.Duration {
	const longest = 5 * time.Minute
	all := 0
	for _, n := range r.spacings {
		all += n
	}
	usual, seen := time.Duration(0), 0
	for k, n := range r.spacings {
		if seen += n; 2*seen >= all && n > 0 {
			usual = time.Millisecond << (k + 1) // the bin's upper end
			break
		}
	}
	return min(max(4*usual, r.width), longest)
}
