package plausible

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

// A chimney that begins to draw, and in which the gas begins to stir, has a fire under it
// even if every probe in the gas reads the room: then they were left beside the pipe. A
// fan in the house changes the level alone, and wind its swing as well. Where the warm air
// warms too, half as much will do, and its swing is that of the rise; that air alone may be
// warmed by another furnace.
const (
	leftRise   = 8.0 // K over the room: not in the gas
	leftLearns = 5 * time.Minute
	leftDraws  = 6.0  // Pa more than the cold chimney
	leftSwing  = 2.0  // times the draft's own swing more
	leftStirs  = 1.5  // times its movement, with what the sensor hears of itself
	leftWarm   = 12.0 // K of the warm air over the room
	leftWithin = 2.0  // Pa: weather
	leftFor    = 5 * time.Minute
	leftCalms  = 3.0 // Pa: the fire is out
)

// left follows the draft of a furnace that reads cold.
type left struct {
	level, movement float64 // Pa and Pa², of the cold chimney
	seen, lit       time.Duration
	found           bool
}

// leftOut finds that no probe is in the gas.
func (r *Rules) leftOut(in Inputs, dt time.Duration, found *Findings) {
	l, c := &r.left, &r.courses[frame.Draft]
	if in.Phase.Fire() || in.Phase == burn.Unknown && !l.found || !c.fresh() || !r.atRoom(in) {
		*l = left{}
		return
	}
	l.seen += dt
	level := r.draft.calm
	switch more := level - l.level; {
	case l.seen <= leftLearns || more < 0:
		l.level, l.movement = level, c.usual
	case more < leftWithin:
		l.level = signal.Toward(l.level, level, dt, time.Hour)
		l.movement = signal.Toward(l.movement, c.usual, dt, time.Hour)
	}
	more := level - l.level
	draws, stirs := leftDraws+float64(leftSwing*r.draft.gusts()), c.usual >= float64(leftStirs*leftStirs*l.movement)
	if in.Values[frame.Plenum]-r.room >= leftWarm {
		draws, stirs = leftDraws/2+float64(leftSwing*math.Sqrt(c.usual)), true
	}
	l.lit = lasting(l.lit, dt, more >= draws && stirs)
	l.found = l.lit >= leftFor || l.found && more >= leftCalms
	if l.found {
		for _, c := range heated {
			found.add(c, ProbeOut)
		}
	}
}

// atRoom reports whether there are probes in the gas' places and all read the room.
func (r *Rules) atRoom(in Inputs) bool {
	any := false
	for _, c := range heated {
		if !in.Values.Has(c) {
			continue
		}
		if math.Abs(in.Values[c]-r.room) > leftRise {
			return false
		}
		any = true
	}
	return any
}
