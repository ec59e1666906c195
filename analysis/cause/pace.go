package cause

import "time"

// settled is how late a point counts for the pace of a load: by then it is known whether
// another load had been laid on.
const settled = 6 * time.Minute

// paces are the steepest two minutes of each channel, shares of its way to the limit a
// minute.
type paces [nFollowed]float64

// follow takes the point that has settled into the pace of the present load.
func (t *Tracker) follow() {
	const window = 2 * time.Minute
	c := &t.course
	i := c.after(t.now.At-settled) - 1
	if i < 1 || t.now.At-c.point(i).at > settled+window {
		return
	}
	for r, ch := range followed {
		if ch.Pressure() {
			continue
		}
		slope := c.slope(r, 0, i, window)
		if !(slope/leastSpan > t.pace[r]) { // whatever the span, which costs a look at all points
			continue
		}
		if s := slope / t.span(ch); s > t.pace[r] {
			t.pace[r] = s
		}
	}
}
