package burn

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/heat"
)

// The blower is told by the plenum: still air heats up at the exchanger until it starts,
// then the plenum falls or stays as cold air comes. 105 °F is where it usually starts
// (common practice, no source).
const (
	fanUsual = 41.0 // °C
	fanDrop  = 1.5  // K below the top
	fanBack  = 2 * time.Minute
	fanRise  = 6.0 // K over the return air: less is no fan start
)

// fan is whether the blower runs, as far as the plenum tells.
type fan struct {
	started How
	at      time.Duration // of the first start since the furnace was cold
	runs    bool

	top   float64
	topAt time.Duration
	over  bool // fanUsual was passed
	hotAt time.Duration
}

// step takes the plenum; the caller forgets it when the furnace is cold.
func (f *fan) step(at time.Duration, v *frame.Values) {
	p := v[frame.Plenum]
	rise := warmed(v)
	if math.IsNaN(p) || math.IsNaN(rise) {
		f.runs = false
		return
	}
	if f.topAt == 0 || p >= f.top {
		f.top, f.topAt = p, at
	}
	if !f.over && p >= fanUsual {
		f.over, f.hotAt = true, at
	}
	switch {
	case f.started == Observed:
	case f.top-p >= max(fanDrop, 0.05*rise) && at-f.topAt <= fanBack && f.top-p+rise >= fanRise:
		f.started, f.at = Observed, f.topAt
	case f.over && f.started == NotKnown && at-f.hotAt >= fanBack:
		// Nothing to be seen at the usual temperature: it started smoothly, or will later.
		f.started, f.at = Inferred, f.hotAt
	}
	f.runs = f.started != NotKnown && rise >= fanRise
}

// warmed is the temperature rise of the warm air over the furnace, K; NaN where the
// readings do not give it.
func warmed(v *frame.Values) float64 {
	return v[frame.Plenum] - v.Or(frame.Return, v[frame.Room])
}

// carried is the heat in W that the flow in m³/s at the plenum carries at the rise in K.
func carried(flow float64, v *frame.Values, rise float64) float64 {
	return heat.CarriedHeat(flow, v[frame.Plenum], v.Or(frame.Ambient, gas.SeaLevel), rise)
}
