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

	// A fire that grows has all of its air, and then a share of its rise is left that no fire
	// that slumbers need leave: behind 2.5 transfer units, where the gas of such a fire would
	// condense at the collar (judgement). The firebox's flame may heat little gas yet.
	grewBy      = 1.5
	grewLeft    = 0.08
	grewFirebox = 0.05
	flames      = 300.0 // K
	// usualLeft is of the share that is usual here: a quarter of the flow doubles the transfer
	// units at most (they go with its square root), which leaves the square of the share.
	usualLeft = 0.2
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

// A flue's probe that falls while coals are left loses nearly all of its rise, as nothing
// does behind hot brick that the chimney still draws through: not the air that is shut, nor
// a fan.
const (
	coalsMarks  = 20   // 10 min: several of the sheath's times in still air
	coalsRise   = 25.0 // K before
	coalsLeft   = 0.2  // of it
	coalsBeside = 50.0 // K upstream,
	coalsKept   = 0.8  // of which so much is left
	coalsDraw   = 2.5  // times the draft that is next to none
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
		word, cold := r.others(c, in, found)
		switch {
		case r.turned() || word == agree:
			p.against = 0
		case word == contradict:
			p.against += dt
		default: // the fire may be dying; a flicker is not that
			p.against = max(0, p.against-dt/2)
		}
		p.together = lasting(p.together, dt, cold)
		switch {
		case rise >= hot:
			p.out = false
		case p.out:
			// It stays so until it is warmed again, or until all others have long been
			// cold: this probe cannot tell whether the fire is out.
			p.out = (rise <= back || word == contradict) && p.together < agreement
		default:
			p.out = p.against >= disagreement ||
				rise < near && !cold && (r.fell(c, rise) || c == frame.Flue && r.fellInCoals(rise, found))
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

// fellInCoals reports whether the flue's probe has lost its rise beside hot brick and a draft
// that stays.
func (r *Rules) fellInCoals(rise float64, found *Findings) bool {
	t := &r.trail
	if t.count <= coalsMarks || !r.draftStays() || r.burntBehind() || !(r.courses[frame.Draft].level >= coalsDraw*weak) || !r.courses[frame.Draft].recent() {
		return false
	}
	before := t.mean(frame.Flue, coalsMarks-2, coalsMarks+1) - r.room
	if !(before >= coalsRise && rise <= float64(coalsLeft*before) && t.mean(frame.Flue, 0, 2)-r.room <= float64(coalsLeft*before)) {
		return false
	}
	kept := false
	for _, up := range []frame.Channel{frame.Firebox, frame.Chamber} {
		if !r.courses[up].recent() || r.distrusted(up, found) {
			continue
		}
		was, now := t.mean(up, coalsMarks-2, coalsMarks+1)-r.room, t.mean(up, 0, 2)-r.room
		if !(was >= coalsBeside && was >= before && now >= float64(coalsKept*was)) {
			return false
		}
		kept = true
	}
	return kept
}

// word is what the other probes make of a cold one.
type word int

const (
	agree word = iota
	unsure
	contradict
)

// others says what the other probes make of a cold reading of c, and whether all of them
// are cold too; false where there are none. Only a fire that does not die counts: the brick
// around one that does is hot for hours, and its little gas leaves cold.
func (r *Rules) others(c frame.Channel, in Inputs, found *Findings) (say word, cold bool) {
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
		mine := in.Values[c] - r.room
		grew := r.grew(o, rise)
		if o == frame.Flue { // downstream of c: gas only cools on its way, and no brick keeps it warm
			if !(rise >= hot && mine < near) {
				continue
			}
		} else if !(rise >= begun && mine < r.leastLeft(c, o, rise, grew)) {
			continue
		}
		alive := dyingLeft
		if o == frame.Firebox && !grew {
			alive = growing // its brick is hot for long over next to no gas
		}
		before := r.trail.mean(o, dyingMarks, dyingMarks+1) - r.room
		if rise < float64(alive*before) || o == frame.Firebox && math.IsNaN(before) {
			say = max(say, unsure)
			continue
		}
		say = contradict
	}
	return say, cold && seen
}

// grew reports whether a probe upstream warmed much in the last 20 min.
func (r *Rules) grew(o frame.Channel, rise float64) bool {
	low, _ := r.trail.latest(o, marks)
	return rise >= float64(grewBy*max(0, low-r.room)) && (o == frame.Chamber || rise >= flames)
}

// leastLeft is the least rise that gas in c's place can have beside such a one at o, K.
func (r *Rules) leastLeft(c, o frame.Channel, rise float64, grew bool) float64 {
	share := exchanged
	if c != frame.Flue {
		return float64(share * rise)
	}
	if usual := &r.shares[c][o]; usual.known >= usualFrom {
		share = max(share, float64(usualLeft*usual.share))
	}
	if grew {
		if o == frame.Firebox {
			share = max(share, grewFirebox)
		} else {
			share = max(share, grewLeft)
		}
	}
	return float64(share * rise)
}
