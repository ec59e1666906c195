package forecast

import "time"

// course is what the rise in hand has been so far.
type course struct {
	// trough is the level from which the channel rises, held the highest one of the last
	// minutes: coming back to it from behind an open door is no runaway.
	trough, held float64
	heldAt       time.Duration
	has          bool
}

// remembered is how long a level counts as lately held.
const remembered = 12 * time.Minute

func (c *course) step(at time.Duration, s state) {
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
}

// longest is the longest time constant in s that is believed of the rise in hand.
func (c *course) longest(s state, air bool) float64 {
	share, most := usualShare, usually
	if air {
		share, most = drivenShare, driven
	}
	if !c.has || s.slope <= 0 {
		return most
	}
	risen := s.level - c.trough
	return min(most, max(recovering, float64(share*risen)/s.slope))
}

// recovering reports whether the level lies clearly below one that was held lately.
func (c *course) recovering(s state) bool {
	return c.has && s.level < c.held-float64(3*s.noise)-5
}
