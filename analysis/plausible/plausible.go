package plausible

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// The findings, by the codes of the sensor layer, where their words are.
const (
	ProbeOut        = "probe-out"         // reads the room beside a fire
	ProbeSlipped    = "probe-slipped"     // reads far too low beside the rest: half out, or fallen
	ProbeCovered    = "probe-covered"     // the same upstream of the flue: under wood or ash, or touched
	ChannelsSwapped = "channels-swapped"  // two channels have each other's values
	Frozen          = "frozen"            // the same value for ever
	Noisy           = "noisy"             // leaps that no sheath lets through
	Strayed         = "probe-strayed"     // it left by degrees how it goes with the others
	Drifted         = "drifted"           // where nothing is left to warm or cool it, it differs
	HoseOff         = "hose-off"          // the draft fell to nothing at once, and its movement with it
	DraftGone       = "draft-gone"        // no draft beside a fire: hose or chimney
	HoseSwapped     = "hose-swapped"      // the draft has the wrong sign
	TubeBlocked     = "tube-blocked"      // the gas in the hose has stopped moving
	ZeroDrift       = "zero-drift"        // a pressure that no cold chimney makes
	WrongAltitude   = "altitude-mismatch" // the ambient pressure is not that of the site
)

// Codes lists the findings.
func Codes() []string {
	return []string{
		ProbeOut, ProbeSlipped, ProbeCovered, ChannelsSwapped, Frozen, Noisy, Strayed, Drifted,
		HoseOff, DraftGone, HoseSwapped, TubeBlocked, ZeroDrift, WrongAltitude,
	}
}

// Distrusts reports whether a reading that was found so tells nothing of the fire, so
// that hazards are to be judged as if it were missing. Where the same reading may be the
// danger itself (no draft, a turned one) the answer is no: the danger is said as well.
func Distrusts(code string) bool {
	switch code {
	case ProbeOut, ProbeSlipped, ProbeCovered, ChannelsSwapped, Frozen, HoseOff, TubeBlocked:
		return true
	}
	return false
}

// Inputs is a frame as these rules see it; NaN where there is no reading.
type Inputs struct {
	At     time.Duration
	Values frame.Values
	// Phase is what the burn was in before this frame.
	Phase burn.Phase
	// SitePressure is that of the standard atmosphere at the site's altitude, Pa; zero or
	// NaN where the altitude is not known.
	SitePressure float64
	// Height is that of the chimney's outlet above the collar, m; zero or NaN where it is not
	// known.
	Height float64
}

// Findings is what is implausible, by channel; empty where nothing is.
type Findings [frame.Count]string

// Channels are those on which something can be found: all.
func Channels() []frame.Channel { return frame.All() }

// heated are the channels in the fire's gas, in its direction.
var heated = [...]frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}

const assumedRoom = 20.0 // °C, where there is no room reading

// Rules follows one furnace. The zero value has seen nothing.
type Rules struct {
	last    time.Duration
	started bool
	room    float64 // °C
	courses [frame.Count]course
	trail   trail

	probes   [frame.Count]probe
	slips    [frame.Count]slip
	shares   shares
	strays   strays
	frozen   [frame.Count]frozen
	leaps    [frame.Count]leaps
	rests    [frame.Count]rest
	order    order
	draft    draft
	left     left
	altitude time.Duration // so long has the ambient pressure been wrong
	found    Findings      // of the frame before
}

// Step judges one frame. A frame from before the one before it counts as of the same
// moment.
func (r *Rules) Step(in Inputs) Findings {
	dt := in.At - r.last
	gap := !r.started || dt > maxGap
	if gap || dt < 0 {
		dt = 0
	}
	r.last, r.started = in.At, true
	for c, v := range in.Values {
		if !sane(frame.Channel(c), v) {
			in.Values[c] = math.NaN()
		}
	}
	if gap {
		// Nothing is known of the time between.
		r.trail = trail{}
		r.order.proven = [lastTemperature + 1]time.Duration{}
		r.draft.forget()
		for c := range r.courses {
			r.courses[c].restart()
		}
	}
	var found Findings
	r.exchanged(in, dt) // compares with the readings before this one
	r.leap(in, dt, &found)
	for c := range r.courses {
		course := &r.courses[c]
		course.step(in.Values[c], dt, frame.Channel(c).Pressure())
		if course.fresh() {
			in.Values[c] = course.value
		}
	}
	r.room = assumedRoom
	if room := &r.courses[frame.Room]; room.recent() {
		r.room = room.value
	}
	marked := r.trail.step(&r.courses, dt)
	r.ordered(in, dt, marked, &found)
	r.pulledOut(in, dt, &found)
	r.stuck(in, dt, marked, &found)
	r.slipped(in, dt, marked, &found)
	r.strayed(in, marked, &found)
	r.resting(in, dt, &found)

	flue := in.Values[frame.Flue] - r.room // NaN compares false
	if Distrusts(found[frame.Flue]) {
		flue = math.NaN()
	}
	if !r.allCold(in, &found) {
		r.draft.cold = 0
	}
	if d := &r.courses[frame.Draft]; d.repeats > 0 && d.same >= othersMoving && !r.anotherMoves(frame.Draft) {
		r.draft.dead = 0 // a log that repeats everything
	}
	held := in
	held.Values[frame.Outdoor] = r.lately(frame.Outdoor)
	found.add(frame.Draft, r.draft.step(held, dt, &r.courses[frame.Draft], flue, r.room, !r.left.found && !(in.Values[frame.Plenum]-r.room >= leftWarm)))
	r.leftOut(in, dt, &found)
	found.add(frame.Ambient, r.ambient(in, dt))
	for c, v := range in.Values {
		if math.IsNaN(v) { // what is lost is not implausible
			found[c] = ""
		}
	}
	r.found = found
	return found
}

// add keeps what was found first: it is the more certain.
func (f *Findings) add(c frame.Channel, code string) {
	if f[c] == "" {
		f[c] = code
	}
}

// sane reports whether the value can be reckoned with at all.
func sane(c frame.Channel, v float64) bool {
	switch {
	case c == frame.Ambient:
		return v > 0 && v < 1e6
	case c == frame.Draft:
		return math.Abs(v) < 1e5
	}
	return v > -273.15 && v < 1e4
}

// rise is a gas channel's over the room, K; NaN without a reading or with one that is
// not to be trusted.
func (r *Rules) rise(c frame.Channel, in *Inputs, found *Findings) float64 {
	if r.distrusted(c, found) {
		return math.NaN()
	}
	return in.Values[c] - r.room
}

// allCold reports whether no probe in the gas is warm, or cannot tell.
func (r *Rules) allCold(in Inputs, found *Findings) bool {
	for _, c := range heated {
		if in.Values.Has(c) && !(r.rise(c, &in, found) < coldRise) {
			return false
		}
	}
	return true
}

// distrusted reports whether the channel's reading is not to be compared with, by what has
// been found in this frame so far or was in the one before.
func (r *Rules) distrusted(c frame.Channel, found *Findings) bool {
	return Distrusts(found[c]) || Distrusts(r.found[c])
}

// lasting adds dt while something holds.
func lasting(so, dt time.Duration, holds bool) time.Duration {
	if !holds {
		return 0
	}
	return so + dt
}
