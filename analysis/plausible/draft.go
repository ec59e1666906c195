package plausible

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

// What a draft beside a fire is like. Common practice, no source.
const (
	hotFlue   = 40.0 // K over the room: a chimney with such gas in it draws
	strong    = 3.0  // Pa: a draft
	weak      = 0.5  // Pa: none, with what a sensor's zero may be off
	none      = 0.3  // Pa: none, where nothing else says so
	wrongSign = -2.0 // Pa: as strong as a draft, the other way
	lively    = 0.05 // Pa of movement: gas that moves, and no sensor that hears itself
	still     = 0.15 // Pa of movement: the most that a blocked hose lets through,
	hears     = 0.30 // and with a sensor that hears itself
	surge     = 2.2  // times the ordinary movement
	loud      = 0.8  // of the usual movement
	collapsed = 0.5  // of the movement before is left
	sameLevel = 0.1  // of the draft
	dead      = 0.25
	recovered = 0.63
)

const (
	wrongFor    = time.Minute
	wrongLong   = 10 * time.Minute // without a step: that chimney would have put its fire out
	wrongOver   = 30 * time.Second
	mirrorIn    = 5 * time.Second
	mirrorShare = 0.2
	blockedFrom = 5 * time.Minute  // before that there is too little to tell
	blockedFor  = 3 * time.Minute  // a lull
	blockedLong = 8 * time.Minute  // where it may be one of a strong wind
	surgedFor   = 20 * time.Minute // after a surge nobody knows what is ordinary
	surgeOver   = 2 * time.Hour    // a storm or a fire in the flue is no ordinary movement
	surgeTimes  = 3                // or after so many times a short one
	lullOver    = 2 * time.Minute
	quietIn     = 2 * time.Minute // wind dies more slowly
	blockedSoon = 30 * time.Second
	stirsFor    = 5 * time.Minute  // so long is no single step of the level
	stirredAgo  = 15 * time.Minute // a fire that burns out takes hours
	goneFor     = 10 * time.Minute
	goneStill   = 3 * time.Minute  // without any movement
	goneFlue    = 0.85             // of its rise then: a fire without air cools
	coldFor     = 30 * time.Minute // without a fire
	warmFor     = 6 * time.Hour    // after one: masonry has a time constant of 1 to 3 h (from memory)
	coldOver    = 10 * time.Minute
	tallest     = 12.0 // m, of the chimneys that such furnaces have
	windOnCold  = 3.0  // Pa that a wind adds over ten minutes
	houseFans   = 25.0 // Pa that fans in a tight house take away
	windsMost   = 4.0  // times its own movement: turbulence of 12 % is that of an open sea
)

// Outdoor temperatures that are assumed where nobody measures them, °C.
const (
	coldestDay = -30.0
	hottestDay = 35.0
)

// draft follows the pressure.
type draft struct {
	level float64 // Pa, over wrongOver
	calm  float64 // Pa, over coldOver
	swing float64 // Pa², its variance
	tends float64 // Pa that calm stays behind: a course, and no swing
	begun bool

	stirs   time.Duration // so long has it moved
	stirred time.Duration // since it last had moved for long; zero if it never has
	fall    fall
	was     float64 // Pa² of movement before it collapsed; zero while it has not
	lull    float64 // Pa² of movement since then
	dead    time.Duration
	shut    bool          // it has been found blocked
	quiet   time.Duration // since it last moved as usual

	ordinary float64       // Pa² of movement, without surges
	surge    time.Duration // since it last moved far more
	surged   time.Duration // and so long it did

	flueWas float64 // K, when the draft was last there
	gone    time.Duration
	wrong   time.Duration // reads the wrong sign
	drew    bool          // it has been strong since the furnace was cold
	pulled  float64       // Pa, before it last was not strong
	since   time.Duration // since then
	mirror  bool          // it went straight from there to the same with the wrong sign
	cold    time.Duration // there has been no fire
	fired   bool          // there was one
	creep   creep
	off     bool // its zero is
}

// step judges one frame. flue is its rise over the room, NaN where it is not known; unlit
// says that nothing else tells of a fire that the probes in the gas do not see.
func (d *draft) step(in Inputs, dt time.Duration, c *course, flue, room float64, unlit bool) string {
	d.cold = lasting(d.cold, dt, in.Phase == burn.Cold)
	d.fired = d.fired || in.Phase.Fire()
	coldFor := coldFor
	if d.fired {
		coldFor = warmFor
	}
	v := in.Values[frame.Draft]
	if math.IsNaN(v) {
		if c.count == 0 {
			cold := d.cold
			d.forget()
			d.cold = cold
		}
		return ""
	}
	if !d.begun {
		d.begun, d.level, d.calm, d.surge = true, v, v, surgedFor
	}
	d.level = signal.Toward(d.level, v, dt, wrongOver)
	off := v - d.calm
	d.calm = signal.Toward(d.calm, v, dt, coldOver)
	d.swing = signal.Toward(d.swing, float64(off*off), dt, coldOver)
	d.tends = signal.Toward(d.tends, off, dt, coldOver)

	over := surgeOver
	if c.brief < d.ordinary {
		over = usually
	}
	d.ordinary = signal.Toward(d.ordinary, c.brief, dt, min(over, c.seen))
	burning := in.Phase.Fire() && flue >= hotFlue
	reversed := d.reversed(v, dt, c, in.Phase, burning)
	if c.brief >= lively*lively && c.noisy(c.brief) {
		d.stirs = min(d.stirs+dt, stirsFor)
	} else {
		d.stirs = max(d.stirs-2*dt, 0)
	}
	if d.stirs >= stirsFor {
		d.stirred = 1
	} else if d.stirred > 0 {
		d.stirred += dt
	}
	alive := d.stirred > 0 && d.stirred <= stirredAgo
	fell := d.fall.step(v, dt, c, alive, in.Phase.Fire(), flue)
	blocked := d.blocked(dt, c, alive, burning)
	d.missed(dt, burning, flue)
	h, cold := columnOf(in), d.cold >= coldFor && c.seen >= coldOver
	crept := d.creep.step(h, dt, unlit && cold, d.cold >= warmFor,
		d.level-d.calm-d.tends, d.calm, d.gusts(), math.Sqrt(c.usual), in.Values[frame.Outdoor], room)
	if cold { // no fire puts it right: what was found is true until the furnace is cold again
		d.off = crept || !h.coldDraft(d.calm, math.Sqrt(d.swing), in.Values[frame.Outdoor], room)
	}
	switch {
	case reversed:
		return HoseSwapped
	case fell != "":
		return fell
	case blocked:
		return TubeBlocked
	case d.gone >= goneFor || d.gone >= goneStill && c.brief < lively*lively:
		return DraftGone
	case d.off:
		return ZeroDrift
	}
	return ""
}

// forget leaves what is true of the hose and the zero however long nobody looked.
func (d *draft) forget() {
	*d = draft{fired: d.fired, shut: d.shut, was: d.was, lull: d.lull, off: d.off}
}

// reversed reports whether the draft has the wrong sign because of the hose: it turned
// over at once, as strong as before, or it never was a draft while the fire that needs
// one burned on.
func (d *draft) reversed(v float64, dt time.Duration, c *course, phase burn.Phase, burning bool) bool {
	if phase == burn.Cold {
		d.drew = false
	}
	d.since += dt
	if v >= strong {
		d.drew, d.pulled, d.since, d.mirror = true, c.level, 0, false
	}
	if v <= -strong && d.drew && d.since <= max(mirrorIn, dt) && math.Abs(v+d.pulled) <= float64(mirrorShare*d.pulled) {
		d.mirror = true
	}
	d.wrong = lasting(d.wrong, dt, burning && d.level <= wrongSign)
	return d.mirror && d.wrong >= wrongFor || !d.drew && d.wrong >= wrongLong
}

// blocked reports whether the gas in the hose has stopped moving: beside a fire it never
// rests, and its movement does not vanish within minutes. A log that never had any
// movement tells nothing.
func (d *draft) blocked(dt time.Duration, c *course, alive, burning bool) bool {
	if d.was > 0 {
		d.lull = signal.Toward(d.lull, c.brief, dt, min(lullOver, d.dead+dt))
	}
	if d.shut {
		// It stays so, fire or not, until it moves by more than a flicker of its last step.
		d.shut = !(c.noisy(c.brief) && d.moves(c))
		if !d.shut {
			d.was, d.dead = 0, 0
		}
		return d.shut
	}
	if !burning || c.seen < blockedFrom {
		d.was, d.dead = 0, 0
		return false
	}
	usual := min(c.usual, d.ordinary)
	d.quiet += dt
	if c.brief >= float64(loud*loud*usual) {
		d.quiet = 0
	}
	if d.was > 0 && d.moves(c) {
		d.was, d.dead = 0, 0
	}
	d.surge += dt
	if c.brief >= float64(surge*surge*d.ordinary) {
		d.surge = 0
		d.surged += dt
	} else if d.surge >= surgedFor {
		d.surged = 0
	}
	if d.was == 0 && alive && (d.surge >= surgedFor || d.doorOnly()) && d.quiet <= quietIn && usual >= lively*lively && c.noisy(usual) &&
		c.brief < float64(collapsed*collapsed*usual) && c.brief <= hears*hears {
		d.was, d.lull = usual, c.brief
	}
	d.dead = lasting(d.dead, dt, d.was > 0)
	after := blockedFor
	if c.brief > still*still {
		after = blockedLong
	}
	if math.Abs(c.level) < strong && c.brief <= float64(dead*dead*d.was) {
		after = blockedSoon // or it is taken for a draft that has turned
	}
	d.shut = d.dead >= after
	return d.shut
}

// doorOnly reports whether the last surge was as short as a door's and left the level where
// it was: a chimney that is shut does not.
func (d *draft) doorOnly() bool {
	return d.surge >= surgeTimes*d.surged && d.level >= strong && math.Abs(d.level-d.calm) <= float64(sameLevel*d.calm)
}

// moves reports whether a draft whose movement had collapsed moves again, by a good part of
// what it was, over minutes: a few readings of a still hose's noise, or a single wrong one,
// come to such a part as well.
func (d *draft) moves(c *course) bool {
	return d.lull >= float64(recovered*recovered*d.was) || c.brief > hears*hears
}

// gusts is the standard deviation of the draft about its course, Pa.
func (d *draft) gusts() float64 {
	return math.Sqrt(max(0, d.swing-float64(d.tends*d.tends)))
}

// missed follows a draft that is at nothing for long beside a fire that goes on. Once it has
// been, the fire may burn down as it likes and a sensor's zero wander: it is back with a draft.
func (d *draft) missed(dt time.Duration, burning bool, flue float64) {
	found, least := d.gone >= goneFor, none
	if found {
		least = 2 * weak
	}
	if !burning || math.Abs(d.level) > least {
		d.gone, d.flueWas = 0, flue
		return
	}
	if !found {
		d.gone = lasting(d.gone, dt, flue >= float64(goneFlue*d.flueWas))
	}
}

// coldDraft reports whether a chimney without a fire can have this draft: between none
// and what it has, full of air at the room's temperature, and what wind adds.
func (h column) coldDraft(pa, swing, outdoor, room float64) bool {
	cold, warm := outdoor, outdoor
	if math.IsNaN(outdoor) {
		cold, warm = coldestDay, hottestDay
	}
	wind := windOnCold + float64(windsMost*swing)
	return pa >= min(0, h.stack(warm, room))-wind-houseFans && pa <= max(0, h.stack(cold, room))+wind
}

// column is the height of a chimney in m.
type column float64

// columnOf is the site's chimney, or the tallest where it is not known.
func columnOf(in Inputs) column {
	if in.Height > 0 && in.Height < tallest {
		return column(in.Height)
	}
	return tallest
}

// weight is g·353.05 for each metre, Pa·K.
const weight = 9.80665 * 353.05

// stack is the draft in Pa of the chimney, full of air at the room's temperature.
//
//	Δp = g·H·(ρ_outdoor − ρ_room), ρ = 353.05/T (dry air at 101 325 Pa)
func (h column) stack(outdoor, room float64) float64 {
	return float64(float64(weight*h) * (1/(outdoor+273.15) - 1/(room+273.15)))
}

// outdoors is the inverse of stack: the outdoor temperature for a draft, °C.
func (h column) outdoors(draft, room float64) float64 {
	return 1/(draft/float64(weight*h)+1/(room+273.15)) - 273.15
}
