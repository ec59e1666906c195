package mqtt

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/history"
	words "fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
)

// kept writes an event as the history has it; nil for what is not told. The same event has the
// same id however often it is read.
func (p *Publisher) kept(e *history.Happened, since map[alarm.Key]time.Time, latest *status.Status) ([]byte, error) {
	ce := cloudEvent{
		SpecVersion: "1.0", ID: e.Position.Identity + "-" + strconv.FormatInt(e.No, 10), Source: p.source(),
		DataContentType: "application/json",
	}
	at := stamp{rfc3339(e.At), e.Sure, e.Position.Identity, float64(e.MS) / 1000}
	if e.Sure {
		ce.Time = at.Time
	}
	f := fields(e.Fields)
	moment := func(name string) string { return rfc3339(e.Moment(f.whole(name))) }
	switch e.Table {
	case "alarms":
		c := p.keptAlarm(e, f, since, latest)
		c.stamp = at
		ce.Type, ce.Subject, ce.Data = alarmEvent, f.text("alarm"), c
		if c.Channel != "" {
			ce.Subject += "/" + c.Channel
		}
	case "phases":
		ce.Type, ce.Data = phaseEvent, phaseChange{version, at, f.text("before"), f.text("phase")}
	case "burns":
		ce.Type, ce.Data = burnEvent, burnEnded{
			version, at, moment("start_ms"), moment("end_ms"),
			f.number("peak_flue_celsius", frame.Flue), f.number("peak_chamber_celsius", frame.Chamber), f.float("clean_burn_s"), f.number("mean_draft_pascals", frame.Draft),
		}
	case "loads":
		ce.Type, ce.Data = reloadEvent, reloaded{
			version, at, moment("laid_ms"), f.float("coals_s"),
			f.number("flue_celsius", frame.Flue), f.number("chamber_celsius", frame.Chamber), f.number("firebox_celsius", frame.Firebox),
		}
	case "notices":
		job := notice.NoJob
		if i := slices.IndexFunc(notice.Jobs(), func(j notice.Job) bool { return j.String() == f.text("job") }); i >= 0 {
			job = notice.Jobs()[i]
		}
		d, ok := notice.Declared(notice.Name(f.text("notice")), job)
		if !ok {
			return nil, nil // the history's own, which nobody subscribes to
		}
		n := noticed{Version: version, stamp: at, Notice: f.text("notice"), For: f.float("lasted_s"), Title: d.Title, Action: d.Action}
		if job != notice.NoJob {
			n.Job = job.String()
		}
		ce.Type, ce.Data = noticeEvent, n
	default:
		return nil, fmt.Errorf("there is no event of the kind %s", e.Table)
	}
	return json.Marshal(ce)
}

// keptAlarm is a change of an alarm. since holds when each alarm came into its state, as far
// as the events before tell.
func (p *Publisher) keptAlarm(e *history.Happened, f fields, since map[alarm.Key]time.Time, latest *status.Status) condition {
	k := alarm.Key{Name: alarm.Name(f.text("alarm")), Channel: frame.Count}
	if c, ok := frame.Parse(f.text("channel")); ok {
		k.Channel = c
	}
	began, known := since[k]
	if !known || f.text("change") != "updated" {
		began = e.At
		since[k] = began
	}
	state := f.text("state")
	c := condition{
		Version: version, Alarm: string(k.Name), Channel: channelOf(k), State: state,
		Priority: f.text("priority"), Occurrence: uint32(f.whole("occurrence")), Acknowledged: f.whole("acknowledged") != 0, First: f.whole("first") != 0,
		Since: rfc3339(began), Fault: f.text("fault"), Message: f.text("message"), Action: f.text("action"),
	}
	if state == alarm.Returned.String() || state == alarm.Normal.String() && c.Occurrence > 0 {
		c.State = "cleared"
	}
	// If it is still as the event left it, what is known now of it counts.
	if latest != nil && e.Position.Identity == p.o.BootID {
		for _, a := range latest.Assessment.Alarms {
			if a.Key == k && a.Occurrence == c.Occurrence && a.State.String() == state {
				c.Blind = a.Blind
				if !known {
					c.Since = wall(latest, a.Since)
				}
				if a.State == alarm.Shelved {
					c.ShelvedUntil, c.ShelvedBy = wall(latest, a.ShelvedUntil), a.ShelvedBy
				}
			}
		}
	}
	standing := state == alarm.Raised.String() || state == alarm.Acknowledged.String()
	if standing && analysis.Explains(k.Name) {
		c.Causes = []words.CauseLine{}
		_ = json.Unmarshal([]byte(f.text("causes")), &c.Causes) // none if it was none
		if f["expected_ms"] != nil {
			c.ExpectedAt = rfc3339(e.Moment(f.whole("expected_ms")))
		}
	}
	if measured, about := subject(k); about && c.Occurrence > 0 {
		u := unitOf(measured)
		c.Value, c.Limit, c.Unit = f.number("value", measured), f.number("limit", measured), &u
	}
	return c
}

// fields are those of an event, NULL where there is nothing.
type fields map[string]any

func (f fields) text(name string) string { s, _ := f[name].(string); return s }

func (f fields) whole(name string) int64 { n, _ := f[name].(int64); return n }

func (f fields) float(name string) float64 { v, _ := f[name].(float64); return v }

func (f fields) number(name string, c frame.Channel) *float64 {
	v, ok := f[name].(float64)
	if !ok {
		return nil
	}
	return finite(c, v)
}
