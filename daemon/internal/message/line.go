package message

import (
	"math"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
)

// AlarmLine is one change of an alarm.
type AlarmLine struct {
	Time       time.Time `json:"time"`
	Type       string    `json:"type"` // "alarm"
	Alarm      string    `json:"alarm"`
	State      string    `json:"state"`
	Priority   string    `json:"priority"`
	Channel    string    `json:"channel,omitempty"`
	Occurrence uint32    `json:"occurrence"`
	Message    string    `json:"message"`
	Action     string    `json:"action,omitempty"`
	// Acknowledged says that a person has taken this occurrence, and First that it began
	// the episode: of alarms that stand at overlapping times, the first.
	Acknowledged bool `json:"acknowledged,omitempty"`
	First        bool `json:"first,omitempty"`
	// ExpectedAt is when the limit is expected to be passed: of a forecast that stands.
	ExpectedAt *time.Time `json:"expected_at,omitempty"`
	// Causes are why it gets too hot, best first: of an alarm that is about that and
	// stands; empty where nothing stands out.
	Causes []CauseLine `json:"causes,omitzero"`
}

// NoticeLine is worth knowing and needs nobody now.
type NoticeLine struct {
	Time    time.Time `json:"time"`
	Type    string    `json:"type"` // "notice"
	Notice  string    `json:"notice"`
	Job     string    `json:"job,omitempty"` // of upkeep-due
	Message string    `json:"message"`
	Action  string    `json:"action,omitempty"`
	For     float64   `json:"for_seconds"` // how long what it tells of has lasted
}

// ReloadLine is wood laid on fire or coals. Time is when it was recognised, At when the
// door was opened for it.
type ReloadLine struct {
	Time    time.Time `json:"time"`
	Type    string    `json:"type"` // "reload"
	At      time.Time `json:"at"`
	Door    bool      `json:"door"`          // a door was seen to open
	Coals   float64   `json:"coals_seconds"` // so long had the flames been over
	Flue    *float64  `json:"flue_celsius,omitempty"`
	Chamber *float64  `json:"chamber_celsius,omitempty"`
	Firebox *float64  `json:"firebox_celsius,omitempty"`
}

// PhaseLine is a change of phase.
type PhaseLine struct {
	Time  time.Time `json:"time"`
	Type  string    `json:"type"` // "phase"
	Phase string    `json:"phase"`
	From  string    `json:"from"`
}

// Line turns an event into the object that outputs write, nil for an event that says
// only that an alarm is now known to be normal. wall turns the frames' clock into the
// time that is written.
func Line(e analysis.Event, wall func(time.Duration) time.Time, u Units) any {
	switch e.Kind {
	case analysis.AlarmChanged:
		if e.Change == alarm.BecameKnown {
			return nil
		}
		l := AlarmLine{
			Time:       wall(e.At),
			Type:       "alarm",
			Alarm:      string(e.Alarm.Key.Name),
			State:      word(e),
			Priority:   e.Alarm.Priority.String(),
			Occurrence: e.Alarm.Occurrence,

			Acknowledged: e.Alarm.Acknowledged,
			First:        e.Alarm.First,
		}
		if e.Alarm.Key.Channel < frame.Count {
			l.Channel = e.Alarm.Key.Channel.String()
		}
		l.Message, l.Action = Alarm(e.Alarm, e.Account, wall, u)
		if a := e.Account; a.Passes && e.Alarm.State.Standing() {
			at := wall(a.ExpectedAt)
			l.ExpectedAt = &at
		}
		if analysis.Explains(e.Alarm.Key.Name) && e.Alarm.State.Standing() {
			l.Causes = Causes(e.Account.Causes, wall, u)
		}
		return l
	case analysis.NoticeGiven:
		return noticeLine(e.Notice, wall)
	case analysis.Reloaded:
		return ReloadLine{
			Time: wall(e.At), Type: "reload", At: wall(e.Load.At), Door: e.Load.Door, Coals: e.Load.Coals.Seconds(),
			Flue: number(e.Load.Flue), Chamber: number(e.Load.Chamber), Firebox: number(e.Load.Firebox),
		}
	case analysis.PhaseChanged:
		return PhaseLine{Time: wall(e.At), Type: "phase", Phase: e.To.String(), From: e.From.String()}
	case analysis.BurnEnded:
		return Burn(e.At, &e.Burn, wall)
	default: // doors: a reload or an alarm says what comes of them
		return nil
	}
}

// word is the state that a line of a change gives: what has happened goes before what it
// has led to.
func word(e analysis.Event) string {
	switch e.Change {
	case alarm.WasUpdated:
		return "updated"
	case alarm.WasAcknowledged:
		return alarm.Acknowledged.String()
	default:
		return e.Alarm.Word()
	}
}

func noticeLine(n notice.Notice, wall func(time.Duration) time.Time) NoticeLine {
	l := NoticeLine{Time: wall(n.At), Type: "notice", Notice: string(n.Name), For: n.For.Seconds()}
	if n.Job != notice.NoJob {
		l.Job = n.Job.String()
	}
	if d, ok := notice.Declared(n.Name, n.Job); ok {
		l.Message, l.Action = d.Title+". "+d.Meaning, d.Action
	}
	return l
}

// number leaves out what was not measured.
func number(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}
