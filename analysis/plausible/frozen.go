package plausible

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// A value that repeats is stuck if the channel's own noise never let it repeat for
// nearly so long, or if its neighbours in the same gas have moved meanwhile. A log that is
// rounded or free of noise repeats too, so either needs its evidence.
const (
	stuckAfter   = 5 * time.Minute
	stuckShare   = 5                // times the longest that it ever repeated
	stuckLooks   = 30               // readings
	knownAfter   = 10 * time.Minute // of noise
	firesNoise   = 60.0             // K over the room: the fire stirs the gas at the probe
	besideAfter  = 3 * time.Minute
	besideRise   = 40.0 // K over the room: it is in the gas
	besideSteps  = 6.0
	besideLeast  = 1.5 // K
	upstream     = 4.0
	besideMoved  = 40.0 // K that another probe in the gas has moved meanwhile
	stillWithin  = 1.5  // K that the level of a stuck chip with noise behind it moves
	stillMoved   = 100.0
	stillMarks   = 20   // 10 min
	stillHot     = 60.0 // K over the room
	aliveChanges = 20   // of the value: before that it is not known to move at all
	longKnown    = 20 * time.Minute
	longAfter    = 12 * time.Minute
	longShare    = 10
	longQuantum  = 0.5 // K: a coarser reading rests for longer
	coarse       = 1.0 // K: and one that is coarser still for no one knows how long
	coarseAfter  = 15 * time.Minute
	longPascals  = 0.3              // Pa
	aloneFor     = 15 * time.Second // a log that repeats everything goes on at once
	othersMoving = time.Minute
)

// frozen is what is known of a channel's repeating, without a fire and with one: flames
// stir what a cold furnace leaves in peace.
type frozen struct {
	noisy   [2]time.Duration // so long has it had noise
	longest [2]time.Duration // it repeated
	run     time.Duration
	alone   time.Duration // too long, and the only one
	lived   time.Duration // beside a fire
	changes int           // of its value so far
	still   bool          // found by the trail
	stuck   bool
}

// stuck finds values that have stopped.
func (r *Rules) stuck(in Inputs, dt time.Duration, marked bool, found *Findings) {
	regime := 0
	for _, c := range heated {
		if in.Values[c]-r.room >= firesNoise {
			regime = 1
		}
	}
	for i := range r.frozen {
		c := frame.Channel(i)
		f, course := &r.frozen[i], &r.courses[i]
		if !course.fresh() {
			continue
		}
		if course.repeats == 0 {
			if !f.stuck {
				f.longest[regime] = max(f.longest[regime], f.run)
			}
			f.stuck = false
			f.changes = min(f.changes+1, aliveChanges)
			if course.noisy(course.brief) {
				f.noisy[regime] += dt
			}
		}
		f.run = course.same
		if regime == 1 && f.run < othersMoving {
			f.lived += dt
		}
		alone := course.repeats >= stuckLooks && c != frame.Draft &&
			(f.noisy[regime] >= knownAfter && course.same >= max(stuckAfter, stuckShare*f.longest[regime]) ||
				c <= frame.Flue && r.tooLong(f, course)) || c == frame.Draft && r.draftStands(f, course)
		f.alone = lasting(f.alone, dt, alone && r.anotherMoves(c))
		f.stuck = f.stuck || f.alone >= aloneFor
		if marked {
			f.still = r.stillBeside(c, found)
		}
		if f.stuck || f.still {
			found.add(c, Frozen)
		}
	}
}

// tooLong reports whether a probe in a fire's gas has said the same for much longer than
// it ever did in this fire. A fire that calms down comes to that by degrees.
func (r *Rules) tooLong(f *frozen, c *course) bool {
	after := longAfter
	if c.quantum > longQuantum {
		after = coarseAfter
	}
	return c.value-r.room >= firesNoise && f.changes >= aliveChanges && f.lived >= longKnown &&
		c.quantum <= coarse && c.same >= max(after, longShare*f.longest[1])
}

// draftStands reports the same of a draft that is one: gas that flows is never still. One
// that stands at nothing may be a chimney that has stalled.
func (r *Rules) draftStands(f *frozen, c *course) bool {
	return c.value >= strong && f.changes >= aliveChanges && f.lived >= knownAfter &&
		c.quantum <= longPascals && c.same >= max(longAfter, longShare*f.longest[1])
}

// anotherMoves tells a stuck channel from a log that repeats everything.
func (r *Rules) anotherMoves(c frame.Channel) bool {
	for i := range r.courses {
		o := &r.courses[i]
		if frame.Channel(i) != c && o.fresh() && o.same < othersMoving {
			return true
		}
	}
	return false
}

// stillBeside reports whether a probe in the fire's gas stands still while another one
// moves a good deal.
func (r *Rules) stillBeside(c frame.Channel, found *Findings) bool {
	if c != frame.Firebox && c != frame.Chamber && c != frame.Flue {
		return false
	}
	course := &r.courses[c]
	if r.frozen[c].changes < aliveChanges {
		return false
	}
	var level bool
	if r.trail.count > stillMarks {
		low, high := r.trail.bounds(c, stillMarks)
		level = low-r.room >= stillHot && high-low <= max(stillWithin, float64(0.5*math.Sqrt(course.usual)))
	}
	f := &r.frozen[c]
	rise := course.value - r.room
	same := rise >= besideRise && course.repeats >= stuckLooks/2 &&
		course.same >= max(besideAfter, stuckShare*max(f.longest[0], f.longest[1]))
	over := min(int(course.same/mark)-2, longAgo) // levels lag
	for _, o := range heated {
		if o == c || r.distrusted(o, found) {
			continue
		}
		if o == frame.Flue && (r.burntBehind() || r.trail.gained(o, quickMarks) >= shotUp) {
			continue // what burns in the flue moves nothing upstream
		}
		// By its own share of what the other moved the channel would have gone over many of
		// its steps. The flue moves with its exchanger too, and wood falls against the
		// firebox's probe and off again: what they do says less of what is upstream.
		moved := r.moved(o, over)
		follows := float64(besideSteps*course.quantum) + besideLeast
		if c != frame.Flue {
			follows *= upstream
		}
		if same && (moved >= besideMoved || float64(moved*rise) >= float64(follows*(r.courses[o].level-r.room))) {
			return true
		}
		if level && o != frame.Firebox && r.moved(o, stillMarks) >= stillMoved {
			return true
		}
	}
	return false
}

// moved is how far a channel's level has moved over the latest marks, K.
func (r *Rules) moved(c frame.Channel, over int) float64 {
	low, high := r.trail.bounds(c, over)
	return high - low
}
