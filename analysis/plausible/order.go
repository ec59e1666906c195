package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// Two channels were exchanged if each took on the other's value at once. A wire leaves no
// lag behind; where a log has one it is gone after minutes.
const (
	lastTemperature = frame.Outdoor
	exchangeAge     = 15 * time.Minute // a reading from before a gap, to compare with
	exchangeShare   = 0.15             // of the difference that may be missing
	exchangeSlack   = 1.0              // K more
	exchangeLeast   = 6.0              // K of difference from one frame to the next, in air
	exchangeMixed   = 25.0             // K, of gas and air
	exchangeGas     = 40.0             // K, in gas
	exchangeGap     = 20.0             // K across a gap
	exchangeNoise   = 8.0              // times the noise
	confirmFor      = 10 * time.Second
	confirmBy       = 4     // readings
	slowExchange    = 8     // marks
	slowLeast       = 150.0 // K of difference, in gas
	slowLeastAir    = 15.0  // K, in air
	alike           = 10.0  // K: too little to tell them apart
	alikeAir        = 2.0
	alikeFor        = 10 * time.Minute
)

// The order along the gas and the air, where it was wrong from the start of a burn. A
// bypass flap may lead the gas round the chamber while lighting, a fire in the flue makes
// it the hottest place of all: hence the times, the temperatures, and that the order was
// never right in this burn.
const (
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
	turned  [lastTemperature + 1]time.Duration
	covered time.Duration
}

// pending is an exchange that is to be confirmed by the readings that follow.
type pending struct {
	a, b     frame.Channel // the same: none
	wasA     float64       // their levels before
	wasB     float64
	least    float64
	sumA     float64
	sumB     float64
	readings int
	lasted   time.Duration
}

// exchanged compares a frame with the levels before it.
func (r *Rules) exchanged(in Inputs, dt time.Duration) {
	o := &r.order
	if !o.ready {
		o.ready = true
		for c := range o.with {
			o.with[c] = frame.Channel(c)
		}
	}
	if o.pending.a != o.pending.b {
		o.confirm(in, dt)
		return
	}
	for a := frame.Firebox; a < lastTemperature; a++ {
		ca := &r.courses[a]
		if !in.Values.Has(a) || !ca.has || math.Abs(in.Values[a]-ca.level) < exchangeLeast/2 {
			continue
		}
		for b := a + 1; b <= lastTemperature; b++ {
			cb := &r.courses[b]
			if !in.Values.Has(b) || !cb.has || ca.missing > exchangeAge || cb.missing > exchangeAge {
				continue
			}
			least := leastApart(a, b)
			if ca.count == 0 || cb.count == 0 || ca.missing > 0 || cb.missing > 0 {
				least = max(least, exchangeGap)
			}
			least = max(least, float64(exchangeNoise*math.Sqrt(max(ca.usual, cb.usual))))
			// At once: until now both were where they had been.
			if swapped(ca.level, cb.level, in.Values[a], in.Values[b], least) &&
				swapped(ca.raw, cb.raw, in.Values[a], in.Values[b], least/2) {
				o.pending = pending{a: a, b: b, wasA: ca.level, wasB: cb.level, least: least}
				o.confirm(in, 0)
				return
			}
		}
	}
}

// leastApart is the least difference at which two channels are told apart from two that
// cross, K: what is in the fire's gas crosses quickly.
func leastApart(a, b frame.Channel) float64 {
	switch {
	case gaseous(a, b):
		return exchangeGas
	case a <= frame.Flue:
		return exchangeMixed
	}
	return exchangeLeast
}

// confirm takes the frame for a confirmation of what is pending, or against it.
func (o *order) confirm(in Inputs, dt time.Duration) {
	p := &o.pending
	p.lasted += dt
	if a, b := in.Values[p.a], in.Values[p.b]; !math.IsNaN(a) && !math.IsNaN(b) {
		p.sumA += a
		p.sumB += b
		p.readings++
	}
	if p.lasted < confirmFor || p.readings < confirmBy && p.lasted < exchangeAge {
		return
	}
	n := float64(p.readings)
	if p.readings >= confirmBy && swapped(p.wasA, p.wasB, p.sumA/n, p.sumB/n, p.least) {
		o.exchange(p.a, p.b)
	}
	o.pending = pending{}
}

// swapped reports whether two values became each other.
func swapped(a0, b0, a1, b1, least float64) bool {
	apart := math.Abs(a0 - b0)
	slack := float64(exchangeShare*apart) + exchangeSlack
	return apart >= least && math.Abs(a1-b0) <= slack && math.Abs(b1-a0) <= slack
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
			if o.with[a] != b {
				continue
			}
			la, lb := r.courses[a].level, r.courses[b].level
			if math.IsNaN(in.Values[a]) || math.IsNaN(in.Values[b]) {
				continue // what is exchanged stays so while a wire is off
			}
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
		if in.Values.Has(c) {
			hottest = max(hottest, in.Values[c]-r.room)
		}
	}
	if hottest < coldRise {
		o.begun = !math.IsInf(hottest, 0)
		o.ordered = [lastTemperature + 1]bool{}
	}
	flue := r.courses[frame.Flue].level
	if !in.Values.Has(frame.Flue) {
		flue = math.NaN()
	}
	for _, up := range []frame.Channel{frame.Firebox, frame.Chamber} {
		level := r.courses[up].level
		if !in.Values.Has(up) {
			level = math.NaN()
		}
		o.ordered[up] = o.ordered[up] || level >= flue+rightRise
		wrong := o.begun && !o.ordered[up]
		o.turn(up, frame.Flue, turnedFor, dt, wrong && flue >= turnedFrom && flue >= level+turnedBy && r.trail.gained(frame.Flue, quickMarks) < turnedGain)
		if up == frame.Chamber {
			o.covered = lasting(o.covered, dt, wrong && flue-r.room >= coveredRise && flue >= level+coveredBy)
			if o.covered >= coveredFor && o.with[up] == up {
				found.add(up, ProbeCovered)
			}
		}
	}
	plenum, back := in.Values[frame.Plenum], in.Values[frame.Return]
	// Air is not as hot as the gas that heats it: the coolest gas is where the air's probe is.
	coolest, gas := frame.Flue, flue
	if chamber := r.courses[frame.Chamber].level; in.Values.Has(frame.Chamber) && !(chamber >= flue) {
		coolest, gas = frame.Chamber, chamber
	}
	o.ordered[frame.Plenum] = o.ordered[frame.Plenum] || gas >= plenum+rightRise
	o.turn(frame.Plenum, coolest, plenumFor, dt,
		o.begun && !o.ordered[frame.Plenum] && plenum >= plenumFrom && plenum >= gas+plenumBy)
	o.turn(frame.Return, frame.Plenum, returnFor, dt, back >= returnMost && back >= plenum+returnBy)
	o.turn(frame.Outdoor, frame.Room, outdoorFor, dt, in.Phase.Fire() &&
		in.Values[frame.Room] < coldHouse && in.Values[frame.Outdoor] >= in.Values[frame.Room]+outdoorBy)
}

// turn takes two channels for exchanged after they have been in the wrong order for long.
func (o *order) turn(a, b frame.Channel, after, dt time.Duration, wrong bool) {
	o.turned[a] = lasting(o.turned[a], dt, wrong)
	if o.turned[a] >= after && o.with[a] != b {
		o.turned[a] = 0
		o.exchange(a, b)
	}
}
