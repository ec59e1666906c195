// Package standing tells how the alarms of a site stand at a tick, and how each is declared,
// as data.
package standing

import (
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// Alarm is one alarm as it stands.
type Alarm struct {
	Alarm      string `json:"alarm"`
	Channel    string `json:"channel,omitempty"`
	State      string `json:"state"`
	Priority   string `json:"priority"`
	Occurrence uint32 `json:"occurrence"`
	// Blind says that it cannot be judged now; one that stands goes on standing.
	Blind        bool      `json:"blind"`
	Acknowledged bool      `json:"acknowledged"`
	First        bool      `json:"first"` // it began the episode
	Since        time.Time `json:"since"`
	// Lasted is how long State has been so.
	Lasted       float64             `json:"lasted_seconds"`
	Message      string              `json:"message"`
	Action       string              `json:"action,omitempty"`
	ExpectedAt   *time.Time          `json:"expected_at,omitempty"` // of a forecast
	Causes       []message.CauseLine `json:"causes,omitempty"`
	ShelvedBy    string              `json:"shelved_by,omitempty"`
	ShelvedUntil *time.Time          `json:"shelved_until,omitempty"`
	SuppressedBy string              `json:"suppressed_by,omitempty"`

	Key alarm.Key `json:"-"`
}

// Now lists the alarms that stand, the one to act on first at the front, and then all others.
// silence is how long no tick has come since, if that is too long: nothing is judged then.
func Now(s *status.Status, site verdict.Site, u message.Units, silence time.Duration) (stand, rest []Alarm) {
	stand, rest = []Alarm{}, []Alarm{}
	first := map[alarm.Key]bool{}
	for _, a := range verdict.Standing(s.Assessment.Alarms) {
		first[a.Key] = true
		stand = append(stand, of(a, s, site, u, silence))
	}
	for _, a := range s.Assessment.Alarms {
		if !first[a.Key] {
			rest = append(rest, of(a, s, site, u, silence))
		}
	}
	return stand, rest
}

func of(a alarm.Status, s *status.Status, site verdict.Site, u message.Units, silence time.Duration) Alarm {
	w := Alarm{
		Key: a.Key, Alarm: string(a.Key.Name), State: a.Word(), Priority: a.Priority.String(), Occurrence: a.Occurrence,
		Blind: a.Blind || silence > 0, Acknowledged: a.Acknowledged, First: a.First,
		Since: s.WallOf(a.Since).UTC(), Lasted: max(s.Frame.At-a.Since+silence, 0).Seconds(),
		ShelvedBy: a.ShelvedBy, SuppressedBy: string(a.SuppressedBy),
	}
	if a.Key.Channel < frame.Count {
		w.Channel = a.Key.Channel.String()
	}
	w.Message, w.Action = site.Render(a, s)
	account := s.Assessment.Account(a.Key)
	if account.Passes && a.State.Standing() {
		at := s.WallOf(account.ExpectedAt).UTC()
		w.ExpectedAt = &at
	}
	if analysis.Explains(a.Key.Name) && a.State.Standing() {
		w.Causes = message.Causes(account.Causes, s.WallOf, u)
	}
	if a.State == alarm.Shelved {
		at := s.WallOf(a.ShelvedUntil).UTC()
		w.ShelvedUntil = &at
	}
	return w
}

// Declared is all that is known of an alarm before it happens.
type Declared struct {
	Alarm       string  `json:"alarm"`
	Priority    string  `json:"priority"`
	Title       string  `json:"title"`
	Consequence string  `json:"consequence"`
	Respond     float64 `json:"respond_seconds"`
	Action      string  `json:"action"`
	// Hold is how long it lasts before it is raised, ClearAfter how long it must be gone.
	Hold       float64 `json:"hold_seconds"`
	ClearAfter float64 `json:"clear_after_seconds"`
	// Own says that it needs the reading of its channel, Needs what else, and Fitted what
	// must have a sensor.
	Own    bool     `json:"needs_own_reading"`
	Needs  []string `json:"needs"`
	Fitted []string `json:"needs_sensor"`
	// Not lists what keeps it from being told, and why.
	Not []Silence `json:"not_told_while"`
}

// Silence is an alarm while whose condition holds another is not told.
type Silence struct {
	Alarm string `json:"alarm"`
	Why   string `json:"why"`
}

// Declarations lists every alarm, most urgent first, with the timing that the site has given
// it.
func Declarations(timing map[alarm.Name]alarm.Timing) []Declared {
	all := []Declared{}
	for _, d := range alarm.Declarations() {
		t := d.Timing
		if own, ok := timing[d.Name]; ok {
			t = own
		}
		w := Declared{
			Alarm: string(d.Name), Priority: d.Priority.String(), Title: d.Title, Consequence: d.Consequence,
			Respond: d.Respond.Seconds(), Action: d.Action, Hold: t.Hold.Seconds(), ClearAfter: t.ClearAfter.Seconds(),
			Own: d.Own, Needs: names(d.Needs), Fitted: names(d.Fitted), Not: []Silence{},
		}
		for _, s := range d.Suppressed {
			w.Not = append(w.Not, Silence{s.By.String(), s.Why})
		}
		all = append(all, w)
	}
	return all
}

func names(cs []frame.Channel) []string {
	all := []string{}
	for _, c := range cs {
		all = append(all, c.String())
	}
	return all
}

// Figures are those of [alarm.Metrics], since the program began.
type Figures struct {
	Raised         map[string]uint64 `json:"raised_by_priority"`
	Recent         int               `json:"raised_in_last_10_minutes"`
	Flood          bool              `json:"flood"`
	Floods         uint64            `json:"floods"`
	Rate           float64           `json:"mean_in_10_minutes"`
	Most           int               `json:"most_in_10_minutes"`
	Standing       int               `json:"standing"`
	Shelved        int               `json:"shelved"`
	Suppressed     int               `json:"suppressed"`
	Unacknowledged int               `json:"unacknowledged"`
	Stale          int               `json:"stale"`
	Chattering     int               `json:"chattering"`
}

// FiguresOf takes them from a tick.
func FiguresOf(s *status.Status) Figures {
	m := s.Assessment.AlarmMetrics
	f := Figures{
		Raised: map[string]uint64{}, Recent: m.Recent, Flood: m.Flood, Floods: m.Floods, Rate: m.Rate(), Most: m.Most,
		Standing: m.Standing, Shelved: m.Shelved, Suppressed: m.Suppressed, Unacknowledged: m.Unacknowledged,
		Stale: m.Stale, Chattering: m.Chattering,
	}
	for _, p := range []alarm.Priority{alarm.High, alarm.Medium, alarm.Low} {
		f.Raised[p.String()] = m.Raised[p]
	}
	return f
}
