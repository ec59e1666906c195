package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// Rises over the room, K, by which a probe is known to be in the fire or out of it.
const (
	hot   = 100.0
	near  = 30.0
	back  = 40.0  // out of the room again
	begun = 200.0 // upstream gas that must warm the flue, whatever the exchanger takes

	exchanged = 0.03 // of that rise is left behind the best exchanger (3.5 transfer units; judgement)
)

// quickMarks and quickLeft are what no furnace falls by and a probe in room air does: to
// less than a third in 3 min. A furnace that cools with the blower on, with all of its mass
// at the exchanger, has a time constant of 4 min (100 kg of steel, 200 W/K), hence 290 s
// from 100 K to 30 K; a probe of 8 mm in still air 156 s, hence 190 s (judgement from those
// figures, no source).
const (
	quickMarks = 6
	quickLeft  = 0.3
	overFired  = 538.0 // °C: the most for long that UL 103 asks of a chimney
	warmMarks  = 6     // 3 min
	shotUp     = 100.0 // K in that time: an ordinary fire gains 5 to 25 K a minute (practice)
	quickFrom  = 60.0  // K over the room
	quickLow   = 0.15  // of less than that: a door cools coals too
	quickLeast = 40.0  // K
)

// turnedMarks is how long a turned draft cools the flue's probe.
const turnedMarks = 6

// disagreement is how long two probes in the same gas may contradict each other while
// one still warms, and agreement how long all others must be cold for a cold one to be
// believed again.
const (
	disagreement = 10 * time.Minute
	agreement    = 10 * time.Minute
	dyingMarks   = 10 // 5 min
	dyingLeft    = 0.97
	growing      = 1.03
)

// probe is one temperature in the fire's gas.
type probe struct {
	out      bool
	against  time.Duration // how long the others have contradicted it
	together time.Duration // how long they have agreed that it is cold
}

// pulledOut finds probes that read the room's air beside a fire: one that fell there more
// quickly than a furnace cools, or one that is contradicted by another for long.
func (r *Rules) pulledOut(in Inputs, dt time.Duration, found *Findings) {
	for _, c := range heated {
		p := &r.probes[c]
		rise := in.Values[c] - r.room
		if found[c] == ChannelsSwapped {
			*p = probe{}
			continue
		}
		if math.IsNaN(rise) {
			continue // what is out stays out while its wire is off
		}
		others, cold := r.others(c, in, found)
		p.against = lasting(p.against, dt, others && !r.turned())
		p.together = lasting(p.together, dt, cold)
		switch {
		case rise >= hot:
			p.out = false
		case p.out:
			// It stays so until it is warmed again, or until all others have long been
			// cold: this probe cannot tell whether the fire is out.
			p.out = rise <= back && p.together < agreement
		case rise < near:
			p.out = r.fell(c, rise) && p.together < agreement || p.against >= disagreement
		}
		if p.out {
			found.add(c, ProbeOut)
		}
	}
}

// fell reports whether the probe has lost more of its rise than a furnace can.
func (r *Rules) fell(c frame.Channel, rise float64) bool {
	_, high := r.trail.latest(c, quickMarks)
	before, left := high-r.room, quickLeft
	if before < quickFrom {
		left = quickLow
	}
	if !(before >= quickLeast && rise <= float64(left*before)) {
		return false
	}
	warm, t := 0, &r.trail
	for i := range t.count {
		if t.ago(i)[c]-r.room >= float64(before/2) {
			warm++
		}
	}
	if warm < min(warmMarks, t.count/2) {
		return false // a flash of kindling leaves the furnace cold
	}
	return !r.turned() && !(c == frame.Flue && r.burntBehind())
}

// burntBehind reports whether the flue was lately hotter than what is upstream of it, or,
// where nothing is, rose as no fire in the firebox lets it: a fire in the flue, whose end is as sudden as a
// probe that falls.
func (r *Rules) burntBehind() bool {
	t := &r.trail
	lone := true
	for i := range t.count {
		l := t.ago(i)
		for _, up := range []frame.Channel{frame.Firebox, frame.Chamber} {
			lone = lone && math.IsNaN(l[up])
			if l[up]-r.room >= back && l[frame.Flue]-r.room >= hot && l[frame.Flue] > l[up] {
				return true
			}
		}
		if l[frame.Flue] >= overFired {
			return true
		}
	}
	return lone && t.gained(frame.Flue, quickMarks) >= shotUp
}

// turned reports whether the chimney has lately stopped drawing: what comes down it then
// cools the flue as quickly as the room does.
func (r *Rules) turned() bool {
	low, _ := r.trail.latest(frame.Draft, turnedMarks)
	return low <= weak || r.courses[frame.Draft].fresh() && r.courses[frame.Draft].level <= weak
}

// others says what the other probes make of a cold reading of c, and whether all of them
// are cold too. Only a fire that does not die counts: the brick around one that does is
// hot for hours, and its little gas leaves cold.
func (r *Rules) others(c frame.Channel, in Inputs, found *Findings) (contradict, cold bool) {
	seen := false
	cold = true
	for _, o := range heated {
		rise := r.rise(o, &in, found)
		if o == c || math.IsNaN(rise) || r.probes[o].out {
			continue
		}
		seen, cold = true, cold && rise < near
		if r.courses[o].same >= stuckAfter && r.frozen[o].changes >= aliveChanges {
			continue // it may be the one that has stopped
		}
		alive := dyingLeft
		if o == frame.Firebox {
			alive = growing // its brick is hot for long over next to no gas
		}
		before := r.trail.mean(o, dyingMarks, dyingMarks+1) - r.room
		if rise < float64(alive*before) || o == frame.Firebox && math.IsNaN(before) {
			continue
		}
		mine := in.Values[c] - r.room
		if o == frame.Flue { // downstream of c: gas only cools on its way, and no brick keeps it warm
			contradict = contradict || rise >= hot && mine < near
		} else {
			contradict = contradict || rise >= begun && mine < float64(exchanged*rise)
		}
	}
	return contradict, cold && seen
}
