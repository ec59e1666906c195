package night

import (
	"math"
	"math/rand/v2"
	"time"

	"fluewright/analysis/frame"
)

// Fault is what is wrong with a sensor from some moment on.
type Fault struct {
	Kind           FaultKind
	Channel, Other frame.Channel // Other for swapped wires
	From           time.Duration
	Rate, Most     float64 // of a drift: per hour, and how far it goes, in the channel's unit

	caught bool // in its grip, with the reading of that moment
	held   float64
}

// FaultKind is a way for a sensor to fail.
type FaultKind string

// The ways.
const (
	Dead        FaultKind = "dead"         // no reading
	Out         FaultKind = "out"          // the probe hangs in the room
	HalfOut     FaultKind = "half-out"     // the tip is in the pipe's wall
	Frozen      FaultKind = "frozen"       // the last value for ever
	Swapped     FaultKind = "swapped"      // two channels' wires are exchanged
	HoseOff     FaultKind = "hose-off"     // the port is open to the room
	HoseBlocked FaultKind = "hose-blocked" // the pressure of that moment is shut in
	Drift       FaultKind = "drift"        // the value wanders off
)

// leakTime is how fast a pressure that is shut in decays, s.
const leakTime = 3600.0

func (f Fault) event(end time.Duration) Event {
	h := SensorSilent
	if f.Kind == Dead {
		h = SensorDead
	}
	other := frame.Count
	if f.Kind == Swapped {
		other = f.Other
	}
	return Event{Hazard: h, Began: f.From, From: f.From, To: end, Channel: f.Channel, Other: other, What: string(f.Kind)}
}

// shows is how far a reading must be wrong to show that it is: K, Pa.
func shows(c frame.Channel) float64 {
	if c.Pressure() {
		return 2
	}
	return 40
}

// hidden reports whether the fault makes no difference yet that anybody could see.
func (f *Fault) hidden(since time.Duration, v *frame.Values) bool {
	switch f.Kind {
	case Swapped:
		return math.Abs(v[f.Channel]-v[f.Other]) < shows(f.Channel)
	case Drift:
		return math.Abs(f.Rate*since.Hours()) < shows(f.Channel)
	default:
		return false
	}
}

// apply changes the readings out; v are the healthy ones without noise, shown the last
// that were shown.
func (f *Fault) apply(at time.Duration, out *frame.Values, v frame.Values, shown [frame.Count]float64, r *rand.Rand) {
	if at < f.From {
		return
	}
	if !f.caught {
		f.caught, f.held = true, shown[f.Channel]
	}
	since := (at - f.From).Seconds()
	c := f.Channel
	noise := out[c] - v[c]
	switch f.Kind {
	case Dead:
		out[c] = math.NaN()
	case Out:
		out[c] = v[frame.Room] + 3 + noise + (v[c]-v[frame.Room]-3)*math.Exp(-since/40)
	case HalfOut:
		out[c] = v[frame.Room] + (v[c]-v[frame.Room])*(0.3+0.7*math.Exp(-since/60)) + noise
	case Frozen:
		out[c] = f.held
	case Swapped:
		out[c], out[f.Other] = out[f.Other], out[c]
	case HoseOff:
		out[c] = 0.05*r.NormFloat64() + v[c]*math.Exp(-since/1.5)
	case HoseBlocked:
		out[c] = f.held*math.Exp(-since/leakTime) + 0.02*r.NormFloat64()
	case Drift:
		out[c] += max(-f.Most, min(f.Most, f.Rate*since/3600))
	}
}
