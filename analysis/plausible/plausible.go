package plausible

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// The findings, by the codes of the sensor layer, where their words are.
const (
	ProbeOut    = "probe-out"
	HoseOff     = "hose-off"
	HoseSwapped = "hose-swapped"
	TubeBlocked = "tube-blocked"
	ZeroDrift   = "zero-drift"
)

// Codes lists the findings.
func Codes() []string { return []string{ProbeOut, HoseOff, HoseSwapped, TubeBlocked, ZeroDrift} }

// Inputs is a frame as these rules see it; NaN where there is no reading.
type Inputs struct {
	At     time.Duration
	Values [frame.Count]float64
	// Phase is what the burn was in before this frame.
	Phase burn.Phase
}

// Findings is what is implausible, by channel; empty where nothing is.
type Findings [frame.Count]string

// Channels are those on which something can be found.
func Channels() []frame.Channel { return append(heated(), frame.Draft) }

// heated are the channels in the fire's gas, in its direction.
func heated() []frame.Channel { return []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} }

const (
	assumedRoom = 20.0            // °C, where there is no room reading
	maxGap      = 2 * time.Minute // the longest silence over which anything is carried on
)

// Rules follows one furnace. The zero value has seen nothing.
type Rules struct {
	last    time.Duration
	started bool
	probes  [frame.Count]probe
	draft   draft
}

// Step judges one frame.
func (r *Rules) Step(in Inputs) Findings {
	dt := in.At - r.last
	if !r.started || dt < 0 || dt > maxGap {
		// Nothing is known of the time between.
		r.draft = draft{}
		dt = 0
	}
	r.last, r.started = in.At, true
	room := in.Values[frame.Room]
	if math.IsNaN(room) {
		room = assumedRoom
	}
	var found Findings
	r.pulledOut(in, dt, room, &found)
	flue := in.Values[frame.Flue] - room // NaN compares false
	if found[frame.Flue] != "" {
		flue = math.NaN()
	}
	found[frame.Draft] = r.draft.step(in, dt, flue, room)
	return found
}
