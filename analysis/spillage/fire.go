package spillage

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

const (
	assumedRoom = 20.0  // °C, where there is no room reading
	glowing     = 250.0 // °C in firebox or chamber: char beneath it still glows (from memory)
	above       = 5.0   // K over room and outdoors: more than either can make a flue
	climb       = 0.02  // K/s: what is being heated, and not by the weather
	climbFor    = 20 * time.Second
	litFor      = 15 * time.Minute // so long is a fire that was seen to be lit believed
	trendOver   = time.Minute
	lowOver     = time.Hour

	// A probe in warm brick climbs when no more air is drawn past it. A fire climbs further
	// than by this share of what it was over its surroundings (judgement).
	stillAir    = 0.3
	stillAirFor = 2 * time.Minute // after the draft is back
)

// fire tells whether something burns or glows, also where the phase does not say so: at
// lighting under a reversed draft the flue stays cold, and in the firebox the last coals
// outlive the flue's warmth.
type fire struct {
	trends [3]trend
	lit    time.Duration // so much longer is it believed
	still  time.Duration // so much longer may a climb be that of air that does not move
}

// heated are the channels that a fire heats.
var heated = [3]frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}

// step reports whether there is fire, and whether anything tells. turned says that the draft
// had turned by the frame before.
func (f *fire) step(in Inputs, dt time.Duration, turned bool) (burning, known bool) {
	v := &in.Values
	known = in.Phase != burn.Unknown
	burning = in.Phase.Fire()
	f.lit = max(0, f.lit-dt)
	if turned {
		f.still = stillAirFor
	} else {
		f.still = max(0, f.still-dt)
	}
	around := max(v[frame.Room], v[frame.Outdoor]) // NaN if either is missing
	if v.Has(frame.Room) != v.Has(frame.Outdoor) {
		around = max(v.Or(frame.Room, assumedRoom), v.Or(frame.Outdoor, assumedRoom))
	}
	warm := false
	for i, c := range heated {
		x := v[c]
		climbs := f.trends[i].step(x, dt, f.still > 0)
		if math.IsNaN(x) {
			continue
		}
		known = true
		base := around
		if math.IsNaN(base) {
			base = f.trends[i].low
		}
		if x >= base+above {
			warm = true
			if stood := f.trends[i].stood; climbs && x >= stood+above+float64(stillAir*max(0, stood-base)) {
				f.lit = litFor
			}
		}
		if c != frame.Flue && x >= glowing {
			burning = true
		}
	}
	return burning || warm && f.lit > 0, known
}

// trend tells a lasting climb.
type trend struct {
	has     bool
	average float64
	low     float64 // °C it has come from, forgotten within the hour
	stood   float64 // °C when the draft turned, or less since; -Inf while it has not
	lasts   time.Duration
	gap     time.Duration
}

// step reports whether it climbs. still says that the draft is turned or was just now.
func (t *trend) step(v float64, dt time.Duration, still bool) bool {
	switch {
	case !still:
		t.stood = math.Inf(-1)
	case math.IsInf(t.stood, -1) && t.has:
		t.stood = t.average
	default:
		t.stood = min(t.stood, t.average)
	}
	if math.IsNaN(v) {
		t.gap += dt
		return false
	}
	dt += t.gap
	t.gap = 0
	if !t.has || dt > maxGap {
		*t = trend{has: true, average: v, low: v, stood: math.Inf(-1)}
		return false
	}
	t.average = signal.Toward(t.average, v, dt, trendOver)
	t.low = min(v, signal.Toward(t.low, v, dt, lowOver))
	// A ramp's average lags by its time constant.
	if v-t.average > float64(climb*trendOver.Seconds()) {
		t.lasts += dt
	} else {
		t.lasts = 0
	}
	return t.lasts >= climbFor
}
