package score

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
)

// near is the share of a limit, in °C, from which a peak excuses an alarm that said the
// limit would be passed in a night in which the fire did outrun the appliance.
const near = 0.95

// PlenumLimit stands in for a limit of the plenum where the site gives none, °C: 200 °F,
// from memory.
const PlenumLimit = 93.3

// blip is how many rows in a row must be near a limit to count.
const blip = 3

// Watch follows the rows of a night for what the truth does not say: the times at
// which a reading came near its limit.
type Watch struct {
	limits [frame.Count]float64
	run    [frame.Count]int
	since  [frame.Count]time.Duration
	close  [frame.Count][]night.Span
	rows   int
	to     time.Duration
}

// NewWatch returns a watch over a night at the site.
func NewWatch(s night.Site) *Watch {
	w := &Watch{limits: s.Limits}
	if w.limits[frame.Plenum] == 0 {
		w.limits[frame.Plenum] = PlenumLimit
	}
	return w
}

// Row takes the next row.
func (w *Watch) Row(r *night.Row) {
	w.rows++
	w.to = r.At
	for c, limit := range w.limits {
		if limit == 0 || !(r.Values[c] > near*limit) {
			w.run[c] = 0
			continue
		}
		if w.run[c] == 0 {
			w.since[c] = r.At
		}
		w.run[c]++
		switch {
		case w.run[c] == blip:
			w.close[c] = append(w.close[c], night.Span{From: w.since[c], To: r.At})
		case w.run[c] > blip:
			w.close[c][len(w.close[c])-1].To = r.At
		}
	}
}

// came reports whether the channel, read by a healthy sensor, came near its limit
// between the two times.
func (w *Watch) came(c frame.Channel, from, to time.Duration, t *night.Truth) bool {
	for _, s := range w.close[c] {
		if s.From <= to && s.To >= from && !lied(t, c, s) {
			return true
		}
	}
	return false
}

// lied reports whether the channel's sensor was at fault in the span.
func lied(t *night.Truth, c frame.Channel, s night.Span) bool {
	for _, e := range t.Events {
		if e.Hazard == night.SensorSilent && (e.Channel == c || e.Other == c) && e.Began <= s.To && e.To >= s.From {
			return true
		}
	}
	return false
}
