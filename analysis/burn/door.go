package burn

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

// fires are the channels in the fire's gas, in its direction. Those before the flue are not
// moved by the blower, which cools the exchanger in between.
var fires = [...]frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}

// What an open door does. Through it the appliance resists less, so the draft at the collar
// sags within a second; a regulator that works gives it back within some, by shutting its
// gate, and kicks up when the door is shut. Cold air cools the fire's gas, which the probes
// show after the lag of their sheaths. Shares of the draft before, and of the rise over the
// room; judgement from the flow network, no source.
const (
	sagAlone = 0.25 // a sag that lasts and needs no other witness
	clearSag = 6.0  // of the draft's own unrest
	sagPlain = 0.12 // one that long counts beside what temperatures do
	kick     = 0.05 // one that temperatures have to back
	clear    = 3.0
	sagStill = 0.05
	// A draft that is gone altogether has turned or lost its hose. Beside a wide open door an
	// appliance that hardly resists may leave no more of it than a sensor's zero is off; then
	// the firebox tells, which stays as hot as it was where the gas stops or turns. What comes
	// down the chimney cools flue and chamber as well.
	leastDraft = 0.3  // Pa
	zeroOff    = 0.5  // Pa
	rush       = 0.05 // of the firebox's rise
	rushIn     = 30 * time.Second
	gutIn      = 20 * time.Second // from the first sign to nothing: nothing else is so quick

	dipBacks = 0.015
	dipAlone = 0.05 // without a draft that could tell
	dipLeast = 1.0  // K
	// Of the course's own sway.
	backsSway = 4.0
	aloneSway = 5.0
)

const (
	draftQuick = 4 * time.Second
	draftSlow  = 90 * time.Second
	sagHold    = 6 * time.Second
	// stillHold is how long the sag stands still: a door is open or it is not, while wind
	// goes on and may go through zero.
	stillHold = 5 * time.Second
	// backing is how long after the sag a sheath may take to show the cold air.
	backing = 90 * time.Second
	// longest is how long a door is held to stand open; after that the draft has a new
	// level, for whatever reason. Temperatures alone are believed for dipLasts, and a fall
	// that has stopped for dipStill is over.
	longest  = 30 * time.Minute
	dipLasts = 3 * time.Minute
	dipStill = 12 * time.Second
	// settled is how long the draft is watched before its unrest is known.
	settled = 2 * time.Minute
)

// doors sees them open and shut. The zero value has seen nothing.
type doors struct {
	door Door

	draft      bool
	quick, low float64 // averages of the draft; low is the slow one, frozen while suspected
	unrest     float64 // variance of quick about low
	watched    time.Duration
	turned     bool          // below zero, and not back since
	sags       time.Duration // how long it has sagged
	deepest    float64       // sag since the suspicion
	deeper     time.Duration // when it last got deeper
	plain      bool          // the sag was one that only a door gives

	suspected bool
	byDraft   bool // what raised the suspicion
	since     time.Duration
	gone      bool          // the sag is, since the suspicion
	lasted    time.Duration // how long it lasted
	before    [frame.Count]frozen
	dipped    [frame.Count]float64 // deepest below the course
	rushed    bool                 // the firebox felt at once what came in
	emptied   time.Duration        // from the suspicion to a draft that is gone; zero while it is not
	likely    bool                 // it seems open, and the draft is gone
	fell      time.Duration        // when one of them last got deeper
}

// did is what a frame showed of the door.
type did struct {
	opened, closed bool
	// mistaken says that what was taken for a door was none: the draft has turned.
	mistaken bool
}

// step says what the frame shows of the door. Courses must be of the frame before: the
// first cold air must not have bent them.
func (d *doors) step(at, dt time.Duration, v *frame.Values, courses *[frame.Count]course, room float64, phase Phase) did {
	if dt > maxGap {
		was := d.door.Open
		*d = doors{door: d.door}
		d.door.Open = false
		if was {
			d.door.Closed = at
		}
		return did{closed: was}
	}
	sag := d.follow(dt, v[frame.Draft])
	if phase < WarmUp {
		// A chimney that is still cold draws as it likes, and kindling flares.
		d.suspected = false
	} else if !d.door.Open {
		d.suspect(at, v, courses, room, sag)
	}
	dip := d.measure(at, v, courses, room)
	if d.suspected && d.emptied == 0 && d.quick <= leastDraft {
		d.emptied = at - d.since
	}
	d.likely = d.suspected && d.seems(dip)
	if (d.suspected || d.door.Open) && sag > d.deepest+sagStill {
		d.deepest, d.deeper = sag, at
	}
	if sag >= sagPlain && d.deep(clearSag) {
		d.plain = true
	}
	switch {
	case d.door.Open && d.draft && d.quick < 0 && !(d.rushed && d.quick > -zeroOff):
		// No door turns the draft: wind or a fan did both, as far as can be told.
		d.door, d.low = Door{Closed: d.door.Closed}, max(d.low, leastDraft)
		d.suspected = d.byDraft && d.quick > -zeroOff && at-d.since <= backing
		return did{closed: true, mistaken: true}
	case d.door.Open && d.shut(at, sag):
		d.door.Open, d.door.Closed = false, at
		d.low = d.quick
		return did{closed: true}
	case d.door.Open:
	case d.suspected:
		return did{opened: d.confirm(at, sag, dip)}
	}
	return did{}
}

// follow keeps the draft's averages and returns the sag as a share of the draft before.
func (d *doors) follow(dt time.Duration, v float64) float64 {
	if math.IsNaN(v) {
		d.draft = false
		return math.NaN()
	}
	if !d.draft {
		d.draft, d.quick, d.low, d.watched = true, v, v, 0
		d.unrest = float64(v*v) / 25 // a fifth, until more is known
		return 0
	}
	d.quick = signal.Toward(d.quick, v, dt, draftQuick)
	sag := 0.0
	if d.low > leastDraft {
		sag = (d.low - d.quick) / d.low
	}
	if d.gone || !d.suspected && !d.door.Open {
		off := d.quick - d.low
		over := min(noiseOver, d.watched+draftSlow)
		d.unrest = signal.Toward(d.unrest, float64(off*off), dt, over)
		d.low = signal.Toward(d.low, v, dt, draftSlow)
		d.watched += dt
	}
	switch {
	case d.quick < 0:
		d.turned, d.suspected = true, d.suspected && (!d.byDraft || d.quick > -zeroOff)
	case sag < kick:
		d.turned = false
	}
	if (d.suspected || d.door.Open) && sag < max(kick/2, float64(d.deepest/2)) {
		d.gone = true
	} else if !d.gone {
		d.lasted += dt
	}
	if sag >= sagAlone/2 {
		d.sags += dt
	} else {
		d.sags = 0
	}
	return sag
}

// deep reports whether the sag is this many times the draft's unrest; below zero: a kick up.
func (d *doors) deep(times float64) bool {
	fall := d.low - d.quick
	return fall > 0 == (times > 0) && float64(fall*fall) >= float64(times*times*d.unrest)
}

// restless reports whether the draft moves so much by itself that no door would show in it.
func (d *doors) restless() bool {
	return float64(d.unrest*clearSag*clearSag) > float64(d.low*d.low/4)
}

// suspect freezes what was before at the first sign of a door. A suspicion that nothing has
// backed yet gives way to a new sign.
func (d *doors) suspect(at time.Duration, v *frame.Values, courses *[frame.Count]course, room, sag float64) {
	if d.suspected && !(d.byDraft && d.gone && d.fell == 0) {
		return
	}
	byDraft := sag >= kick && !d.turned && d.watched >= settled && d.deep(clear)
	fell := false
	if !d.draft || d.restless() && !d.turned && d.watched >= settled { // temperatures are all there is
		for _, c := range fires {
			k := &courses[c]
			if !v.Has(c) || !k.seen {
				continue
			}
			short := k.level() - k.quick
			fell = fell || short > max(dipLeast, float64(2*k.sigma()), float64(dipAlone/4*(k.level()-room)), float64(2*math.Sqrt(k.sway)))
		}
	}
	if !byDraft && !fell {
		return
	}
	d.suspected, d.byDraft, d.since, d.gone, d.fell = true, byDraft, at, false, 0
	d.lasted = 0
	d.deepest, d.deeper, d.plain = 0, at, false
	d.rushed, d.emptied = false, 0
	if byDraft {
		d.deepest = sag
	}
	for _, c := range fires {
		d.before[c], d.dipped[c] = courses[c].freeze(), 0
	}
}

// dip is how far the temperatures are below their courses: the largest share of a rise, and
// as a multiple of the fire's own sway. Zero where noise could do it.
type dip struct{ share, sway float64 }

func (d *doors) measure(at time.Duration, v *frame.Values, courses *[frame.Count]course, room float64) dip {
	var out dip
	if !d.suspected && !d.door.Open {
		return out
	}
	for _, c := range fires {
		f := d.before[c]
		if !v.Has(c) || math.IsNaN(f.level) || f.level-room < 10 {
			continue
		}
		k := &courses[c]
		least := max(dipLeast, float64(1.5*k.sigma()))
		short := f.after(at-d.since, room) - k.quick
		if short <= least {
			continue
		}
		if short > d.dipped[c]*1.01 {
			d.dipped[c], d.fell = short, at
		}
		share := d.dipped[c] / (f.level - room)
		if c == frame.Firebox && share >= rush && at-d.since <= rushIn {
			d.rushed = true
		}
		if share > out.share {
			out = dip{share, d.dipped[c] / max(f.sway, least/backsSway)}
		}
	}
	return out
}

// seems reports whether a draft that is gone may well be that beside an open door: it went at
// once, to nothing and not beyond, and what the fire heats has felt it.
func (d *doors) seems(dip dip) bool {
	return d.byDraft && d.draft && d.emptied > 0 && d.emptied <= gutIn && dip.share >= dipBacks && dip.sway >= backsSway
}

// confirm decides on a suspicion.
func (d *doors) confirm(at time.Duration, sag float64, dip dip) (opened bool) {
	// Below zero it has turned: wind or a fan, not a door.
	draws := d.quick > leastDraft
	switch {
	case !d.byDraft:
		opened = dip.share >= dipAlone && dip.sway >= aloneSway
	case !draws:
		opened = d.rushed
	case sag >= sagAlone && d.deep(clearSag) && d.sags >= sagHold && at-d.deeper >= stillHold:
		opened = true
	default:
		opened = dip.share >= dipBacks && dip.sway >= backsSway
	}
	if opened {
		d.door = Door{Open: true, At: d.since}
	}
	if opened || at-d.since > backing {
		d.suspected = false
	}
	return opened
}

// shut reports whether the open door was shut: the draft is back by half of what it lost or
// kicks up, and the temperatures have stopped falling.
func (d *doors) shut(at time.Duration, sag float64) bool {
	lasts := at - d.door.At
	if d.byDraft && !d.gone && !math.IsNaN(sag) {
		return lasts > longest
	}
	if d.byDraft && d.deepest >= sagAlone && d.lasted >= sagHold {
		return true // no regulator gave it back
	}
	kicked := d.byDraft && lasts > 2*sagHold && sag < -kick && d.deep(-clear)
	return kicked || d.fell == 0 || at-d.fell >= dipStill || lasts > dipLasts
}
