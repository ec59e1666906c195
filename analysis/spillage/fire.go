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
)

// fire tells whether something burns or glows, also where the phase does not say so: at
// lighting under a reversed draft the flue stays cold, and in the firebox the last coals
// outlive the flue's warmth.
type fire struct {
	trends [3]trend
	lit    time.Duration // so much longer is it believed
}

// heated are the channels that a fire heats.
var heated = [3]frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}

// step reports whether there is fire, and whether anything tells.
func (f *fire) step(in Inputs, dt time.Duration) (burning, known bool) {
	v := &in.Values
	known = in.Phase != burn.Unknown
	burning = in.Phase.Fire()
	f.lit = max(0, f.lit-dt)
	around := max(v[frame.Room], v[frame.Outdoor]) // NaN if either is missing
	if v.Has(frame.Room) != v.Has(frame.Outdoor) {
		around = max(v.Or(frame.Room, assumedRoom), v.Or(frame.Outdoor, assumedRoom))
	}
	warm := false
	for i, c := range heated {
		x := v[c]
		climbs := f.trends[i].step(x, dt)
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
			if climbs {
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
	lasts   time.Duration
	gap     time.Duration
}

func (t *trend) step(v float64, dt time.Duration) bool {
	if math.IsNaN(v) {
		t.gap += dt
		return false
	}
	dt += t.gap
	t.gap = 0
	if !t.has || dt > maxGap {
		*t = trend{has: true, average: v, low: v}
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
