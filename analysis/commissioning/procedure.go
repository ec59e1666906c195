package commissioning

import "slices"

// Step is one of the nine.
type Step uint8

// The steps, in their order.
const (
	SiteData Step = iota
	ByEye
	Sensors
	ColdDraft
	FirstFire
	Setting
	Proof
	Limits
	Closing
	Steps
)

var stepNames = [Steps]string{"site", "by-eye", "sensors", "cold-draft", "first-fire", "setting", "proof", "limits", "report"}

// String returns the step's name.
func (s Step) String() string {
	if s < Steps {
		return stepNames[s]
	}
	return "none"
}

// Task is what is to be done now.
type Task string

// The tasks, in the order of the procedure.
const (
	EnterSite   Task = "site"        // give Site
	LookAround  Task = "checks"      // give Checks
	ZeroDraft   Task = "zero"        // both ports open: ready, then a minute
	BlowHose    Task = "blow"        // ready, then blow
	CompareCold Task = "agree"       // ready, then ten seconds
	WarmProbe   Task = "probe"       // ready, then warm the probe of State.Channel
	ReadCold    Task = "cold"        // ready, then until settled
	ReadFans    Task = "fans"        // fans on: ready, then until settled; or without
	LightFire   Task = "light"       // ready, and light
	ReadMark    Task = "read"        // ready with the mark that is set, then until settled
	VerifyLow   Task = "verify-low"  // heat demand low: ready, then ten minutes in the band
	VerifyHigh  Task = "verify-high" // heat demand high: likewise
	ReadFree    Task = "free"        // ready, then a minute
	HoldGate    Task = "hold"        // gate held shut: ready, then a minute
	ReleaseGate Task = "release"     // let go: ready, until it returns
	OpenDoor    Task = "door"        // door opened a little: ready, until the draft shows it
	ShutDoor    Task = "shut"        // door shut: ready, until it returns
	EnterLimits Task = "limits"      // give Limits
	TestAlarm   Task = "alarm"       // give Alarm
	Sign        Task = "sign"        // give People
	Done        Task = "done"        // the procedure is over
	Failed      Task = "failed"      // the step has failed: repeat it, or go on where that is allowed
)

// procedure declares which tasks make up each step, and how it may be left.
var procedure = [Steps]struct {
	tasks []Task
	// vital: what fails here lets gas into the house or makes all that follows worthless. It
	// is put right, not skipped.
	vital bool
	// season: the step is part of the short form at the start of a season.
	season bool
}{
	SiteData:  {tasks: []Task{EnterSite}, vital: true},
	ByEye:     {tasks: []Task{LookAround}, vital: true},
	Sensors:   {tasks: []Task{ZeroDraft, BlowHose, CompareCold, WarmProbe}, vital: true, season: true},
	ColdDraft: {tasks: []Task{ReadCold, ReadFans}, vital: true, season: true},
	FirstFire: {tasks: []Task{LightFire}, season: true},
	Setting:   {tasks: []Task{ReadMark, VerifyLow, VerifyHigh}, season: true},
	Proof:     {tasks: []Task{ReadFree, HoldGate, ReleaseGate, OpenDoor, ShutDoor}},
	Limits:    {tasks: []Task{EnterLimits, TestAlarm}},
	Closing:   {tasks: []Task{Sign}, season: true},
}

// Tasks returns the tasks of a step.
func (s Step) Tasks() []Task {
	if s >= Steps {
		return nil
	}
	return slices.Clone(procedure[s].tasks)
}

// Vital reports whether a step that failed must be put right before the next.
func (s Step) Vital() bool { return s < Steps && procedure[s].vital }

// Outcome is how a step went.
type Outcome uint8

// The outcomes. The zero value is a step that was not done.
const (
	NotDone Outcome = iota
	Passed
	Cautioned // passed, with cautions
	Failure
	Skipped
	NotAsked // no part of the short form
)

var outcomes = [...]string{"not done", "pass", "pass with cautions", "fail", "skipped", "not part"}

// String returns the outcome's name.
func (o Outcome) String() string {
	if int(o) < len(outcomes) {
		return outcomes[o]
	}
	return "not done"
}

// Result is what came of a step.
type Result struct {
	Outcome  Outcome   `json:"outcome"`
	Reason   string    `json:"reason,omitempty"` // of a skipped one, as it was typed
	Findings []Finding `json:"findings,omitempty"`
}

// worst returns the worst grade found.
func (r *Result) worst() Grade {
	w := Noted
	for _, f := range r.Findings {
		w = max(w, f.Grade)
	}
	return w
}

// Find returns a finding by its code.
func (r *Result) Find(c Code) (Finding, bool) {
	i := slices.IndexFunc(r.Findings, func(f Finding) bool { return f.Code == c })
	if i < 0 {
		return Finding{}, false
	}
	return r.Findings[i], true
}

// Check is something to look at.
type Check uint8

// The checks by eye.
const (
	Manual     Check = iota // local code and the appliance's manual are at hand and followed
	Clearances              // to what burns
	Connector               // pitch, joints, screws
	Cleanout                // shut and tight
	Plumb                   // regulator's axis level, gate plumb
	Empty                   // appliance empty, lined, no tools or paper in it
	ProbeFree               // nothing covers or touches the firebox probe
	Filters                 // of the warm air
	COAlarm                 // carbon monoxide alarms there and working
	SmokeAlarm              //
	RoomAir                 // combustion air can get in
	Checks
)

var checks = [Checks]struct {
	code     Code
	grade    Grade // of a no
	optional bool  // may be not applicable
}{
	Manual: {"manual", Stop, false}, Clearances: {"clearances", Stop, false}, Connector: {"connector", Stop, false},
	Cleanout: {"cleanout", Bad, true}, Plumb: {"plumb", Caution, true}, Empty: {"empty", Stop, false},
	ProbeFree: {"probe-free", Caution, true}, Filters: {"filters", Caution, true},
	COAlarm: {"co-alarm", Stop, false}, SmokeAlarm: {"smoke-alarm", Bad, false}, RoomAir: {"room-air", Stop, false},
}

// Code returns the name of the check, which is also that of its finding.
func (c Check) Code() Code {
	if c < Checks {
		return checks[c].code
	}
	return ""
}

// Optional reports whether the check may be answered with "not applicable".
func (c Check) Optional() bool { return c < Checks && checks[c].optional }

// Seen is the answer to a check. The zero value is none.
type Seen uint8

// The answers.
const (
	Unseen Seen = iota
	Yes
	No
	NotApplicable
)
