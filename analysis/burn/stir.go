package burn

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/signal"
)

// Embers light wood without flames: for an hour and more the flue stays colder than beside
// any other fire, and what smoulders gives off carbon monoxide all the while. Nothing else
// warms the gas before the flue by so much, and the flue with it, in a chimney that draws: a
// probe in warm brick climbs when the draft is gone, but then the flue does not.
const (
	stirUpstream = 25.0 // K that firebox or chamber has warmed since it was coldest
	stirFlue     = 8.0  // and the flue (judgement, both)
	stirsLeft    = 15.0 // K by which it is warmer still while the fire is not out

	// stirOver is how slowly the coldest is forgotten: days and seasons warm a furnace too.
	stirOver = 3 * time.Hour
)

// stir is a fire that comes back so. The zero value has seen nothing.
type stir struct {
	known [frame.Count]bool
	low   [frame.Count]float64 // coldest of late since the fire was out, °C
	slow  bool                 // the present burn began so, and has not burnt up
}

// follow keeps how cold the channels of a cold furnace have been.
func (s *stir) follow(dt time.Duration, courses *[frame.Count]course) {
	for _, c := range fires {
		if k := &courses[c]; k.seen && !s.known[c] {
			s.known[c], s.low[c] = true, k.once
		} else if k.seen {
			s.low[c] = min(k.once, signal.Toward(s.low[c], k.once, dt, stirOver))
		}
	}
}

// stirs reports whether something smoulders in the cold furnace.
func (t *Tracker) stirs(v *frame.Values) bool {
	return t.pulls(v) && t.warmed(frame.Flue) >= stirFlue && t.warmedUpstream() >= stirUpstream
}

// smoulders reports whether what began so, and never burnt up, goes on. A channel without a
// reading is where it was: a wire that comes off ends no fire.
func (t *Tracker) smoulders() bool { return t.stir.slow && t.warmedUpstream() >= stirsLeft }

// warmed is how much warmer than its coldest a channel is, K; 0 where nothing tells.
func (t *Tracker) warmed(c frame.Channel) float64 {
	if !t.courses[c].seen || !t.stir.known[c] {
		return 0
	}
	return t.courses[c].once - t.stir.low[c]
}

func (t *Tracker) warmedUpstream() float64 {
	return max(t.warmed(frame.Firebox), t.warmed(frame.Chamber))
}
