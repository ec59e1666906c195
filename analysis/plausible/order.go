package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// The order along the gas and the air, where it was wrong from the start of a burn. A
// bypass flap may lead the gas round the chamber while lighting, a fire in the flue makes
// it the hottest place of all: hence the times, the temperatures, and that the order was
// never right in this burn.
//
// A site with such a flap shows it at every fire, and wires are not crossed while their
// readings go on: where the order was once right for long, it takes the long times. Before
// that, at the first fire after a start, a gap or a wire that was off, crossed wires are
// what is more likely, and the short ones do: the hotter of two crossed readings would soon
// be over a limit that is not its own. What then reads too low must be in moving gas, or it
// is covered, or out; and it must have led from the start and not have shot up alone, or it
// may be a fire in the flue, which kindling can light.
const (
	soonFlue     = 60.0 // K over the room
	soonBy       = 25.0 // K that the flue leads
	soonShare    = 0.15 // of its rise
	soonMoving   = 0.06 // of the flue's rise, beside it,
	soonWarm     = 8.0  // K over the room
	soonFor      = 3 * time.Minute
	soonShot     = 100.0 // K that the flue gains in 3 min: then it is of the fire below
	soonAlong    = 0.15  // where the other gains such a share of it; a fire in the flue is alone
	ledRise      = 20.0  // K over the room
	ledBy        = 6.0   // K
	soonPlenum   = 70.0  // °C: the fan has long been on (41 °C, common practice)
	soonPlenumBy = 40.0
	soonGain     = 25.0 // K in 3 min: there is 100 kg of iron between the gas and the air
	soonAir      = 45 * time.Second
	provenBy     = 60.0 // K
	provenFor    = 10 * time.Minute
	wireOff      = 10 * time.Second

	coldRise     = 40.0 // K over the room: no fire that matters
	rightRise    = 30.0 // K that the upstream probe is hotter
	turnedBy     = 120.0
	turnedFrom   = 250.0 // °C
	turnedFor    = 10 * time.Minute
	turnedGain   = 150.0 // K in 3 min: no chamber warms so fast, a fire in the flue does
	coveredBy    = 30.0
	coveredRise  = 120.0
	coveredFor   = 20 * time.Minute
	returnMost   = 40.0 // °C: no return air is that warm
	returnBy     = 8.0
	returnFor    = 5 * time.Minute
	plenumFrom   = 120.0 // °C
	plenumBy     = 60.0
	plenumFor    = 6 * time.Minute
	coldHouse    = 8.0 // °C: no room is, an hour after a fire was lit in it,
	outdoorBy    = 12.0
	outdoorFor   = time.Hour // while it is so much warmer outdoors
	orderedAgain = 5 * time.Minute
)

// order is what is known of which probe is where.
type order struct {
	with  [lastTemperature + 1]frame.Channel // exchanged with; itself if not
	ready bool

	pending pending
	alike   [lastTemperature + 1]time.Duration // so long have the two been too close to tell
	right   [lastTemperature + 1]time.Duration // so long in the right order again

	begun   bool // this burn was seen from the cold
	ordered [lastTemperature + 1]bool
	led     bool // the chamber was ahead of the flue in this burn
	turned  [lastTemperature + 1]time.Duration
	soon    [lastTemperature + 1]time.Duration
	proven  [lastTemperature + 1]time.Duration // so long in the right order, in any burn since it was wired
	covered time.Duration
}

// exchange notes that two channels were exchanged, or put right again.
func (o *order) exchange(a, b frame.Channel) {
	if o.with[a] == b {
		o.restore(a)
		return
	}
	o.restore(a)
	o.restore(b)
	o.with[a], o.with[b] = b, a
	o.proven = [lastTemperature + 1]time.Duration{}
}

// restore ends a channel's exchange.
func (o *order) restore(a frame.Channel) {
	b := o.with[a]
	o.with[a], o.with[b] = a, b
	o.alike[a], o.alike[b], o.right[a], o.right[b] = 0, 0, 0, 0
}

// gaseous reports whether both are in the fire's gas.
func gaseous(a, b frame.Channel) bool { return a <= frame.Flue && b <= frame.Flue }

// ordered judges by the order that gas and air must have, and keeps what was exchanged.
func (r *Rules) ordered(in Inputs, dt time.Duration, marked bool, found *Findings) {
	o := &r.order
	r.fromTheStart(in, dt, found)
	for a := frame.Firebox; a < lastTemperature; a++ {
		for b := a + 1; b <= lastTemperature; b++ {
			if marked {
				r.exchangedSlowly(a, b)
			}
			if p := &o.pending; p.provisional() && p.a == a && p.b == b {
				found.add(a, ChannelsSwapped)
				found.add(b, ChannelsSwapped)
			}
			if o.with[a] != b {
				continue
			}
			if !r.courses[a].recent() || !r.courses[b].recent() {
				continue // what is exchanged stays so while a wire is off
			}
			la, lb := r.courses[a].level, r.courses[b].level
			close := alikeAir
			if gaseous(a, b) {
				close = alike
			}
			o.alike[a] = lasting(o.alike[a], dt, math.Abs(la-lb) <= close)
			o.right[a] = lasting(o.right[a], dt, b == frame.Flue && la-lb >= float64(2*rightRise) && lb-r.room >= rightRise)
			if o.alike[a] >= alikeFor || o.right[a] >= orderedAgain {
				o.restore(a)
				continue
			}
			found.add(a, ChannelsSwapped)
			found.add(b, ChannelsSwapped)
		}
	}
}

// exchangedSlowly compares the levels with those some minutes ago. Firebox and chamber,
// and a dying fire's gas and its air, may cross by themselves.
func (r *Rules) exchangedSlowly(a, b frame.Channel) {
	var least float64
	switch {
	case a < frame.Flue && b == frame.Flue:
		least = slowLeast
	case a == frame.Plenum && b == frame.Return, a == frame.Room && b == frame.Outdoor:
		least = slowLeastAir
	default:
		return
	}
	if r.trail.count <= slowExchange || r.order.with[a] == b {
		return
	}
	then, now := r.trail.ago(slowExchange), r.trail.ago(0)
	if swapped(then[a], then[b], now[a], now[b], least) {
		r.order.exchange(a, b)
	}
}

// fromTheStart finds what was wired wrongly before the fire was lit.
func (r *Rules) fromTheStart(in Inputs, dt time.Duration, found *Findings) {
	o := &r.order
	hottest := math.Inf(-1)
	for _, c := range heated {
		if level := r.lately(c); !math.IsNaN(level) {
			hottest = max(hottest, level-r.room)
		}
	}
	if hottest < coldRise {
		o.begun = !math.IsInf(hottest, 0)
		o.ordered, o.led = [lastTemperature + 1]bool{}, false
	}
	flue := r.lately(frame.Flue)
	for _, up := range []frame.Channel{frame.Firebox, frame.Chamber} {
		level := r.lately(up)
		o.ordered[up] = o.ordered[up] || level >= flue+rightRise
		wrong := o.begun && !o.ordered[up]
		o.prove(up, dt, level >= flue+provenBy, r.unwired(up) || r.unwired(frame.Flue))
		// What reads the room beside such a fire is in no gas at all.
		o.turn(up, frame.Flue, turnedFor, dt, wrong && flue >= turnedFrom && flue >= level+turnedBy && level-r.room >= near &&
			r.trail.gained(frame.Flue, quickMarks) < turnedGain)
		if up == frame.Chamber {
			rise := flue - r.room
			o.led = o.led || level-r.room >= ledRise && level >= flue+ledBy
			o.turnSoon(up, frame.Flue, soonFor, dt, wrong && rise >= soonFlue && flue-level >= max(soonBy, float64(soonShare*rise)) &&
				level-r.room >= max(soonWarm, float64(soonMoving*rise)) && (o.soon[up] > 0 || flue < turnedFrom) && !o.led && !r.shotAlone(up))
			o.covered = lasting(o.covered, dt, wrong && flue-r.room >= coveredRise && flue >= level+coveredBy)
			if o.covered >= coveredFor && o.with[up] == up {
				found.add(up, ProbeCovered)
			}
		}
	}
	plenum, back := r.lately(frame.Plenum), r.lately(frame.Return)
	// Air is not as hot as the gas that heats it: the coolest gas is where the air's probe is.
	coolest, gas := frame.Flue, flue
	if chamber := r.lately(frame.Chamber); !math.IsNaN(chamber) && !(chamber >= flue) {
		coolest, gas = frame.Chamber, chamber
	}
	o.ordered[frame.Plenum] = o.ordered[frame.Plenum] || gas >= plenum+rightRise
	o.turn(frame.Plenum, coolest, plenumFor, dt,
		o.begun && !o.ordered[frame.Plenum] && plenum >= plenumFrom && plenum >= gas+plenumBy)
	o.prove(frame.Plenum, dt, gas >= plenum+provenBy, r.unwired(frame.Plenum) || r.unwired(coolest))
	o.turnSoon(frame.Plenum, coolest, soonAir, dt, o.begun && !o.ordered[frame.Plenum] &&
		plenum >= soonPlenum && plenum >= gas+soonPlenumBy && r.trail.gained(frame.Plenum, quickMarks) >= soonGain)
	o.turn(frame.Return, frame.Plenum, returnFor, dt, back >= returnMost && back >= plenum+returnBy)
	o.turn(frame.Outdoor, frame.Room, outdoorFor, dt, in.Phase.Fire() &&
		in.Values[frame.Room] < coldHouse && in.Values[frame.Outdoor] >= in.Values[frame.Room]+outdoorBy)
}

// lately is a channel's level, NaN without a reading of late.
func (r *Rules) lately(c frame.Channel) float64 {
	if !r.courses[c].recent() {
		return math.NaN()
	}
	return r.courses[c].level
}

// turn takes two channels for exchanged after they have been in the wrong order for long.
func (o *order) turn(a, b frame.Channel, after, dt time.Duration, wrong bool) {
	o.turned[a] = lasting(o.turned[a], dt, wrong && o.with[a] == a && o.with[b] == b) // or it is explained
	if o.turned[a] >= after {
		o.turned[a] = 0
		o.exchange(a, b)
	}
}

// shotAlone reports whether the flue lately shot up and the probe upstream did not.
func (r *Rules) shotAlone(up frame.Channel) bool {
	shot := r.trail.gained(frame.Flue, quickMarks)
	return shot >= soonShot && r.trail.gained(up, quickMarks) < float64(soonAlong*shot)
}

// prove follows how long a pair has been in the right order since it was last wired.
func (o *order) prove(a frame.Channel, dt time.Duration, right, unwired bool) {
	switch {
	case unwired:
		o.proven[a] = 0
	case right:
		o.proven[a] = min(o.proven[a]+dt, provenFor)
	}
}

// unwired reports whether a wire of the channel may be off.
func (r *Rules) unwired(c frame.Channel) bool {
	return !r.courses[c].recent()
}

// turnSoon is turn for a pair whose order was not proven yet.
func (o *order) turnSoon(a, b frame.Channel, after, dt time.Duration, wrong bool) {
	o.soon[a] = lasting(o.soon[a], dt, wrong && o.proven[a] < provenFor && o.with[a] == a && o.with[b] == b)
	if o.soon[a] >= after {
		o.soon[a] = 0
		o.exchange(a, b)
	}
}
