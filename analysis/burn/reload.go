package burn

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// What tells wood laid on from a poke, after the door was open. New wood burns: the fire
// climbs above the course it had. Or it is cold and wet and keeps the fire below its course
// long after every sheath has recovered from the open door. Only over coals that is told: the
// flue alone cannot tell it from the blower's start, nor flames from their own end.
const (
	gainShare = 0.06 // of the rise over the room, above the course
	gainLeast = 8.0  // K
	// flueShare is for the flue alone, which the blower moves too.
	flueShare = 0.10
	// chillShare is how much of the dip must be left after chillAfter, and chillDeep how
	// deep that is as a share of the rise. A sheath of 90 s has a tenth left after 3 min.
	chillShare = 0.5
	chillDeep  = 0.06
	chillAfter = 210 * time.Second
	// Wood on flames shows itself soon, and what comes later is the old fire's. On coals it
	// may take watchFor to catch; after soon it has to bring more than there was before.
	soon     = 10 * time.Minute
	watchFor = 45 * time.Minute
)

// visit is a door opened, and what the fire was like before: it becomes a load or not.
type visit struct {
	open   bool // still undecided
	at     time.Duration
	closed time.Duration
	before [frame.Count]frozen
	dipped [frame.Count]float64
	load   Load // as it will be
	// flames is the flue's rise over the room that tells a load whose door nobody saw.
	flames float64
}

// isLoad reports whether wood was laid on at the visit, so far.
func (w *visit) isLoad(at time.Duration, v *frame.Values, courses *[frame.Count]course, room float64) bool {
	if !w.load.Door {
		return v.Has(frame.Flue) && v[frame.Flue]-room >= w.flames
	}
	since := at - w.at
	if since > soon && w.load.Coals == 0 {
		return false
	}
	up, chilled, flueOnly := false, false, true
	for _, c := range fires {
		f := w.before[c]
		if !v.Has(c) || math.IsNaN(f.level) {
			continue
		}
		k := &courses[c]
		share := gainShare
		if c == frame.Flue {
			if !flueOnly {
				break
			}
			share = flueShare
		}
		flueOnly = false
		rise := max(0, f.level-room)
		course := f.after(since, room)
		if since > soon {
			course = max(course, f.level)
		}
		gain := k.quick - course
		w.dipped[c] = max(w.dipped[c], -gain)
		least := max(gainLeast, float64(3*k.sigma()))
		up = up || gain > max(least, float64(share*rise))
		// A rise that bends looks chilled against its own straight line.
		steady := math.Abs(f.slope)*chillAfter.Seconds() < w.dipped[c]/2
		chilled = chilled || c != frame.Flue && w.load.Coals > 0 && at-w.closed >= chillAfter && at-w.closed < 2*chillAfter && steady &&
			-gain > max(float64(chillShare*w.dipped[c]), least, float64(chillDeep*rise))
	}
	return up || chilled
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
	t.visit = visit{open: true, at: at, closed: at, load: l, flames: float64(coalsShare * t.levels.peak)}
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
