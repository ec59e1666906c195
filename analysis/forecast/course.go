package forecast

import (
	"time"

	"fluewright/analysis/signal"
)

// course is what the rise in hand has been so far, and what earlier ones came to.
type course struct {
	has   bool
	last  time.Duration // of the latest state
	level float64       // then, °C

	// trough is the level from which the channel rises, held the highest one of the last
	// minutes: coming back to it from behind an open door is no runaway. dipped says that
	// it lies, or lay, clearly below and has not come back yet.
	trough, held     float64
	dipped           bool
	heldAt, dippedAt time.Duration

	// base is the slope that has lasted, K/s, and burst what was risen beyond it since it
	// was the slope, K.
	base, burst float64

	// peak and steepest are those of the rise in hand, harmless those of the rises that
	// ended below the limit.
	peak, steepest float64
	harmless       struct {
		peak, steepest float64
		rises          int
	}
	past past
}

// remembered is how long a level counts as lately held.
const remembered = 12 * time.Minute

// poke is how long after a level fell it is come back to by gas alone, behind a door that was
// open for a moment; later it takes a fire (judgement).
const poke = 3 * time.Minute

// lasting is the time in which what is new about a slope becomes what has lasted: that of
// brick and steel (judgement).
const lasting = 10 * time.Minute

// Shares of the way from the room to the limit: above the first, slopes are compared; by
// the second, a level must have fallen for its rise to be over; a peak no further than the
// third below the limit was neither harmless nor a crossing.
const (
	compared = 0.3
	over     = 0.08
	hair     = 0.02
)

func (c *course) step(at time.Duration, s state, room, limit float64) {
	if !s.known || c.has && at <= c.last {
		return
	}
	switch {
	case !c.dipped && c.recovering(s):
		c.dipped, c.dippedAt = true, at
	case c.dipped:
		c.dipped = s.level < c.held
	}
	// What it rose while it came back counts for nothing.
	if !c.has || s.level <= c.trough || s.slope < float64(2*s.slopeError) || c.dipped {
		c.trough = s.level
	}
	if !c.has || s.level >= c.held || at-c.heldAt > remembered {
		c.held, c.heldAt = s.level, at
	}
	c.follow(at, s)
	c.has, c.last, c.level = true, at, s.level

	way := limit - room
	c.peak = max(c.peak, s.level)
	if s.level > room+float64(compared*way) {
		c.steepest = max(c.steepest, s.slope)
	}
	if s.slope < 0 && s.level < c.peak-float64(over*way) {
		if h := &c.harmless; c.peak < limit && c.steepest > 0 {
			h.peak, h.steepest = max(h.peak, c.peak), max(h.steepest, c.steepest)
			h.rises++
		}
		c.past.end(c.peak < limit-float64(hair*way), c.peak >= limit)
		c.peak, c.steepest = s.level, 0
	}
}

// follow tells what is new about the slope from what has lasted.
func (c *course) follow(at time.Duration, s state) {
	if !c.has || s.slope <= c.base {
		c.base, c.burst = max(0, s.slope), 0
		return
	}
	dt := at - c.last
	c.burst = max(0, c.burst+s.level-c.level-float64(c.base*dt.Seconds()))
	c.base = signal.Toward(c.base, s.slope, dt, lasting)
}

// recovering reports whether the level lies clearly below one that was held lately.
func (c *course) recovering(s state) bool {
	return c.has && s.level < c.held-float64(3*s.noise)-5
}

// What is believed of a rise that does not slow down: that it adds at most so many times
// what it has risen already, and that it goes on for at most so long, s (judgement, from
// the time constants of brick and steel in such furnaces). A log that rolls, flames that
// take hold of a piece and a poke lift a temperature that rises already, and die away with
// what they burn: of what is new about a slope no more is believed than has come of it.
const (
	mostShare  = 2.0
	usually    = 480.0
	longer     = 720.0
	burstShare = 1.0
	atLeast    = 60.0
	steeper    = 1.3 // times what was harmless: odd
)

// belief is how much of a rise is believed.
type belief struct {
	longest    float64 // time constant of a rise that does not slow down, s
	share      float64 // of what it promises is kept
	burst      float64 // K/s of the slope are new,
	burstsOver float64 // and have this time constant at the most, s
	back       bool    // it only comes back to where it was
}

// believe says what is believed of the rise in hand. More is believed of a fire with more
// air than is specified, and of a rise that is steeper and higher than those that this
// furnace has shown to be harmless; less of the first one and of one like those.
func (c *course) believe(s state, driven bool) belief {
	b := belief{longest: usually, share: kept}
	h := &c.harmless
	if !driven && (h.rises == 0 || s.slope <= h.steepest && s.level <= h.peak) {
		b.share = keptAtFirst
	}
	if driven || h.rises > 0 && s.level > h.peak && s.slope > float64(steeper*h.steepest) {
		b.longest = longer
	}
	switch {
	case s.slope <= 0:
		return b
	case c.dipped && c.last-c.dippedAt <= poke:
		b.longest, b.back = max(1, (c.held-s.level)/s.slope), true
	default:
		b.longest = min(b.longest, max(atLeast, float64(mostShare*(s.level-c.trough))/s.slope))
	}
	if b.burst = max(0, s.slope-c.base); b.burst > 0 {
		b.burstsOver = max(atLeast, float64(burstShare*c.burst)/b.burst)
	}
	return b
}
