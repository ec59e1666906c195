package plausible

import (
	"math"
	"time"

	"fluewright/analysis/signal"
)

// A hose comes off at once; a chimney stalls slowly, and the gas in it is never quite at
// rest at exactly the room's pressure.
const (
	offWithin = 5 * time.Second
	offFor    = 20 * time.Second // sooner than a turned draft is believed,
	offLast   = time.Minute      // or than it is told
	offLooks  = 4
	offStill  = 0.5  // of the movement before
	offZero   = 0.25 // Pa: what the zero of a sensor may be off that is open to the room
	offSure   = 1.5  // standard deviations of what so many readings say of a variance
	offBand   = 3.0  // times the movement before
	offFrom   = 0.6  // of the draft there was: from there to nothing it goes in one go,
	offAtOnce = 2 * time.Second
	offSways  = 0.6  // of the swaying before
	offTrue   = 0.12 // Pa off zero, with what so many readings say of a mean
	offOut    = 700 * time.Millisecond
	offBack   = 5 * time.Second // once it was found: hours of noise bring two wide readings in a row
	below0    = 0.3             // Pa below nothing, as far as the zero of a sensor may be off: gas that comes back
	belowOver = 15 * time.Second
	offMost   = 1.5 // Pa
	coolsIn   = 10 * time.Minute
	coolsTo   = 0.7 // of the flue's rise: so quickly cools a fire that gets no air
	feltIn    = time.Minute
	feltBy    = 0.015 // of the flue's rise, below its course: the gas has changed,
	feltLeast = 1.0   // K, or by no less than this
	bendsIn   = 3 * time.Minute
	bendsBy   = 0.06             // of the flue's rise, beyond its course,
	bendsMore = 4.0              // K, or by so much: gas that has stopped is felt at once
	warms     = 3.0              // K: a cold flue does not, beside no fire
	wandersIn = 30 * time.Minute // the zero of a sensor goes by tenths of a pascal in an hour
	wandersBy = 1.0              // Pa: and no further
)

// fall is a draft that went from strong to nothing.
type fall struct {
	sinceStrong time.Duration
	wasStrong   bool
	band        float64       // Pa: nothing, with its noise
	usual       float64       // Pa² of movement while it was strong; zero where it is not known for one of gas
	draws       float64       // Pa, while it was strong
	sinceDrew   time.Duration // since it was about that
	sways       sway          // while it was strong
	still       sway          // since

	on     bool // at nothing since
	cold   bool // it fell without a fire
	atOnce bool // and within two readings or two seconds from what there was
	lasted time.Duration
	looks  int
	sum    float64
	square float64 // of successive differences
	last   float64
	out    int // readings in a row that were not at nothing
	outFor time.Duration
	lately float64 // Pa off zero

	flue   float64 // K, when it fell
	slope  float64 // K/s, then; no more than zero
	heat   heat
	felt   bool // the flue has left its course since, soon enough for the draft to be why
	judged bool
	found  string
	zero   float64 // Pa that a sensor reads whose hose is off
}

// step takes a reading of the draft; alive says that it has moved as gas does, burning that there is a fire as far
// as is known.
func (f *fall) step(v float64, dt time.Duration, c *course, alive, burning bool, flue float64) string {
	f.sinceStrong += dt
	f.heat.follow(flue, dt)
	f.sinceDrew += dt
	if v >= strong {
		*f = fall{
			heat: f.heat, wasStrong: true, band: max(weak, min(offMost, float64(offBand*math.Sqrt(c.usual)))),
			draws: f.draws, sinceDrew: f.sinceDrew, sways: f.sways,
		}
		if v >= float64(offFrom*f.draws) {
			f.sinceDrew = 0
			f.draws = signal.Toward(f.draws, v, dt, briefly)
			f.sways.follow(v, dt, usually)
		}
		if alive {
			f.usual = c.usual
		}
		return ""
	}
	if !f.wasStrong || !burning && f.on && !f.cold || f.cold && f.judged && f.found == "" {
		*f = fall{heat: f.heat}
		return ""
	}
	nothing := math.Abs(v-f.zero) <= f.band
	switch {
	case !f.on && nothing && f.sinceStrong <= max(offWithin, 2*dt):
		f.on, f.cold, f.last, f.flue = true, !burning, v, flue
		if math.IsNaN(flue) && f.heat.quick > 0 { // lost for a frame
			f.flue = f.heat.quick
		}
		f.slope = min(0, f.heat.slope())
		f.looks, f.sum = 1, v
		f.atOnce = f.sinceDrew <= max(offAtOnce, dt) && dt <= offAtOnce
		f.still.follow(v, dt, offLast)
		return ""
	case !f.on:
		return ""
	case !nothing:
		f.out++
		least := offOut
		if f.found == HoseOff {
			least = offBack
		}
		if f.outFor += dt; f.out >= 2 && f.outFor >= least {
			*f = fall{heat: f.heat}
		}
		return f.found
	}
	f.out, f.outFor = 0, 0
	f.lately = signal.Toward(f.lately, v-f.zero, dt, belowOver)
	if dt > 0 {
		f.follow(v, dt, c)
	}
	below := f.below()
	f.felt = f.felt || f.lasted < feltIn && below >= max(feltLeast, float64(feltBy*f.flue))
	if f.found == HoseOff && f.lately < -below0 {
		f.judged, f.found = true, DraftGone // a sensor that is open to the room has no reason to
	}
	if f.found == HoseOff && f.felt && (f.lasted < coolsIn && flue < float64(coolsTo*f.flue) ||
		f.lasted < bendsIn && below > max(bendsMore, float64(bendsBy*f.flue))) {
		f.found = DraftGone // it was the chimney
	}
	if f.found == HoseOff && f.cold && (burning || f.heat.quick > max(0, f.flue)+warms) {
		f.found = DraftGone // whoever shut a damper in the cold and lights a fire is in danger
	}
	if f.found == HoseOff && f.judged {
		f.zero = max(-wandersBy, min(wandersBy, signal.Toward(f.zero, v, dt, wandersIn)))
	} else {
		f.zero = 0
	}
	return f.found
}

// below is how far the flue has cooled below the course that it was on, K: beside a hose
// that is off the fire knows nothing of it. What the flue does only later has another
// reason, such as a door.
func (f *fall) below() float64 {
	return f.flue + float64(f.slope*(f.lasted.Seconds()+heatQuick.Seconds())) - f.heat.quick
}

// heat is the flue's course, by two averages of which a ramp leaves the slower one further
// behind; K over the room, zero before the first reading.
type heat struct{ quick, slow float64 }

const (
	heatQuick = 10 * time.Second
	heatSlow  = 2 * time.Minute
)

func (h *heat) follow(flue float64, dt time.Duration) {
	switch {
	case math.IsNaN(flue):
	case !(h.quick > 0):
		h.quick, h.slow = flue, flue
	default:
		h.quick, h.slow = signal.Toward(h.quick, flue, dt, heatQuick), signal.Toward(h.slow, flue, dt, heatSlow)
	}
}

// slope is in K/s.
func (h *heat) slope() float64 { return (h.quick - h.slow) / (heatSlow - heatQuick).Seconds() }

// follow judges by the readings since the fall, as soon as they say it. A sensor that hears
// mostly itself needs more of them, and then they must be at its zero: a chimney that
// stalls has no reason to come to rest just there.
func (f *fall) follow(v float64, dt time.Duration, c *course) {
	f.lasted += dt
	if f.judged {
		return
	}
	d := v - f.last
	f.last = v
	f.looks++
	f.sum += v
	f.square += float64(d * d)
	f.still.follow(v, dt, offLast)
	if f.lasted < offFor || f.looks < offLooks {
		return
	}
	n := float64(f.looks - 1)
	at := f.sum / float64(f.looks)
	mean := math.Abs(at)
	moves := f.square / float64(2*n)
	sure := 2 * math.Sqrt(moves/n) // Pa, of the mean
	known := f.usual >= lively*lively && c.noisy(f.usual)
	quieter := moves <= float64(offStill*offStill*f.usual)
	atRest := known && f.atOnce && mean <= offTrue+sure && f.still.square <= float64(offSways*f.sways.square)
	// A variance by n successive differences has a variance of 3/n of its square.
	less := 1 - float64(offSure*math.Sqrt(3/n))
	switch {
	case f.cold: // nothing but the hose and a damper stops a cold chimney at once
		if atRest && quieter {
			f.judged, f.found, f.zero = true, HoseOff, at
		}
	case at < -below0-sure && mean <= weak:
		f.found = DraftGone
	case known && mean <= weak && quieter,
		known && mean <= offZero && moves <= float64(less*f.usual), atRest:
		f.judged, f.found, f.zero = true, HoseOff, at
	case mean <= weak:
		f.found = DraftGone
	default:
		f.found = ""
	}
	f.judged = f.judged || f.lasted >= offLast
}
