package message

import (
	"math"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
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
}

// PhaseLine is a change of phase.
type PhaseLine struct {
	Time  time.Time `json:"time"`
	Type  string    `json:"type"` // "phase"
	Phase string    `json:"phase"`
	From  string    `json:"from"`
}

// BurnLine sums up a finished burn. A quantity that was not measured is left out.
type BurnLine struct {
	Time        time.Time `json:"time"`
	Type        string    `json:"type"` // "burn"
	Start       time.Time `json:"start"`
	End         time.Time `json:"end"`
	PeakFlue    *float64  `json:"peak_flue_celsius,omitempty"`
	PeakChamber *float64  `json:"peak_chamber_celsius,omitempty"`
	CleanBurn   float64   `json:"clean_burn_seconds"`
	MeanDraft   *float64  `json:"mean_draft_pascals,omitempty"`
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
		l.Message, l.Action = Alarm(e.Alarm, u)
		return l
	case analysis.PhaseChanged:
		return PhaseLine{Time: wall(e.At), Type: "phase", Phase: e.To.String(), From: e.From.String()}
	case analysis.BurnEnded:
		return burnLine(e.At, e.Burn, wall)
	default:
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

func burnLine(at time.Duration, b burn.Summary, wall func(time.Duration) time.Time) BurnLine {
	return BurnLine{
		Time:        wall(at),
		Type:        "burn",
		Start:       wall(b.Start),
		End:         wall(b.End),
		PeakFlue:    number(b.PeakFlue),
		PeakChamber: number(b.PeakChamber),
		CleanBurn:   b.CleanBurn.Seconds(),
		MeanDraft:   number(b.MeanDraft),
	}
}

// number leaves out what was not measured.
func number(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}
