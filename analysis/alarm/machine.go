package alarm

import "time"

// Verdict is what a condition's judge says of one frame.
type Verdict uint8

// The verdicts.
const (
	Blind   Verdict = iota // a reading it depends on is missing
	Absent                 // the condition does not hold, with room to spare
	Between                // it does not hold, but not by its hysteresis
	Present                // it holds
)

// Change is what happened to an alarm in one step.
type Change uint8

// The changes.
const (
	NoChange    Change = iota
	BecameKnown        // judged for the first time, and normal
	WasRaised
	WasCleared
)

// maxPause is how long a half-finished hold survives without readings: a hazard seen
// for most of its hold time must not be forgotten over a lost frame, and two sightings
// with a long gap between them say nothing about the time between.
const maxPause = 2 * time.Minute

// Machine keeps the life cycle of one alarm.
type Machine struct {
	Status Status
	timing Timing

	last    time.Duration // the last step
	seen    time.Duration // the last step that was not blind
	verdict Verdict       // of the last step that was not blind
	started bool
	present time.Duration // how long the condition has been seen to hold
	away    time.Duration // how long it has been seen to be gone
}

// NewMachine returns an alarm that has not been judged yet.
func NewMachine(key Key, p Priority, t Timing) *Machine {
	return &Machine{Status: Status{Key: key, Priority: p, Blind: true}, timing: t}
}

// Step takes the verdict on the frame at time at, and the number and the limit that it
// is about. Time that stands or runs backwards counts as no time.
func (m *Machine) Step(at time.Duration, v Verdict, value, limit float64) Change {
	if m.started && at < m.last {
		at = m.last
	}
	m.last = at
	m.Status.Blind = v == Blind
	if v == Blind {
		m.away = 0
		return NoChange
	}
	m.count(at, v)
	m.seen, m.verdict, m.started = at, v, true

	standing := m.Status.State.Standing()
	switch {
	case !standing && v == Present && m.present >= m.timing.Hold:
		m.Status.Occurrence++
		return m.enter(Raised, WasRaised, at, value, limit)
	case standing && v == Absent && m.away >= m.timing.ClearAfter:
		return m.enter(Normal, WasCleared, at, value, limit)
	case m.Status.State == Unjudged && v != Present && m.away >= m.timing.ClearAfter:
		return m.enter(Normal, BecameKnown, at, value, limit)
	}
	return NoChange
}

// count adds the time since the last sighting to how long the condition has held or
// been gone; only time between two sightings of the same kind counts.
func (m *Machine) count(at time.Duration, v Verdict) {
	dt := at - m.seen
	same := m.started && dt >= 0 && dt <= maxPause // below zero: overflow
	if v == Present {
		m.away = 0
		if !same || m.verdict != Present {
			m.present = 0
		} else {
			m.present += dt
		}
		return
	}
	m.present = 0
	// A standing alarm needs the hysteresis to be passed; becoming known does not.
	counts := func(v Verdict) bool {
		return v == Absent || v == Between && m.Status.State == Unjudged
	}
	switch {
	case !counts(v), !same, !counts(m.verdict):
		m.away = 0
	default:
		m.away += dt
	}
}

func (m *Machine) enter(s State, c Change, at time.Duration, value, limit float64) Change {
	m.Status.State, m.Status.Since = s, at
	m.Status.Value, m.Status.Limit = value, limit
	m.present, m.away = 0, 0
	return c
}
