package burn

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// Temperatures in °C, rises over the room in K. Those marked "practice" are common
// practice, no source.
const (
	litRise      = 30.0  // flue: something burns
	outRise      = 20.0  // flue: nothing burns any more
	litUpstream  = 120.0 // firebox or chamber, while the flue cannot tell
	embers       = 100.0 // firebox or chamber: brick beside glowing coals is hotter
	litFlue      = 100.0 // flue: lighting is over
	warmFlue     = 60.0  // or this one, when it has burnt for litLong
	cleanChamber = 510.0 // 950 °F: smoke burns completely (practice)
	cleanFlue    = 204.0 // 400 °F: below it a flue probe reads too low, creosote (practice)
	coolFlue     = 121.0 // 250 °F: tar condenses; no fire that is cooler burns clean
	cleanMargin  = 30.0  // hysteresis of chamber and flue
)

// Shares.
const (
	// The practice figures hold for appliances with usual limits. A limit stands 5 to 25 %
	// above the hottest ordinary fire, so that one with a low limit burns clean below them
	// (judgement).
	cleanChamberOfLimit = 0.72
	cleanFlueOfLimit    = 0.45
	// A fire without chamber and limit that has its usual best burns clean (judgement).
	cleanOfUsual = 0.7
	// Of the chamber's threshold, beside a flue that is hot enough by itself (judgement).
	cleanTogether = 0.85
	coalsShare    = 0.5  // of the peak's rise: flames are over
	spentShare    = 0.25 // of the peak's rise: they are, however short they were
	riseShare     = 0.005
	// A rise out of the coals that nothing else explains: of the rise, and in K.
	kindleShare = 0.25
	kindleLeast = 15.0
)

const (
	litLong      = 20 * time.Minute // practice: 4 to 10 min to a fire that sustains itself
	smoulderHold = 10 * time.Minute // not clean any more
	dullHold     = 20 * time.Minute // not clean yet, and not rising
	// flaming is the least time at its peak that a load takes to burn its volatiles: flames
	// last 30 to 90 min (from memory).
	flaming   = 30 * time.Minute
	outHold   = 5 * time.Minute
	fadesHold = 10 * time.Minute
	// diesHold is how long a fall lasts that is the fuel's end: a shut air is over by then.
	diesHold = 20 * time.Minute
	// witnessLost is how long a chimney that does not draw keeps the flue from telling
	// whether the fire is out: char glows for one to four hours (from memory); brickOut is
	// the same for a firebox that stays hot beside a cold flue.
	witnessLost = 4 * time.Hour
	brickOut    = 8 * time.Hour
	// recovers is how long a flue takes to be itself again after the draft was turned.
	recovers = 5 * time.Minute
	turned   = 0.25 // Pa: the chimney does not draw
)

// judge applies the rules to one frame, after everything else has seen it.
func (t *Tracker) judge(at, dt time.Duration, v *frame.Values, ch *Changes) {
	if t.Phase.Fire() && t.visit.open {
		switch {
		case !t.levels.tells():
		case t.visit.isLoad(at, v, &t.courses, t.room, t.doors.door.Open):
			t.lay(at, t.visit.load, ch)
		case at-t.visit.at > watchFor:
			t.visit.open = false
		}
	}
	next := t.next(at, dt, v)
	if ch.Loaded && t.Phase == Coals {
		next = WarmUp
	}
	if next != t.Phase {
		ch.Loaded = ch.Loaded || t.Phase == Cold
		ch.Ended = t.enter(next, at, v) || ch.Ended
	}
	ch.To = t.Phase
}

// next returns the phase that follows.
func (t *Tracker) next(at, dt time.Duration, v *frame.Values) Phase {
	flue := v[frame.Flue]
	if math.IsNaN(flue) {
		// Upstream a fire can be seen to be lit, never to be out.
		if !t.Phase.Fire() && t.upstream(v, litUpstream) {
			return Lighting
		}
		return t.Phase
	}
	rise := flue - t.room
	k, l := &t.courses[frame.Flue], &t.levels
	if t.Phase.Fire() {
		t.stir.slow = t.stir.slow && rise < litFlue
		t.draws(dt, v, rise)
		l.peak = max(l.peak, k.once-t.room)
		l.best = max(l.best, l.peak)
		l.burnt += float64(max(0, rise) * dt.Seconds())
		if t.isOut(dt, v, rise) {
			return Cold
		}
	}
	clean := t.clean(v)
	if t.Phase.Fire() && t.falling() {
		l.fades += dt
	} else {
		l.fades = 0
	}
	spent := !t.rising(v) && (rise < l.flames() && (!l.fuelLeft() || l.fades >= diesHold) ||
		rise < float64(spentShare*l.peak) || l.base > 0 && rise < l.base+kindleLeast/2)
	if t.Burn.Kind == Found && l.fades >= fadesHold {
		spent = true // nobody knows the peak that it had
	}
	spent = spent && l.tells()
	switch t.Phase {
	case Unknown:
		switch {
		case rise < litRise && !t.upstream(v, litUpstream):
			return Cold
		case clean:
			return CleanBurn
		case rise >= litFlue:
			return WarmUp
		}
		return Lighting
	case Cold:
		if k.slope() <= lightingSlope && rise < litRise {
			t.began = at
		}
		if rise >= litRise || t.upstream(v, litUpstream) {
			return Lighting
		}
		t.stir.follow(dt, &t.courses)
		if t.stir.slow = t.stirs(v); t.stir.slow {
			return Lighting
		}
	case Lighting:
		switch {
		case rise >= litFlue, rise >= warmFlue && at-t.Since >= litLong:
			return WarmUp
		case spent:
			return Coals
		}
	case WarmUp:
		switch {
		case clean:
			return CleanBurn
		case spent:
			return Coals
		}
		return t.dulls(dt, v, dullHold)
	case CleanBurn, Smoulder:
		switch {
		case clean:
			l.dull = 0
			return CleanBurn
		case spent:
			return Coals
		}
		return t.dulls(dt, v, smoulderHold)
	case Coals:
		if l.tells() {
			l.low = min(l.low, flue)
			if t.kindles(v, flue) {
				return WarmUp
			}
		}
	}
	return t.Phase
}

// lightingSlope is a rise of a cold flue that no weather gives, K/s (judgement).
const lightingSlope = 0.5 / 60

// dulls counts how long a fire that is not clean has not been rising, nor dying for want of
// fuel.
func (t *Tracker) dulls(dt time.Duration, v *frame.Values, hold time.Duration) Phase {
	l := &t.levels
	switch {
	case t.rising(v):
		l.dull = max(0, l.dull-dt)
	case t.Phase == WarmUp, !t.falling():
		l.dull += min(dt, maxGap)
	}
	if l.dull >= hold {
		return Smoulder
	}
	return t.Phase
}

// enter changes the phase.
func (t *Tracker) enter(p Phase, at time.Duration, v *frame.Values) (ended bool) {
	from, since := t.Phase, t.Since
	t.Phase, t.Since = p, at
	l := &t.levels
	l.dull, l.fades = 0, 0
	if p == Cold {
		t.began = at
		t.stir = stir{}
	}
	switch {
	case !from.Fire() && p.Fire():
		t.ignite(from, at, v)
	case from.Fire() && !p.Fire():
		t.learn()
		t.Finished, ended = t.Burn, true
		t.visit.open = false
	case p == Coals:
		l.low, l.base = v[frame.Flue], 0
	case from == Coals && t.load.Known != at:
		l.base = max(1, l.low-t.room)
		if !t.visit.open {
			t.revive(at, since)
		}
		l.peak, l.burnt = 0, 0
	}
	return ended
}

// ignite begins a burn.
func (t *Tracker) ignite(from Phase, at time.Duration, v *frame.Values) {
	l := &t.levels
	*l = levels{usual: l.usual, drawn: recovers}
	t.fan, t.wall.known = fan{}, false
	if from == Unknown {
		t.Burn = nothing(Found, at)
	} else {
		t.Burn = nothing(ColdStart, t.began)
		t.Burn.In[Lighting] = at - t.began
		t.Burn.Loads = 1
		t.load = Load{
			At: t.began, Known: at, Cold: true,
			Flue: v[frame.Flue], Chamber: v[frame.Chamber], Firebox: v[frame.Firebox],
		}
		t.hasLoad = true
	}
	t.Burn.End = at
	m := moment{at: at, phase: t.Phase, seen: true, values: v, draft: t.draft(v), site: &t.Site, wall: &t.wall}
	m.wall.fresh = false
	t.Burn.add(&m)
}
