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
	coalsShare   = 0.5  // of the peak's rise: flames are over
	spentShare   = 0.25 // of the peak's rise: they are, however short they were
	riseShare    = 0.005
	// A rise out of the coals that nothing else explains: of the rise, and in K.
	kindleShare     = 0.25
	kindleLeast     = 15.0
	upstreamKindles = 0.04
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

// levels is what the phases are judged by besides the frame. The zero value has seen
// nothing.
type levels struct {
	peak  float64 // flue's highest rise since the load, averaged
	burnt float64 // integral of the flue's rise since the load, K s
	low   float64 // coldest flue in coals
	usual float64 // the flue's usual best rise, of burns that ended
	dull  time.Duration
	out   time.Duration // how long the flue has said that it is out
	fades time.Duration // how long the flue has been falling
	best  float64 // highest peak of the burn
	// base is the flue's rise over the room from which the fire came back out of the coals
	// without a load; zero otherwise.
	base float64
	// stalled is set when the chimney stopped drawing while the flue was still warm, and
	// drawn is how long it has drawn since.
	stalled bool
	drawn   time.Duration
}

// fuelLeft reports whether the load has burnt for less than its flames last.
func (l *levels) fuelLeft() bool { return l.burnt < float64(l.peak*flaming.Seconds()) }

// tells reports whether gas has flowed for long enough that the flue tells of the fire.
func (l *levels) tells() bool { return !l.stalled && l.drawn >= recovers }

// judge applies the rules to one frame, after everything else has seen it.
func (t *Tracker) judge(at, dt time.Duration, v *frame.Values, ch *Changes) {
	if t.Phase.Fire() && t.visit.open {
		switch {
		case !t.levels.tells():
		case t.visit.isLoad(at, v, &t.courses, t.room):
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
		t.draws(dt, v, rise)
		l.peak = max(l.peak, k.once-t.room)
		l.best = max(l.best, l.peak)
		l.burnt += float64(max(0, rise) * dt.Seconds())
		if t.isOut(dt, v, rise) {
			return Cold
		}
	}
	clean := t.clean(v)
	if t.Phase.Fire() && !clean && t.falling() {
		l.fades += dt
	} else {
		l.fades = 0
	}
	spent := !t.rising(v) && (rise < float64(coalsShare*l.peak) && (!l.fuelLeft() || l.fades >= diesHold) ||
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

// draws follows whether the chimney does, while there is fire.
func (t *Tracker) draws(dt time.Duration, v *frame.Values, rise float64) {
	l := &t.levels
	switch draft := t.draft(v); {
	case math.IsNaN(draft) || draft > turned:
		if l.stalled {
			l.stalled, l.out = false, 0
		}
		l.drawn += min(dt, recovers)
	case rise >= litRise:
		l.stalled, l.drawn = true, 0
	}
}

// isOut reports whether the flue has long enough been as cold as without a fire, and can
// tell. Gas has to flow for that: after a turned draft the flue cools beside a fire.
func (t *Tracker) isOut(dt time.Duration, v *frame.Values, rise float64) bool {
	l := &t.levels
	if rise >= outRise {
		l.out = 0
		return false
	}
	l.out += dt
	switch {
	case !l.tells():
		return l.out >= witnessLost
	case t.upstream(v, embers):
		return l.out >= brickOut
	}
	return l.out >= outHold
}

// upstream reports whether firebox or chamber are this far over the room.
func (t *Tracker) upstream(v *frame.Values, rise float64) bool {
	return v[frame.Firebox]-t.room >= rise || v[frame.Chamber]-t.room >= rise
}

// clean reports whether the fire burns its smoke, with hysteresis. The chamber tells;
// without one, the flue has to.
func (t *Tracker) clean(v *frame.Values) bool {
	value, threshold := v[frame.Chamber], cleanChamber
	if limit := t.Site.Limits[frame.Chamber]; limit > 0 {
		threshold = min(threshold, float64(cleanChamberOfLimit*limit))
	}
	if math.IsNaN(value) {
		value, threshold = v[frame.Flue], cleanFlue
		if limit := t.Site.Limits[frame.Flue]; limit > 0 {
			threshold = min(threshold, float64(cleanFlueOfLimit*limit))
		}
		if t.levels.usual > 0 {
			threshold = min(threshold, t.room+float64(cleanOfUsual*t.levels.usual))
		}
		threshold = max(threshold, coolFlue)
	}
	if t.Phase == CleanBurn {
		threshold -= cleanMargin
	}
	return value >= threshold
}

// teller is the channel whose trend tells how the fire goes: not the flue where there is
// one that the blower does not cool.
func teller(v *frame.Values) frame.Channel {
	switch {
	case v.Has(frame.Chamber):
		return frame.Chamber
	case v.Has(frame.Firebox):
		return frame.Firebox
	}
	return frame.Flue
}

// trend is the teller's slope per minute as a share of its rise, beyond what noise gives.
func (t *Tracker) trend(v *frame.Values) float64 {
	c := teller(v)
	k := &t.courses[c]
	if !k.seen {
		return 0
	}
	slope := k.slope() * 60
	noise := k.sigma() / 4
	switch {
	case slope > noise:
		slope -= noise
	case slope < -noise:
		slope += noise
	default:
		return 0
	}
	return slope / max(30, k.once-t.room)
}

func (t *Tracker) rising(v *frame.Values) bool { return t.trend(v) > riseShare }

// falling reports whether the flue falls as it does when the fuel runs out. With fuel left
// a slower fall is one to the level of a shut air.
func (t *Tracker) falling() bool {
	k, share := &t.courses[frame.Flue], riseShare
	if t.levels.fuelLeft() {
		share *= 2
	}
	return k.slope()*60 < -max(0.2, float64(share*(k.once-t.room)))
}

// kindles reports whether the fire comes back out of the coals. The blower's stops warm the
// flue too: where something upstream can be read, it has to rise as well.
func (t *Tracker) kindles(v *frame.Values, flue float64) bool {
	rise := t.levels.low - t.room
	if flue-t.levels.low < max(kindleLeast, float64(kindleShare*rise)) {
		return false
	}
	return teller(v) == frame.Flue || t.trend(v) > 0
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
	t.levels.usual += (best - t.levels.usual) / 8
}

// enter changes the phase.
func (t *Tracker) enter(p Phase, at time.Duration, v *frame.Values) (ended bool) {
	from, since := t.Phase, t.Since
	t.Phase, t.Since = p, at
	l := &t.levels
	l.dull, l.fades = 0, 0
	if p == Cold {
		t.began = at
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
