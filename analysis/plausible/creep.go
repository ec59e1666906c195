package plausible

import (
	"math"
	"time"
)

// Without a fire a chimney's draft follows the weather. What takes it further than that by
// degrees, calmly and with no gust or fan, is the sensor's own zero. A chimney that still
// cools loses draft by degrees too, but not more than all that it had.
const (
	creepBy      = 1.5 // Pa
	creepWinds   = 8.0 // times what the draft moves more: windsMost, and half of a gust between two readings
	creepSwings  = 2.0 // times its swing: a steady wind pulls about twice what its gusts do
	creepSettles = 20 * time.Minute
	creepSudden  = 1.0 // Pa within minutes, and its own swing: a fan or the wind
	unseenSky    = 3.0 // K an hour that it may grow warmer or colder where nobody measures it
	unseenMost   = 20.0
	warmest      = 3.0 // K over the room's, outdoors, where nobody measures it and a fire is wanted
)

// creep is where the draft of a cold chimney was.
type creep struct {
	settled       time.Duration
	has           bool
	was, moved    float64 // Pa, and how it moved
	outdoor, room float64 // °C
	age           time.Duration
	gone          float64 // Pa, from there, when that was found too far; zero before
}

// step takes how far the draft is off its course, over half a minute, its level over
// coldOver, its swing about that and its movement from reading to reading. cold says that
// it has been so for long enough to tell, cooled that no fire's warmth can be left.
func (c *creep) step(h column, dt time.Duration, cold, cooled bool, off, calm, swing, moves, outdoor, room float64) bool {
	if !cold {
		*c = creep{}
		return false
	}
	if math.Abs(off) > creepSudden+swing && c.gone == 0 {
		*c = creep{}
	}
	if c.settled += dt; c.settled < creepSettles {
		return false
	}
	if !c.has {
		c.has, c.was, c.moved, c.outdoor, c.room = true, calm, moves, outdoor, room
	}
	c.age += dt
	// Of the chimney full of the room's air, or of the tallest: a lower one gains or loses less.
	weather := h.stack(outdoor, room) - h.stack(c.outdoor, c.room)
	gains, loses := max(0, weather), min(0, weather)
	if math.IsNaN(weather) {
		sky := min(unseenMost, float64(unseenSky*c.age.Hours())) + math.Abs(room-c.room)
		// No lower chimney has this draft on so warm a day, nor feels the weather so much.
		now := max(coldestDay, min(hottestDay, h.outdoors(c.was, room)))
		gains = h.stack(now-sky, room) - h.stack(now, room)
		loses = -gains
	}
	by := calm - c.was
	if c.gone != 0 { // it stays found until most of it has come back
		if by/c.gone > 0.5 {
			return true
		}
		c.gone = 0
	}
	gone := by
	if !cooled && by < 0 {
		by = min(0, calm-min(c.was, 0)) // what is lost below nothing
		if math.IsNaN(weather) {
			loses = max(loses, h.stack(room+warmest, room))
		}
	}
	by -= max(loses, min(gains, by))
	allowed := creepBy + float64(creepWinds*max(0, moves-c.moved)) + float64(creepSwings*swing)
	if math.Abs(by) > allowed {
		c.gone = gone
	}
	return c.gone != 0
}
