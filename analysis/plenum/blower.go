package plenum

import (
	"math"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/portable"
)

// What turns, climbs and standing still are. A blower's switch is adjustable from 100 to
// 140 °F (38 to 60 °C) on such furnaces (common practice, no source).
const (
	lowestOn  = 38.0 // °C: what seems to be less is no start
	highestOn = 60.0 // °C
	unknownOn = 15.0 // K above that, while nothing is known: a first fire heats the air quickly too
	beyond    = 10.0 // K above the fan-on temperature
	// Where the blower's air is heated, its rise over the flue's is η/(1−η) times the flows'
	// heat capacities. A kW of heat takes 25 g/s of air for a rise of 40 K, and 0.8 g/s of gas
	// at twice the air that wood needs: at an efficiency of 0.85 that is 0.2.
	wellBeyond = 15.0
	soaked     = 0.25
	ordinary   = 0.14 // at an efficiency of 0.75 to 0.8: what blowers that run have
	warm       = 12.0 // K over the cold air: less has no blower started
	rising     = 0.6  // K/min before a turn
	falling    = -0.4 // K/min behind it
	turning    = 1.5  // K/min between both
	leap       = 4.0  // K/min: the hottest air pushed past the probe
	climbing   = 1.0  // K/min, minute after minute
	newGround  = 3.0  // K above what the quarter of an hour has seen: no return from a low
	unbounded  = 0.08 // growth of the rise, as a logarithm over three minutes, without the fire's
	sure       = 9    // bins: a leap of the hottest air is over sooner
	outgrown   = 1.7  // times the rise that the fire makes with flow; a low speed is 0.6 of the high one
	steady     = 0.3  // K/min over five minutes
	fire       = 60.0 // K of the flue over the cold air
	dying      = 0.97 // of the fire's heat two minutes before: the fire goes down
)

// powers are by which the heat goes with the flue's rise, whose gas grows too, and with that
// of the gas upstream (judgement).
var powers = [2]float64{1.5, 2}

// seen is a temperature that was seen, °C.
type seen struct {
	value float64
	seen  bool
}

// blower is what the plenum's course tells of it.
type blower struct {
	flow    Flow
	verdict alarm.Verdict
	on, off seen
	low     seen    // where it may have stopped
	top     float64 // °C, hottest since it stopped
	starts  starts
	ran     bool       // in this burn
	shares  [2]float64 // rise of the air over the fire's, while it stood still with flow; 0 for unknown
	turned  int        // bins since the last turn
	lasts   int        // bins for which it has climbed without flow, beyond where it starts
}

// lose forgets what holds now; what was learned stays.
func (b *blower) lose() {
	b.flow, b.verdict, b.low, b.turned, b.lasts = Unknown, alarm.Blind, seen{}, 0, 0
}

// step judges the course whenever a bin is closed.
func (b *blower) step(c *course, phase burn.Phase, now time.Duration) {
	air := c.back(0).air
	b.turned++
	if math.IsNaN(air) {
		return
	}
	before, behind := c.climb(2*minute, minute), c.climb(minute, 0)
	level := b.beyondOn(beyond)
	burning := phase.Fire() || burns(c)
	switch {
	case b.startedIn(c, before, behind):
		b.start(c, now)
	case b.stoppedIn(c, before, behind):
		b.low, b.flow = seen{lowest(c, 2*minute), true}, Still
		b.turned = 0
	}
	if b.verdict == alarm.Present {
		b.top = max(b.top, air)
		b.lasts = 0
		if air < level-5 || air < b.top-max(3, float64(0.1*(b.top-c.back(0).cold))) {
			b.verdict = alarm.Absent
			b.flow = Unknown
		}
		return
	}
	b.verdict = alarm.Absent
	if !burning {
		b.ran, b.lasts = false, 0
		return
	}
	lag := 6 * minute // of the exchanger behind the fire
	if b.ran {
		lag = kept // and of the plenum behind a blower that has been seen to run
	}
	// No air is hotter than the gas that heats it: that is another probe's wire.
	rise, flue := c.rise(0), c.heated(0, 0)
	climbs := climbsOn(c) && !(rise >= flue) && !(rise < float64(ordinary*flue))
	climbs = climbs && (b.soaks(c) || unexplained(c, lag) || b.outgrown(c))
	if climbs && air >= level {
		b.lasts++
	} else {
		b.lasts = max(0, b.lasts-1)
	}
	switch {
	case b.lasts >= sure:
		b.verdict, b.top, b.flow = alarm.Present, air, Still
	case climbs:
		b.verdict = alarm.Between
	case standsStill(c):
		b.flow, b.ran = Moving, true
		for i := range b.shares {
			b.shares[i] = max(0, c.rise(0)/c.heated(i, 0))
		}
	}
}

// beyondOn is so far above where the blower starts, K; while that is not known, what is above
// any start.
func (b *blower) beyondOn(by float64) float64 {
	if b.on.seen {
		return max(b.on.value, lowestOn) + by
	}
	return highestOn + unknownOn
}

// burns reports a fire that is hot enough to tell by itself.
func burns(c *course) bool { return c.heated(0, 0) >= fire || c.heated(1, 0) >= fire }

// soaks reports air, far beyond where the blower starts, that has more of the flue's rise
// than the heat balance of a running blower allows.
func (b *blower) soaks(c *course) bool {
	return c.back(0).air >= b.beyondOn(wellBeyond) && c.rise(0) >= float64(soaked*c.heated(0, 0)) // NaN is not less
}

// outgrown reports a plenum whose rise has left behind by far what the fire's hottest
// quarter of an hour makes of it with flow, by the flue or, without one, by what is
// upstream. A blower that steps down to its low speed changes it by less.
func (b *blower) outgrown(c *course) bool {
	for i, share := range b.shares {
		if hottest := c.hottest(i); share > 0 && hottest > 0 {
			return c.rise(0) > float64(outgrown*float64(share*hottest))
		}
	}
	return false
}

// startedIn reports a turn downwards that the fire does not explain.
func (b *blower) startedIn(c *course, before, behind float64) bool {
	return b.turned > 2*minute && c.rise(minute) >= warm &&
		before >= rising && behind <= falling && before-behind >= turning &&
		!wanes(c)
}

// wanes reports a fire that went down before the turn: behind it the blower cools the flue.
func wanes(c *course) bool {
	for i := range 2 {
		if c.heated(i, minute) < float64(dying*c.heated(i, 3*minute)) {
			return true
		}
	}
	return false
}

// stoppedIn reports a turn upwards, of a plenum that had flow, below where it started.
func (b *blower) stoppedIn(c *course, before, behind float64) bool {
	return b.turned > 2*minute && b.flow == Moving && b.on.seen && c.back(minute).air < b.on.value &&
		before <= 0 && behind >= rising && behind-before >= turning
}

func (b *blower) start(c *course, now time.Duration) {
	if on := kink(c); on >= lowestOn-beyond {
		b.on = seen{on, true}
	}
	if b.low.seen && b.low.value < b.on.value {
		b.off = b.low
	}
	b.low = seen{}
	b.flow, b.ran = Moving, true
	b.verdict = alarm.Absent
	b.turned = 0
	b.starts.add(now)
}

// kink finds where a turn began: before a leap if there is one, else at the top.
func kink(c *course) float64 {
	top := math.Inf(-1)
	at := 0
	for i := range 2 * minute {
		if v := c.back(i).air; v > top {
			top, at = v, i
		}
	}
	usual := c.climb(at+2*minute, at+minute)
	found := top
	for i := at; i < at+minute && i+3 < c.filled; i++ {
		// The climb over 15 s that ends at bin i.
		s := float64((c.back(i).air - c.back(i+3).air) * (minute / 3))
		if !(s >= leap && s >= float64(3*usual)) {
			continue
		}
		found = c.back(i + 3).air
	}
	return found
}

// lowest is the least air of the last n bins.
func lowest(c *course, n int) float64 {
	low := math.Inf(1)
	for i := range n {
		if v := c.back(i).air; v < low {
			low = v
		}
	}
	return low
}

// climbsOn reports a climb that goes on, minute after minute.
func climbsOn(c *course) bool {
	for m := range 3 {
		if !(c.climb((m+1)*minute, m*minute) >= climbing) {
			return false
		}
	}
	// Evenly: a leap is a blower that starts, and behind it comes the turn.
	mean := c.climb(3*minute, 0)
	for h := range 6 {
		half := c.climb((h+1)*minute/2, h*minute/2)
		if half > 1.5+float64(2*mean) || h == 0 && !(half >= climbing) {
			return false
		}
	}
	for i := 3 * minute; i < c.filled; i++ {
		if c.back(i).air > c.back(0).air-newGround { // NaN is not more
			return false
		}
	}
	return true
}

// unexplained reports a climb that the fire's own growth within so many bins does not
// explain.
func unexplained(c *course, lag int) bool {
	then := c.rise(3 * minute)
	grown := portable.Log(c.rise(0) / then)
	// An exchanger that nothing cools heats the flue as well: it is the less of what the
	// flue and what is upstream of it have grown by that can be the fire's doing.
	fires, known := math.Inf(1), false
	for i, power := range powers {
		// Gas only cools on its way: what is no hotter than the flue tells of no fire.
		if heat := c.heated(i, 0); !math.IsNaN(heat) && !(heat < c.heated(0, 0)) {
			// The exchanger is minutes behind the fire.
			fires, known = min(fires, float64(power*portable.Log(max(1, heat/c.coolest(i, lag))))), true
		}
	}
	if known {
		grown -= fires
	}
	return grown >= unbounded
}

// standsStill reports a warm plenum that neither climbs nor falls above a fire.
func standsStill(c *course) bool {
	return c.rise(0) >= warm && burns(c) && math.Abs(c.climb(5*minute, 0)) <= steady
}

// starts remembers the latest starts.
type starts struct {
	at [32]time.Duration
	n  int
}

func (s *starts) add(at time.Duration) {
	s.at[s.n%len(s.at)] = at
	s.n++
}

// within counts those of the last hour.
func (s *starts) within(now time.Duration) int {
	n := 0
	for i := range min(s.n, len(s.at)) {
		if now-s.at[i] <= time.Hour {
			n++
		}
	}
	return n
}
