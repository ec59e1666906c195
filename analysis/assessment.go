package analysis

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// Assessment is all that the analysis makes of one frame.
type Assessment struct {
	At    time.Duration
	Phase burn.Phase
	// PhaseSince is when the phase was entered.
	PhaseSince time.Duration
	// PhaseHeld is set while the flue is missing, or its probe lies in the room: Phase is
	// then the last one seen.
	PhaseHeld bool
	// Burning is set while there is a burn; Burn is its summary so far.
	Burning bool
	Burn    burn.Summary
	// Draft is the draft averaged against wind, Pa, with its quality.
	Draft frame.Input
	// Doubts is what makes a reading implausible, by channel: a code of the sensor layer,
	// empty where nothing does.
	Doubts [frame.Count]string
	// Alarms holds every alarm that the site can have, in a fixed order. The slice is
	// the engine's own: it is valid until the next step.
	Alarms []alarm.Status
	// AlarmMetrics tells how the alarms do as alarms.
	AlarmMetrics alarm.Metrics
	// Events is what changed in this step, in order; valid until the next step.
	Events []Event
}

// Kind says what an event is about.
type Kind uint8

// The kinds.
const (
	AlarmChanged Kind = iota // Alarm holds the new status, Change what happened
	PhaseChanged             // From and To
	BurnEnded                // Burn holds its summary
)

// Event is something that changed.
type Event struct {
	At     time.Duration
	Kind   Kind
	Alarm  alarm.Status
	Change alarm.Change
	From   burn.Phase
	To     burn.Phase
	Burn   burn.Summary
}
