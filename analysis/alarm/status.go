package alarm

import (
	"fmt"
	"time"
)

// State is where an alarm is in its life: what is told of it. Whether its condition holds
// is another thing; see Condition.
type State uint8

// The states. The letters are those of ISA-18.2.
const (
	// Unjudged: since the start there has not been enough to tell. It is not normal.
	Unjudged     State = iota
	Normal             // A: the condition is gone, and nobody need look at it
	Raised             // B: it holds, and nobody has taken it
	Acknowledged       // C: it holds, and a person has taken it
	Returned           // D: it is gone, and nobody has taken it
	// Shelved (G): a person has put it aside until an end, whatever the condition.
	Shelved
	// Suppressed (H): the condition holds, and an alarm that stands says more. The
	// standard suppresses whatever the condition is; here there is nothing to suppress
	// until it holds, so that nobody is told of alarms that are not.
	Suppressed
)

var states = [...]string{"unjudged", "normal", "raised", "acknowledged", "returned", "shelved", "suppressed"}

// String returns the state's name.
func (s State) String() string {
	if int(s) < len(states) {
		return states[s]
	}
	return fmt.Sprintf("state(%d)", uint8(s))
}

// Standing reports whether the alarm asks for a person now.
func (s State) Standing() bool { return s == Raised || s == Acknowledged }

// Condition is what an alarm is about, after its hold and clear-after times.
type Condition uint8

// The conditions.
const (
	NotKnown Condition = iota // since the start there has not been enough to tell
	Gone
	Holds
)

// Status is one alarm as it stands.
type Status struct {
	Key      Key
	Priority Priority
	State    State
	// Condition is Gone in Normal and Returned, Holds in Raised, Acknowledged and
	// Suppressed, and anything in Shelved.
	Condition Condition
	// Blind is set while the condition cannot be judged, because a reading that it
	// depends on is missing. A standing alarm stays standing meanwhile.
	Blind bool
	// Occurrence counts raisings, over restarts where a snapshot is kept: 1 is the first.
	Occurrence uint32
	// Acknowledged says that a person has taken the latest occurrence, whatever became of
	// it since.
	Acknowledged bool
	// First marks the alarm that began the episode: of those that stand at overlapping
	// times, the first raised. It is kept until another episode begins. Alarms of the
	// furnace and of the monitor have episodes of their own.
	First bool
	// Since is when State was entered, on the frames' clock; below zero where that was
	// before a restart.
	Since time.Duration
	// ShelvedUntil and ShelvedBy hold while State is Shelved, SuppressedBy while it is
	// Suppressed.
	ShelvedUntil time.Duration
	ShelvedBy    string
	SuppressedBy Name
	// Value and Limit are those of the last change, in the channel's unit; zero where the
	// alarm is not about a number. Fault is the sensor layer's code where it is about a
	// sensor.
	Value, Limit float64
	Fault        string
}

// Word is the state as outputs write it: that of State, and "cleared" for an alarm that
// was raised before and is over, taken by a person or not.
func (s Status) Word() string {
	if s.State == Returned || s.State == Normal && s.Occurrence > 0 {
		return "cleared"
	}
	return s.State.String()
}

// Judged reports whether State rests on what is seen now.
func (s Status) Judged() bool {
	return s.State != Unjudged && !s.Blind && (s.State != Shelved || s.Condition != NotKnown)
}

// Silenced reports that the condition holds although nobody is told: the alarm is
// shelved or suppressed.
func (s Status) Silenced() bool {
	return s.Condition == Holds && (s.State == Shelved || s.State == Suppressed)
}

// Change is what happened to an alarm.
type Change uint8

// The changes.
const (
	NoChange    Change = iota
	BecameKnown        // judged for the first time, and the condition is gone
	WasRaised          // from whatever state: the condition holds and is now told
	WasCleared
	WasAcknowledged
	WasShelved
	// WasUnshelved: the shelf ended or was ended, and there is nothing to raise.
	WasUnshelved
	WasSuppressed
	WasUpdated // it stands as before, and the account of it changed
)

// Transition is a change with the status after it.
type Transition struct {
	Status Status
	Change Change
}
