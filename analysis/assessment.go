package analysis

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/cause"
	"fluewright/analysis/flueway"
	"fluewright/analysis/forecast"
	"fluewright/analysis/frame"
	"fluewright/analysis/gate"
	"fluewright/analysis/notice"
	"fluewright/analysis/plenum"
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
	// Door is the loading or the ash door, as far as the readings tell.
	Door burn.Door
	// Draft is the draft averaged against wind, Pa, with its quality.
	Draft frame.Input
	// Forecasts says where each channel with a limit is going.
	Forecasts [frame.Count]forecast.Finding
	Plenum    plenum.Finding
	Regulator gate.Finding
	Flue      flueway.Finding
	// Doubts is what makes a reading implausible, by channel: a code of the sensor layer,
	// empty where nothing does.
	Doubts [frame.Count]string
	// Alarms holds every alarm that the site can have, in a fixed order. The slice is
	// the engine's own: it is valid until the next step.
	Alarms []alarm.Status
	// Accounts is what stands behind each of Alarms, in the same order; likewise. What its
	// slices hold does not change any more.
	Accounts []Account
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
	Reloaded                 // Load: wood was laid on fire or coals
	DoorOpened               // Door has the times
	DoorClosed               // likewise
	NoticeGiven              // Notice
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
	Load   burn.Load
	Door   burn.Door
	Notice notice.Notice
	// Account is what stands behind Alarm.
	Account Account
}

// Account is what stands behind an alarm beside its number.
type Account struct {
	// Passes says that the limit is expected to be passed, at ExpectedAt: for Runaway.
	Passes     bool
	ExpectedAt time.Duration
	// Causes are ranked, best first: for what gets too hot. Empty where nothing stands out.
	Causes []cause.Cause
	// ColdFlue says that the chimney is not warm yet: for Spillage.
	ColdFlue bool
	// Gate is what the regulator does: for RegulatorStuck.
	Gate gate.State
	// Sudden says that the loss came at once: for FlueRestricted.
	Sudden bool
}

// Same reports whether two accounts of an alarm, of two steps, say the same.
func (a Account) Same(b Account) bool {
	if len(a.Causes) != len(b.Causes) || len(a.Causes) > 0 && &a.Causes[0] != &b.Causes[0] {
		return false // causes are never changed in place: others are others
	}
	return a.Passes == b.Passes && a.ExpectedAt == b.ExpectedAt && a.ColdFlue == b.ColdFlue && a.Gate == b.Gate && a.Sudden == b.Sudden
}

// Account returns what stands behind an alarm, empty where nothing does.
func (a *Assessment) Account(k alarm.Key) Account {
	for i := range a.Accounts {
		if a.Alarms[i].Key == k {
			return a.Accounts[i]
		}
	}
	return Account{}
}
