package mqtt

import (
	"cmp"
	"encoding/json"
	"strconv"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	words "fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// version is that of every payload. New members do not change it; a member that goes
// away or changes its meaning does.
const version = 1

// DefaultRoot is what topics begin with.
const DefaultRoot = "fluewright"

// root is the prefix of every topic of a site.
func root(top, site string) string { return cmp.Or(top, DefaultRoot) + "/" + site + "/" }

// source names the site where events come from.
func (p *Publisher) source() string { return cmp.Or(p.o.Root, DefaultRoot) + "/" + p.o.Site }

// stamp says when something was so. Time is the wall clock's as far as it is known;
// Boot and At (seconds on the program's own clock) stay right whatever the clock does.
type stamp struct {
	Time         string  `json:"time"`
	ClockTrusted bool    `json:"clock_trusted"`
	Boot         string  `json:"boot"`
	At           float64 `json:"at"`
}

func (p *Publisher) stamp(latest *status.Status, at time.Duration) stamp {
	return stamp{wall(latest, at), latest.ClockTrusted, p.o.BootID, at.Seconds()}
}

func wall(latest *status.Status, at time.Duration) string { return rfc3339(latest.WallOf(at)) }

func rfc3339(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z07:00") }

// available is the payload of availability.
type available struct {
	Version  int    `json:"version"`
	State    string `json:"state"` // online, offline or lost
	Boot     string `json:"boot"`
	Since    string `json:"since"` // when the program began, as the clock has it now
	Software string `json:"software"`
}

func (p *Publisher) available(state string) ([]byte, error) {
	// The monotonic difference survives a clock that is set after the start.
	since := time.Now().Add(-time.Since(p.o.Started))
	return json.Marshal(available{version, state, p.o.BootID, rfc3339(since), p.o.Software})
}

// value is a number with its quality; without a usable one the number is null.
type value struct {
	Value   *float64 `json:"value"`
	Unit    string   `json:"unit"`
	Quality string   `json:"quality"`
	Fault   string   `json:"fault,omitempty"`
	// Measured is when the channel was last really measured.
	Measured string `json:"measured,omitempty"`
}

func valueOf(c frame.Channel, in frame.Input) value {
	v := value{Unit: unitOf(c), Quality: in.Quality.String(), Fault: in.Fault}
	if verdict.Readable(in) {
		n := rounded(c, in.Value)
		v.Value = &n
	}
	return v
}

func unitOf(c frame.Channel) string {
	if c.Pressure() {
		return pascal
	}
	return celsius
}

// outline is the payload of state.
type outline struct {
	Version int `json:"version"`
	stamp
	Verdict    said             `json:"verdict"`
	Phase      string           `json:"phase"`
	PhaseSince string           `json:"phase_since"`
	Draft      value            `json:"draft_average"`
	Channels   map[string]value `json:"channels"`
	Alarms     []standing       `json:"alarms"`
}

type said struct {
	Level    string `json:"level"`
	Headline string `json:"headline"`
	Action   string `json:"action"`
}

type standing struct {
	Alarm      string `json:"alarm"`
	Channel    string `json:"channel,omitempty"`
	State      string `json:"state"`
	Blind      bool   `json:"blind"`
	Priority   string `json:"priority"`
	Occurrence uint32 `json:"occurrence"`
	Since      string `json:"since"`
}

func (p *Publisher) summary(s *status.Status) ([]byte, error) {
	v := p.o.Verdict.Judge(s, 0)
	out := outline{
		Version:    version,
		stamp:      p.stamp(s, s.Frame.At),
		Verdict:    said{v.Level.String(), v.Headline, v.Action},
		Phase:      s.Assessment.Phase.String(),
		PhaseSince: wall(s, s.Assessment.PhaseSince),
		Draft:      valueOf(frame.Draft, s.Assessment.Draft),
		Channels:   make(map[string]value, frame.Count),
		Alarms:     []standing{},
	}
	for _, c := range frame.All() {
		v := valueOf(c, s.Frame.Inputs[c])
		if t := s.Taken[c]; !t.IsZero() {
			v.Measured = rfc3339(t)
		}
		out.Channels[c.String()] = v
	}
	for _, a := range s.Assessment.Alarms {
		out.Alarms = append(out.Alarms, standing{
			string(a.Key.Name), channelOf(a.Key), a.Word(), a.Blind,
			a.Priority.String(), a.Occurrence, wall(s, a.Since),
		})
	}
	return json.Marshal(out)
}

// condition is the payload of alarm/<name>[/<channel>], and part of an event.
type condition struct {
	Version int `json:"version"`
	stamp
	Alarm   string `json:"alarm"`
	Channel string `json:"channel,omitempty"`
	State   string `json:"state"`
	// Blind is set while a reading that the alarm depends on is missing: State is then
	// what was last known.
	Blind      bool   `json:"blind"`
	Priority   string `json:"priority"`
	Occurrence uint32 `json:"occurrence"`
	// Acknowledged says that a person has taken this occurrence, First that it began the
	// episode.
	Acknowledged bool     `json:"acknowledged"`
	First        bool     `json:"first"`
	ShelvedUntil string   `json:"shelved_until,omitempty"`
	ShelvedBy    string   `json:"shelved_by,omitempty"`
	Since        string   `json:"since"`
	Value        *float64 `json:"value"`
	Limit        *float64 `json:"limit"`
	Unit         *string  `json:"unit"`
	Fault        string   `json:"fault,omitempty"`
	// ExpectedAt is when the limit is expected to be passed, Causes why it gets so hot,
	// best first.
	ExpectedAt string            `json:"expected_at,omitempty"`
	Causes     []words.CauseLine `json:"causes,omitzero"`
	Message    string            `json:"message"`
	Action     string            `json:"action"`
}

func (p *Publisher) condition(a alarm.Status, account *analysis.Account, latest *status.Status, at time.Duration) condition {
	text, action := p.o.Verdict.Render(a, latest)
	c := condition{
		Version: version, stamp: p.stamp(latest, at),
		Alarm: string(a.Key.Name), Channel: channelOf(a.Key), State: a.Word(), Blind: a.Blind,
		Priority: a.Priority.String(), Occurrence: a.Occurrence, Since: wall(latest, a.Since),
		Fault: a.Fault, Message: text, Action: action,
	}
	c.Acknowledged, c.First = a.Acknowledged, a.First
	if a.State == alarm.Shelved {
		c.ShelvedUntil, c.ShelvedBy = wall(latest, a.ShelvedUntil), a.ShelvedBy
	}
	if a.State.Standing() && analysis.Explains(a.Key.Name) {
		c.Causes = words.Causes(account.Causes, latest.WallOf, p.o.Units)
		if account.Passes {
			c.ExpectedAt = wall(latest, account.ExpectedAt)
		}
	}
	if measured, about := subject(a.Key); about && a.Occurrence > 0 {
		v, l, u := rounded(measured, a.Value), rounded(measured, a.Limit), unitOf(measured)
		c.Value, c.Limit, c.Unit = &v, &l, &u
	}
	return c
}

// subject returns the channel whose number an alarm is about, if it is about one.
func subject(k alarm.Key) (frame.Channel, bool) {
	switch k.Name {
	case alarm.SensorLost, alarm.SensorImplausible:
		return 0, false
	case alarm.Spillage, alarm.DraftLow, alarm.DraftHigh:
		return frame.Draft, true
	case alarm.ChimneyFire:
		return frame.Flue, true
	case alarm.PlenumOverheat:
		return frame.Plenum, true
	}
	return k.Channel, k.Channel < frame.Count
}

func channelOf(k alarm.Key) string {
	if k.Channel < frame.Count {
		return k.Channel.String()
	}
	return ""
}

// cloudEvent is the structured JSON form of CloudEvents 1.0.2. Source and id together
// tell a repeat.
type cloudEvent struct {
	SpecVersion     string `json:"specversion"`
	ID              string `json:"id"`
	Source          string `json:"source"`
	Type            string `json:"type"`
	Subject         string `json:"subject,omitempty"`
	Time            string `json:"time,omitempty"` // absent while the clock is not trusted
	DataContentType string `json:"datacontenttype"`
	Data            any    `json:"data"`
}

// The types of events.
const (
	alarmEvent = "fluewright.alarm"
	phaseEvent = "fluewright.phase"
	burnEvent  = "fluewright.burn"

	reloadEvent = "fluewright.reload"
	noticeEvent = "fluewright.notice"
)

type phaseChange struct {
	Version int `json:"version"`
	stamp
	From string `json:"from"`
	To   string `json:"to"`
}

type burnEnded struct {
	Version int `json:"version"`
	stamp
	Start       string   `json:"start"`
	End         string   `json:"end"`
	PeakFlue    *float64 `json:"peak_flue_celsius"`
	PeakChamber *float64 `json:"peak_chamber_celsius"`
	CleanBurn   float64  `json:"clean_burn_seconds"`
	MeanDraft   *float64 `json:"mean_draft_pascals"`
}

// reloaded is wood laid on fire or coals.
type reloaded struct {
	Version int `json:"version"`
	stamp
	Opened  string   `json:"opened"`
	Coals   float64  `json:"coals_seconds"`
	Flue    *float64 `json:"flue_celsius"`
	Chamber *float64 `json:"chamber_celsius"`
	Firebox *float64 `json:"firebox_celsius"`
}

// noticed is worth knowing and needs nobody now.
type noticed struct {
	Version int `json:"version"`
	stamp
	Notice string  `json:"notice"`
	Job    string  `json:"job,omitempty"`
	For    float64 `json:"for_seconds"`
	Title  string  `json:"title"`
	Action string  `json:"action"`
}

// event writes e as the n-th of this run.
func (p *Publisher) event(n uint64, e analysis.Event, latest *status.Status) ([]byte, error) {
	ce := cloudEvent{
		SpecVersion:     "1.0",
		ID:              p.o.BootID + "-" + strconv.FormatUint(n, 10),
		Source:          p.source(),
		DataContentType: "application/json",
	}
	if latest.ClockTrusted {
		ce.Time = wall(latest, e.At)
	}
	at := p.stamp(latest, e.At)
	switch e.Kind {
	case analysis.AlarmChanged:
		ce.Type, ce.Subject = alarmEvent, e.Alarm.Key.String()
		ce.Data = p.condition(e.Alarm, &e.Account, latest, e.At)
	case analysis.PhaseChanged:
		ce.Type, ce.Data = phaseEvent, phaseChange{version, at, e.From.String(), e.To.String()}
	case analysis.BurnEnded:
		b := e.Burn
		ce.Type, ce.Data = burnEvent, burnEnded{
			version, at, wall(latest, b.Start), wall(latest, b.End),
			finite(frame.Flue, b.PeakFlue), finite(frame.Chamber, b.PeakChamber),
			b.CleanBurn.Seconds(), finite(frame.Draft, b.MeanDraft),
		}
	case analysis.Reloaded:
		l := e.Load
		ce.Type, ce.Data = reloadEvent, reloaded{
			version, at, wall(latest, l.At), l.Coals.Seconds(),
			finite(frame.Flue, l.Flue), finite(frame.Chamber, l.Chamber), finite(frame.Firebox, l.Firebox),
		}
	case analysis.NoticeGiven:
		n := e.Notice
		d, _ := notice.Declared(n.Name, n.Job)
		out := noticed{
			Version: version, stamp: at, Notice: string(n.Name), For: n.For.Seconds(), Title: d.Title, Action: d.Action,
		}
		if n.Job != notice.NoJob {
			out.Job = n.Job.String()
		}
		ce.Type, ce.Data = noticeEvent, out
	}
	return json.Marshal(ce)
}

// finite returns v, or nil where there is none.
func finite(c frame.Channel, v float64) *float64 {
	return valueOf(c, frame.Input{Value: v, Quality: frame.Good}).Value
}
