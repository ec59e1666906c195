package burn

import (
	"math"
	"time"

	"fluewright/analysis/signal"
)

// Time constants. A door stands open for half a minute, a sheath follows in one: the quick
// average must see the first and the course must not.
const (
	quickOver  = 6 * time.Second
	courseOver = time.Minute
	farOver    = 10 * time.Minute // longer than a flare, shorter than a fire's way up
	noiseOver  = 5 * time.Minute
	// maxGap is the longest silence over which an average is carried on.
	maxGap = 2 * time.Minute
)

// course is a temperature followed: where it is and where it was going. The zero value has
// seen nothing.
type course struct {
	seen       bool
	last       float64
	quick      float64 // average over quickOver
	once, more float64 // averaged once and twice over courseOver: level and slope (Brown)
	far        float64 // average over farOver
	noise      float64 // variance of a reading
	sway       float64 // variance of quick about the course, in the last minutes
}

// step takes a reading dt after the one before.
func (c *course) step(dt time.Duration, v float64) {
	if math.IsNaN(v) {
		return
	}
	if !c.seen {
		*c = course{seen: true, last: v, quick: v, once: v, more: v, far: v}
		return
	}
	if dt <= 0 {
		return
	}
	moved := v - c.last
	c.last = v
	c.far = signal.Toward(c.far, v, dt, farOver)
	if dt > maxGap {
		// Two readings far apart still tell the slope.
		per := float64(moved / dt.Seconds() * courseOver.Seconds())
		c.quick, c.once, c.more = v, v-per, v-float64(2*per)
		return
	}
	c.quick = signal.Toward(c.quick, v, dt, quickOver)
	c.once = signal.Toward(c.once, v, dt, courseOver)
	c.more = signal.Toward(c.more, c.once, dt, courseOver)
	// The slope's share of a step is no noise.
	jitter := moved - float64(c.slope()*dt.Seconds())
	c.noise = signal.Toward(c.noise, float64(jitter*jitter/2), dt, noiseOver)
	off := c.quick - c.level()
	c.sway = signal.Toward(c.sway, float64(off*off), dt, noiseOver)
}

// level is where the course is, without the lag of its averages.
func (c *course) level() float64 { return float64(2*c.once) - c.more }

// slope is how it goes, K/s.
func (c *course) slope() float64 { return (c.once - c.more) / courseOver.Seconds() }

// sigma is the standard deviation of a reading, at least what a 0.25 °C step gives.
func (c *course) sigma() float64 { return max(0.1, math.Sqrt(c.noise)) }

// frozen is a course at the moment when a door may have been opened.
type frozen struct{ level, slope, sway, far float64 }

func (c *course) freeze() frozen {
	if !c.seen {
		return frozen{level: math.NaN()}
	}
	return frozen{c.level(), c.slope(), math.Sqrt(c.sway), c.far}
}

// How far a course is carried on: a fall goes on for longer than a rise, which every fire
// bends down.
const (
	fallOn = 10 * time.Minute
	riseOn = 2 * time.Minute
)

// after is where the course would be d later without the door, not below floor.
func (f frozen) after(d time.Duration, floor float64) float64 {
	on := min(d, riseOn)
	if f.slope < 0 {
		on = min(d, fallOn)
	}
	return max(f.level+float64(f.slope*on.Seconds()), min(floor, f.level))
}

// swing follows the turning points of a temperature. It needs no time constant, so that it
// also works on readings ten minutes apart.
type swing struct {
	seen    bool
	up      bool
	extreme float64 // lowest on the way down, highest on the way up
	at      time.Duration
	low     float64 // where the present rise began
	lowAt   time.Duration
}

// A turn is told by this share of the temperature's rise over the room and by this many K.
const (
	turnShare = 0.06
	turnLeast = 5.0
)

func (s *swing) step(at time.Duration, v, room float64) {
	if !s.seen {
		*s = swing{seen: true, extreme: v, at: at}
		return
	}
	back := max(turnLeast, float64(turnShare*(s.extreme-room)))
	switch {
	case s.up && v >= s.extreme, !s.up && v <= s.extreme:
		s.extreme, s.at = v, at
	case s.up && v < s.extreme-back:
		s.up, s.extreme, s.at = false, v, at
	case !s.up && v > s.extreme+back:
		s.low, s.lowAt = s.extreme, s.at
		s.up, s.extreme, s.at = true, v, at
	}
}
