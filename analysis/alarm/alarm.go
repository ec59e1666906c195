// Package alarm declares the alarms and keeps their life cycle.
//
// An alarm is a condition that needs a person. Each is declared once, as data, with
// its priority, what happens if nobody acts, how long there is, and what to do first.
// Its life follows IEC 62682 / ISA-18.2: normal, raised, acknowledged, returned, shelved,
// suppressed by design. What condition holds is found elsewhere; an Annunciator only
// decides, purely and on the frames' time, when it has held long enough to be said, and
// keeps what people have done about it.
package alarm

import (
	"fmt"
	"time"

	"fluewright/analysis/frame"
)

// Name is an alarm's stable name: topics, labels, logs and configuration use it.
type Name string

// The alarms.
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
