package forecast

import "time"

// course is what the rise in hand has been so far, and what earlier ones came to.
type course struct {
	// trough is the level from which the channel rises, held the highest one of the last
	// minutes: coming back to it from behind an open door is no runaway.
	trough, held float64
	heldAt       time.Duration
	has          bool

	// peak and steepest are those of the rise in hand, harmless those of the rises that
	// ended below the limit.
	peak, steepest float64
	harmless       struct {
		peak, steepest float64
		rises          int
	}
}

// remembered is how long a level counts as lately held.
const remembered = 12 * time.Minute

// Shares of the way from the room to the limit: above the first, slopes are compared; by
// the second, a level must have fallen for its rise to be over.
const (
	compared = 0.3
	over     = 0.08
)

func (c *course) step(at time.Duration, s state, room, limit float64) {
	if !s.known {
		return
	}
	// What it rose while it came back counts for nothing.
	if !c.has || s.level <= c.trough || s.slope < float64(2*s.slopeError) || c.recovering(s) {
		c.trough = s.level
	}
	if !c.has || s.level >= c.held || at-c.heldAt > remembered || at < c.heldAt {
		c.held, c.heldAt = s.level, at
	}
	c.has = true

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
		c.peak, c.steepest = s.level, 0
	}
}

// recovering reports whether the level lies clearly below one that was held lately.
func (c *course) recovering(s state) bool {
	return c.has && s.level < c.held-float64(3*s.noise)-5
}

// What is believed of a rise that does not slow down: that it adds at most so many times
// what it has risen already, and that it goes on for at most so long, s (judgement, from
// the time constants of brick and steel in such furnaces).
const (
	usualShare  = 1.0
	oddShare    = 2.0
	drivenShare = 2.0
	usually     = 480.0
	longer      = 720.0
	atLeast     = 60.0
	steeper     = 1.3 // times what was harmless: odd
)

// share is how much is kept of what the rise promises: less of the first one, and of one
// like those that this furnace has shown to be harmless.
func (c *course) share(s state, driven bool) float64 {
	h := &c.harmless
	if !driven && (h.rises == 0 || s.slope <= h.steepest && s.level <= h.peak) {
		return keptAtFirst
	}
	return kept
}

// longest is the longest time constant in s that is believed of the rise in hand. More is
// believed of a fire with more air than is specified, and of a rise that is steeper and
// higher than those that this furnace has shown to be harmless.
func (c *course) longest(s state, driven bool) float64 {
	share, most := usualShare, usually
	h := &c.harmless
	switch {
	case driven:
		share, most = drivenShare, longer
	case h.rises > 0 && s.level > h.peak && s.slope > float64(steeper*h.steepest):
		share, most = oddShare, longer
	}
	if s.slope <= 0 {
		return most
	}
	return min(most, max(atLeast, float64(share*(s.level-c.trough))/s.slope))
}
