package burn

import (
	"math"
	"time"

	"fluewright/analysis/frame"
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
	best  float64       // highest peak of the burn
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

// flames is the least rise over the room that is still one of flames, K.
func (l *levels) flames() float64 { return float64(coalsShare * l.peak) }

// tells reports whether gas has flowed for long enough that the flue tells of the fire.
func (l *levels) tells() bool { return !l.stalled && l.drawn >= recovers }

// draws follows whether the chimney does, while there is fire.
func (t *Tracker) draws(dt time.Duration, v *frame.Values, rise float64) {
	l := &t.levels
	switch {
	case t.pulls(v):
		if l.stalled {
			l.stalled, l.out = false, 0
		}
		l.drawn += min(dt, recovers)
	case rise >= litRise, t.stir.slow:
		l.stalled, l.drawn = true, 0
	}
}

// pulls reports whether the chimney draws, as far as anything tells.
func (t *Tracker) pulls(v *frame.Values) bool { return !(t.draft(v) <= turned) }

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
	case t.upstream(v, embers), t.smoulders():
		return l.out >= brickOut
	}
	return l.out >= outHold
}

// upstream reports whether firebox or chamber are this far over the room.
func (t *Tracker) upstream(v *frame.Values, rise float64) bool {
	return v[frame.Firebox]-t.room >= rise || v[frame.Chamber]-t.room >= rise
}

// clean reports whether the fire burns its smoke, with hysteresis. The chamber tells;
// without one, the flue has to. A hot flue makes up for a chamber that is nearly hot enough.
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
	if v.Has(frame.Chamber) && v[frame.Flue] >= cleanFlue {
		threshold = float64(cleanTogether * threshold)
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
	slope := float64(k.slope() * 60)
	noise := float64(k.sigma() / 4)
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
