package plausible

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// What a draft beside a fire is like. Common practice, no source.
const (
	hotFlue   = 60.0 // K over the room: a chimney with such gas in it draws
	strong    = 3.0  // Pa: a draft
	weak      = 0.5  // Pa: none
	wrongSign = -2.0 // Pa: as strong as a draft, the other way
	still     = 0.05 // Pa of movement: what a sensor hears of itself
	lively    = 0.1  // Pa of movement: gas that moves
	leap      = 1.0  // Pa: more from one reading to the next counts as this
	nothing   = 1.0  // Pa of level: what a blocked hose is left with in the end
)

const (
	offWithin  = 5 * time.Second  // a hose comes off at once, a chimney stalls slowly
	offFor     = 30 * time.Second // and the reading stays at nothing
	wrongFor   = time.Minute
	levelOver  = 30 * time.Second
	movesOver  = time.Minute
	movesFrom  = 2 * time.Minute // before that there is too little to tell
	livelyFor  = 5 * time.Minute // so long is no single step of the level
	coldFor    = 30 * time.Minute
	coldOver   = 10 * time.Minute
	tallest    = 12.0 // m, of the chimneys that such furnaces have
	windOnCold = 3.0  // Pa that a wind adds over ten minutes
)

// Outdoor temperatures that are assumed where nobody measures them, °C.
const (
	coldestDay = -30.0
	hottestDay = 35.0
)

// draft follows the pressure.
type draft struct {
	has      bool
	value    float64
	seen     time.Duration // data so far
	level    float64       // Pa, over levelOver
	calm     float64       // Pa, over coldOver
	movement float64       // Pa², half the mean square of successive differences
	livened  time.Duration // so long has it moved
	was      bool          // it has moved for long

	sinceStrong time.Duration
	wasStrong   bool
	weakFor     time.Duration // reads nothing
	fell        bool          // from strong to nothing within offWithin
	wrong       time.Duration // reads the wrong sign
	cold        time.Duration // there has been no fire
}

// step judges one frame. flue is its rise over the room, NaN where it is not known.
func (d *draft) step(in Inputs, dt time.Duration, flue, room float64) string {
	d.cold = lasting(d.cold, dt, in.Phase == burn.Cold)
	v := in.Values[frame.Draft]
	if math.IsNaN(v) {
		cold := d.cold
		*d = draft{cold: cold}
		return ""
	}
	d.follow(v, dt)
	burning := in.Phase.Fire() && flue >= hotFlue
	d.wrong = lasting(d.wrong, dt, burning && d.level <= wrongSign)
	switch {
	case d.wrong >= wrongFor:
		return HoseSwapped
	case burning && d.fell && d.weakFor >= offFor:
		return HoseOff
	case burning && flue >= hot && d.seen >= movesFrom && d.movement < still*still && (d.was || math.Abs(d.level) < nothing):
		// A level without any movement may be a log without noise, unless there was some.
		return TubeBlocked
	case d.cold >= coldFor && d.seen >= coldOver && !coldDraft(d.calm, in.Values[frame.Outdoor], room):
		return ZeroDrift
	}
	return ""
}

// follow keeps what the rules judge by.
func (d *draft) follow(v float64, dt time.Duration) {
	if !d.has {
		*d = draft{has: true, value: v, level: v, calm: v, cold: d.cold}
	}
	d.seen += dt
	d.level = toward(d.level, v, dt, levelOver)
	d.calm = toward(d.calm, v, dt, coldOver)
	if dt > 0 {
		step := max(-leap, min(leap, v-d.value))
		// Of the first samples the plain mean.
		d.movement = toward(d.movement, float64(float64(step*step)/2), dt, min(movesOver, d.seen))
	}
	d.value = v
	d.livened = lasting(d.livened, dt, d.movement > lively*lively)
	d.was = d.was || d.livened >= livelyFor

	d.sinceStrong += dt
	if v >= strong {
		d.sinceStrong, d.wasStrong = 0, true
	}
	if math.Abs(v) > weak {
		d.weakFor, d.fell = 0, false
		return
	}
	if d.weakFor == 0 && dt > 0 && d.wasStrong && d.sinceStrong <= offWithin {
		d.fell = true
	}
	d.weakFor += dt
}

// toward moves an average by the backward-difference weight: stable for any step, and the
// same on every machine.
func toward(average, v float64, dt, over time.Duration) float64 {
	s := dt.Seconds()
	if w := s + over.Seconds(); w > 0 {
		return average + float64(s/w*(v-average))
	}
	return average
}

// coldDraft reports whether a chimney without a fire can have this draft: between none
// and what a tall one has, full of air at the room's temperature, and what wind adds.
//
//	Δp = g·H·(ρ_outdoor − ρ_room), ρ = 353.05/T (dry air at 101 325 Pa)
func coldDraft(pa, outdoor, room float64) bool {
	cold, warm := outdoor, outdoor
	if math.IsNaN(outdoor) {
		cold, warm = coldestDay, hottestDay
	}
	stack := func(outside float64) float64 {
		return float64(9.80665*tallest*353.05) * (1/(outside+273.15) - 1/(room+273.15))
	}
	return pa >= min(0, stack(warm))-windOnCold && pa <= max(0, stack(cold))+windOnCold
}
