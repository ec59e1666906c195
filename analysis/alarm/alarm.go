// Package alarm declares the alarms and keeps their life cycle.
//
// An alarm is a condition that needs a person. Each is declared once, as data, with
// its priority, what happens if nobody acts, how long there is, and what to do first.
// Its life follows IEC 62682 / ISA-18.2: normal, raised, acknowledged, cleared. What
// condition holds is found elsewhere; this package only decides, purely and on
// monotonic time, when a condition has held long enough to be said.
package alarm

import (
	"fmt"
	"time"

	"fluewright/analysis/frame"
)

// Name is an alarm's stable name: topics, labels, logs and configuration use it.
type Name string

// The alarms that are judged.
const (
	Overheat Name = "overheat"
	// Runaway: a limit will be passed, and the rise does not limit itself.
	Runaway     Name = "runaway"
	ChimneyFire Name = "chimney-fire"
	Spillage    Name = "spillage"
	DraftLow    Name = "draft-low"
	DraftHigh   Name = "draft-high"
	// RegulatorStuck: the draft does not answer to the fire as a working gate lets it.
	RegulatorStuck Name = "regulator-stuck"
	// FlueRestricted: the chimney resists more than it did.
	FlueRestricted Name = "flue-restricted"
	PlenumOverheat Name = "plenum-overheat"
	BlowerStopped  Name = "blower-stopped"
	SensorLost     Name = "sensor-lost"
	// SensorImplausible: there is a reading, and the furnace contradicts it.
	SensorImplausible Name = "sensor-implausible"
	// MonitorImpaired: storage, clock or delivery fail.
	MonitorImpaired Name = "monitor-impaired"
)

// Priority says how soon a person must act. The zero value is no priority.
type Priority uint8

// The priorities, least first.
const (
	Low Priority = iota + 1
	Medium
	High
)

// String returns the priority's name.
func (p Priority) String() string {
	switch p {
	case High:
		return "high"
	case Medium:
		return "medium"
	case Low:
		return "low"
	default:
		return fmt.Sprintf("priority(%d)", uint8(p))
	}
}

// Declaration is all that is known of an alarm before it happens.
type Declaration struct {
	Name     Name
	Priority Priority
	// Title completes "<channel>: …" or stands alone, without a full stop.
	Title string
	// Consequence is what happens if nobody acts.
	Consequence string
	// Respond is how long there is to prevent it.
	Respond time.Duration
	// Action is what to do first, in sentences for the owner.
	Action string
	// Timing is used where the configuration says nothing.
	Timing Timing
}

// Timing keeps an alarm quiet on what passes by itself.
type Timing struct {
	// Hold is how long the condition lasts before the alarm is raised.
	Hold time.Duration
	// ClearAfter is how long it must be gone before the alarm is cleared.
	ClearAfter time.Duration
}

// Key names one alarm of one site: the alarm and, where it has one, its channel.
type Key struct {
	Name    Name
	Channel frame.Channel // frame.Count where the alarm has no channel
}

// String returns "name" or "name/channel", as topics write it.
func (k Key) String() string {
	if k.Channel < frame.Count {
		return string(k.Name) + "/" + k.Channel.String()
	}
	return string(k.Name)
}

// State is where an alarm is in its life.
type State uint8

// The states.
const (
	// Unjudged: since the start there has not been enough to tell. It is not normal.
	Unjudged State = iota
	Normal
	Raised       // unacknowledged
	Acknowledged // a person has taken it; the condition still holds
)

// String returns the state's name.
func (s State) String() string {
	switch s {
	case Unjudged:
		return "unjudged"
	case Normal:
		return "normal"
	case Raised:
		return "raised"
	case Acknowledged:
		return "acknowledged"
	default:
		return fmt.Sprintf("state(%d)", uint8(s))
	}
}

// Standing reports whether the condition is held to exist.
func (s State) Standing() bool { return s == Raised || s == Acknowledged }

// Status is one alarm as it stands.
type Status struct {
	Key      Key
	Priority Priority
	State    State
	// Blind is set while the condition cannot be judged, because a reading that it
	// depends on is missing. A standing alarm stays standing meanwhile.
	Blind bool
	// Occurrence counts raisings since the engine began: 1 is the first.
	Occurrence uint32
	// Since is when State was entered.
	Since time.Duration
	// Value and Limit are what raised it, in the channel's unit; zero where the alarm is
	// not about a number. Fault is the sensor layer's code where it is about a sensor.
	Value, Limit float64
	Fault        string
}

// Word is the state as outputs write it: that of State, and "cleared" for an alarm that
// was raised before and is normal again.
func (s Status) Word() string {
	if s.State == Normal && s.Occurrence > 0 {
		return "cleared"
	}
	return s.State.String()
}
