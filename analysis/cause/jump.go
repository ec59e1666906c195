package cause

import (
	"time"

	"fluewright/analysis/frame"
)

// A fire does not leap by itself. It dawdles or burns down, and when the flue then gains
// much within minutes, with no wood laid on before, air has come to it from somewhere.
const (
	leap       = 4 * time.Minute
	leapGain   = 0.06 // share of the way to the limit that the flue gains in that time
	leapDrop   = 0.03 // within which it kept in the time before; a door takes more
	leapFrom   = 0.27 // of the way to the limit where it begins: a lit furnace
	remembered = time.Hour
	nLeaps     = 4
)

// leaps are the latest leaps of the flue, newest first: when they began, 0 for none.
type leaps [nLeaps]time.Duration

// watch looks for a leap that the newest point ends.
func (t *Tracker) watch() {
	c := &t.course
	end := c.n - 1
	now := c.point(end).at
	mid, first := c.after(now-leap-slot), c.after(now-2*leap-slot)
	if now-t.leaps[0] < 2*leap && t.leaps[0] != 0 || now-c.point(first).at < 2*leap-2*slot || c.point(mid).at-c.point(first).at < leap/2 {
		return // the same one, a gap, or too little seen yet
	}
	from, to := c.smooth(rowFlue, mid), c.smooth(rowFlue, end)
	span := t.span(frame.Flue)
	if !(to-from > float64(leapGain*span)) || !(from-t.room() > float64(leapFrom*span)) {
		return
	}
	width := min(float64(leapDrop*span), (to-from)/2)
	began := now
	for i := first; i < end; i++ {
		v := c.smooth(rowFlue, i)
		if i <= mid && v > from+width || v < from-width {
			return // it had been moving, or somebody was at the door
		}
		if v < from+(to-from)/5 {
			began = c.point(i).at
		}
	}
	for _, r := range [...]int{rowFirebox, rowChamber} {
		if _, ok := t.dipped(r, first, mid); ok {
			return
		}
	}
	copy(t.leaps[1:], t.leaps[:nLeaps-1])
	t.leaps[0] = began
}

// dipped returns the point between two others from which a channel fell abruptly, false if
// it did not: cold wood and an open door cool firebox and chamber even where the flue
// hardly shows it.
func (t *Tracker) dipped(r, first, last int) (int, bool) {
	c, drop := &t.course, float64(0.05*t.span(followed[r]))
	j := first
	for i := first; i < last; i++ {
		for j < c.n && c.point(j).at <= c.point(i).at+2*time.Minute {
			j++
		}
		if j < c.n && c.smooth(r, i)-c.smooth(r, j) > drop {
			return i, true
		}
	}
	return 0, false
}

// leapt returns the latest leap before the given time that no load explains; false
// without one in the hour before. A load that was told by its fire alone may be the leap
// itself.
func (t *Tracker) leapt(until time.Duration) (time.Duration, bool) {
	l, loaded := t.load()
	after := 12 * time.Minute
	if l.Cold {
		after = 30 * time.Minute
	}
	for _, at := range t.leaps {
		if at == 0 || at > until || until-at > remembered {
			continue
		}
		if !loaded || t.unseen && !l.Cold || l.At > at+leap || at-l.At > after {
			return at, true
		}
	}
	return 0, false
}
