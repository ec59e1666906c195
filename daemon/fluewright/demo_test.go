package main

import (
	"bytes"
	"testing"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
)

// A person who watches the demonstration is told what happens, why, and what to do first.
func TestTheDemonstrationTellsWhy(t *testing.T) {
	hot := alarm.Status{
		Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, State: alarm.Raised, Priority: alarm.High, Value: 600, Limit: 538,
	}
	gone := hot
	gone.State = alarm.Normal
	dry := analysis.Account{Causes: []cause.Cause{{
		Code: cause.DryFuel, Weight: 0.8,
		Evidence: [4]cause.Evidence{{Kind: cause.Moisture, Channel: frame.Count, Value: 0.08, Reference: 0.1}},
	}}}
	declared, _ := alarm.Declared(alarm.Overheat)
	first := declared.Action
	for _, tt := range []struct {
		name  string
		event analysis.Event
		want  string
	}{
		{"an overheat", analysis.Event{Kind: analysis.AlarmChanged, Alarm: hot, Change: alarm.WasRaised, Account: dry}, `20:15:00  raised  high     flue: too hot (600 °C, limit 538 °C)
          first: ` + first + ` Very likely cause: the wood is too dry. ` + message.CauseAdvice(cause.DryFuel) + `
          seen:  The wood was logged with 8 % moisture (wet basis); under 10 % it burns too fast.
`},
		{"one that nothing explains", analysis.Event{Kind: analysis.AlarmChanged, Alarm: hot, Change: alarm.WasRaised}, `20:15:00  raised  high     flue: too hot (600 °C, limit 538 °C)
          first: ` + first + ` Nothing in the burn so far stands out as the cause.
`},
		{"its end", analysis.Event{Kind: analysis.AlarmChanged, Alarm: gone, Change: alarm.WasCleared}, "20:15:00  normal  high     flue: too hot (over)\n"},
		{"wood", analysis.Event{Kind: analysis.Reloaded}, "20:15:00  reload  wood was laid on\n"},
		{"a notice", analysis.Event{Kind: analysis.NoticeGiven, Notice: notice.Notice{Name: notice.FireOut}}, "20:15:00  notice  The fire is out. The flue is as cold as without a fire. Embers can glow under the ash for days, and give off carbon monoxide.\n"},
	} {
		s := statustest.Burning()
		tt.event.At = s.Frame.At
		s.Assessment.Events = []analysis.Event{tt.event}
		var out bytes.Buffer
		tell(streams{out: &out}, s, units.SI)
		if out.String() != tt.want {
			t.Errorf("%s:\n%s\nwant\n%s", tt.name, &out, tt.want)
		}
	}
}
