package burn

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// What tells wood laid on from a look or a poke, after the door was shut. New wood burns:
// the gas gets hotter than it was when the door was opened, and stays so. Or it is cold and
// wet, and keeps the gas colder long after every sheath has recovered from the open door.
// What an open door does itself is over within minutes, and while one stands open its air
// explains the rest. Shares are of the rise over the room; judgement where nothing is said.
const (
	gainShare = 0.06 // hotter than before
	gainLeast = 8.0  // K
	// flueShare is for the flue alone, which the blower moves too.
	flueShare = 0.10
	// flareShare comes on top where the fire burned steadily: wood that falls flares too.
	flareShare = 0.03
	// chillShare is how much of the dip must be left after chillAfter, and chillDeep how
	// deep that is. A sheath of 90 s has a tenth left after 3 min. A fire that dies goes on
	// falling by more than diesShare a minute, one under cold wood does not. Where the draft
	// did not come back, as when the air was shut, it is another fire by then: see together.
	chillShare = 0.5
	chillDeep  = 0.07
	chillFlue  = 0.12 // the flue alone
	diesShare  = 0.015
	// backShare is how far a fire that was dying comes back before it is as hot as it was.
	backShare = 0.10
	// dipShare is what a loading door and cold wood at least take: an ash door does not
	// cool the gas.
	dipShare = 0.05
	// lessShare is how far the flue falls when the air is shut.
	lessShare = 0.05
	// risingShare is by how much a fire on its way up is hotter than on average over the
	// last farOver: what comes of that is its own, with or without a door.
	risingShare  = 0.12
	fallingShare = 0.05
)

const (
	// shutFor is how long after the door was shut nothing is told: draughts and flares of the
	// visit are over by then. gainFor is how long the gas must stay hotter.
	shutFor    = 3 * time.Minute
	gainFor    = time.Minute
	chillAfter = 4 * time.Minute
	chillUntil = 8 * time.Minute
	// A fire that burned steadily may have come to more by itself after steadyFor. One that
	// was dying or in coals does not come back without wood: it may take watchFor to catch.
	steadyFor = 20 * time.Minute
	watchFor  = 45 * time.Minute
	// together is how far apart doors are opened for one load, and for how long one is open for
	// it; anew is when wood counts as another load at the soonest.
	together = 10 * time.Minute
	anew     = 20 * time.Minute
	// unseenFor is how long coals have lain when a fire that comes back without a door is
	// one of new wood: a thermostat shuts the air for less.
	unseenFor = 20 * time.Minute
)

// visit is a door opened, and what the fire was like before: it becomes a load or not.
type visit struct {
	open   bool // still undecided
	at     time.Duration
	closed time.Duration
	before [frame.Count]frozen
	dipped [frame.Count]float64 // deepest below before, share
	sagged bool                 // the draft showed the door
	low    [frame.Count]float64 // coldest since the door was shut for shutFor, 0 before
	over   time.Duration        // since when the gas is hotter than before, zero while it is not
	load   Load                 // as it will be
	// flames is the flue's rise over the room that tells a load whose door nobody saw.
	flames float64
}

// going is how the fire went before a door was opened.
type going uint8

const (
	steady going = iota
	rising
	falling
)

// way tells by the channel that the blower moves least how the fire went.
func (w *visit) way(room float64) going {
	for _, c := range [...]frame.Channel{frame.Chamber, frame.Firebox, frame.Flue} {
		f := w.before[c]
		if math.IsNaN(f.level) {
			continue
		}
		switch share := (f.level - f.far) / max(f.level-room, 10); {
		case share > risingShare:
			return rising
		case share < -fallingShare || w.load.Coals > 0:
			return falling
		}
		break
	}
	return steady
}

// isLoad reports whether wood was laid on at the visit, so far. ajar says that the door
// still seems to stand open.
func (w *visit) isLoad(at time.Duration, v *frame.Values, courses *[frame.Count]course, room float64, ajar bool) bool {
	if !w.load.Door {
		return w.load.Coals >= unseenFor && v.Has(frame.Flue) && v[frame.Flue]-room >= w.flames
	}
	shut, way := at-w.closed, w.way(room)
	var up, dipped, chilled, gas bool
	for _, c := range fires {
		if !v.Has(c) || math.IsNaN(w.before[c].level) {
			continue
		}
		dipped = w.dips(c, at, &courses[c], room) || dipped
		if c == frame.Flue && gas {
			break // the blower moves it too, and the gas before it tells
		}
		gas = true
		up = w.gains(c, shut, way, &courses[c], room) || up
		chilled = chilled || w.stays(c, at, &courses[c], room)
	}
	if up = up && !w.throttled(v, &courses[frame.Flue], room); !up {
		w.over = 0
	} else if w.over == 0 {
		w.over = at
	}
	switch {
	case ajar || shut < shutFor:
		return false
	case !dipped && !(w.load.Coals > 0 && v[frame.Flue]-room >= w.flames):
		return false
	case chilled && shut >= chillAfter && shut <= chillUntil && w.sagged && w.closed-w.at <= together:
		return true
	}
	return up && way != rising && at-w.over >= gainFor && (way == falling || shut <= steadyFor)
}

// throttled reports whether the flue has fallen since the visit and does not come back: firebox
// and chamber get hotter too when less air thins their gas, and wood that burns heats the flue.
func (w *visit) throttled(v *frame.Values, k *course, room float64) bool {
	fell := w.before[frame.Flue].level - k.quick // NaN is not more
	return v.Has(frame.Flue) && fell > max(gainLeast, float64(lessShare*w.rise(frame.Flue, room))) && k.slope() <= 0
}

// dips reports whether the channel has fallen as under a loading door and cold wood.
func (w *visit) dips(c frame.Channel, at time.Duration, k *course, room float64) bool {
	if at-w.at <= together {
		w.dipped[c] = max(w.dipped[c], (w.before[c].level-k.quick)/w.rise(c, room))
	}
	return w.dipped[c] >= dipShare
}

// gains reports whether the channel is hotter than when the door was opened, or has come
// back from where a fire that was dying had sunk to.
func (w *visit) gains(c frame.Channel, shut time.Duration, way going, k *course, room float64) bool {
	least := gainShare
	if way == steady {
		least += flareShare
	}
	if c == frame.Flue {
		least += flueShare - gainShare
	}
	if shut < shutFor || k.quick < w.low[c] || w.low[c] == 0 {
		w.low[c] = k.quick
	}
	rise, sure := w.rise(c, room), max(gainLeast, float64(3*k.sigma()))
	return k.quick-w.before[c].level > max(sure, float64(least*rise)) ||
		way == falling && k.quick-w.low[c] > max(sure, float64(backShare*rise))
}

// stays reports whether the channel stays colder than it would be without the visit, and
// does not go on falling.
func (w *visit) stays(c frame.Channel, at time.Duration, k *course, room float64) bool {
	f, rise, deep := w.before[c], w.rise(c, room), chillDeep
	if c == frame.Flue {
		deep = chillFlue
	}
	short := min(f.level, f.after(at-w.at, room)) - k.quick
	return short > max(gainLeast, float64(3*k.sigma()), float64(deep*rise), float64(chillShare*w.dipped[c]*rise)) &&
		k.slope()*60 > -float64(diesShare*rise)
}

// rise is how far above the room the channel was when the door was opened, K.
func (w *visit) rise(c frame.Channel, room float64) float64 {
	return max(10, w.before[c].level-room)
}

// revive begins a visit of which nobody saw the door: the fire has come back out of the
// coals. It is a load if it burns as only wood does.
func (t *Tracker) revive(at, since time.Duration) {
	l := Load{At: since, Flue: t.levels.low, Chamber: math.NaN(), Firebox: math.NaN()}
	if t.swing.up {
		l.At = max(since, t.swing.lowAt)
	}
	l.Coals = l.At - since
	if t.hasLoad {
		l.Age = max(0, l.At-t.load.At)
	}
	t.visit = visit{open: true, at: at, closed: at, load: l, flames: t.levels.flames()}
	t.before, t.aside = t.Burn, nothing(OnCoals, at)
}

// lay records wood laid on fire or coals. On coals it begins the next burn.
func (t *Tracker) lay(at time.Duration, l Load, ch *Changes) {
	l.Known = at
	t.load, t.hasLoad, ch.Loaded = l, true, true
	if l.Coals > 0 {
		t.Finished, t.Burn, ch.Ended = t.before, t.aside, true
		t.learn()
	}
	t.Burn.Loads++
	t.visit.open = false
	t.levels.peak, t.levels.burnt, t.levels.base = 0, 0, 0
}

// learn keeps the flue's usual best: burns that are hotter raise it at once, cooler ones
// let it sink slowly.
func (t *Tracker) learn() {
	best := t.levels.best
	t.levels.best = 0
	if best > t.levels.usual {
		t.levels.usual = best
		return
	}
	t.levels.usual += float64((best - t.levels.usual) / 8)
}
