package message_test

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
	"fluewright/daemon/internal/message"
	"fluewright/sensors"
)

// si is the plainest units there are.
type si struct{}

func (si) Temperature(c float64) string { return fmt.Sprintf("%.0f °C", c) }
func (si) Pressure(p float64) string    { return fmt.Sprintf("%.1f Pa", p) }

func raised(name alarm.Name, c frame.Channel) alarm.Status {
	return alarm.Status{Key: alarm.Key{Name: name, Channel: c}, State: alarm.Raised, Priority: alarm.High, Occurrence: 3}
}

func TestAlarm(t *testing.T) {
	hot := raised(alarm.Overheat, frame.Flue)
	hot.Value, hot.Limit = 555, 538
	over := hot
	over.State = alarm.Normal
	turned := raised(alarm.Spillage, frame.Count)
	turned.Value = -2.04
	low := raised(alarm.DraftLow, frame.Count)
	low.Value, low.Limit = 7, 10
	lost := raised(alarm.SensorLost, frame.Flue)
	lost.Fault = "open-circuit"
	stale := lost
	stale.Fault = "stale"
	out := raised(alarm.SensorImplausible, frame.Flue)
	out.Fault = plausible.ProbeOut
	tests := []struct {
		status          alarm.Status
		message, action string // action: how it begins
	}{
		{hot, "flue: too hot (555 °C, limit 538 °C)", "Keep the loading and ash doors shut"},
		{over, "flue: too hot (over)", ""},
		{turned, "the draft has turned: flue gas can come into the house (draft -2.0 Pa)", "Open a window"},
		{low, "draft below the appliance's band (7.0 Pa, specified 10.0 Pa)", "Switch off exhaust fans"},
		{lost, "flue: no reading: thermocouple open", "Check the thermocouple's screws"},
		{out, "flue: the reading cannot be right: it reads the room beside a fire: the probe seems to be out of its place", "Put the probe back"},
		{stale, "flue: no reading: stale", "Watch the fire yourself"},
	}
	for _, tt := range tests {
		m, a := message.Alarm(tt.status, si{})
		if m != tt.message || !strings.HasPrefix(a, tt.action) || (tt.action == "") != (a == "") {
			t.Errorf("%v: %q, %q; want %q, %q…", tt.status.Key, m, a, tt.message, tt.action)
		}
	}
}

// Every alarm has words of its own: none falls through to its bare name.
func TestEveryAlarmHasWords(t *testing.T) {
	for _, d := range alarm.Declarations() {
		m, a := message.Alarm(raised(d.Name, frame.Count), si{})
		if !strings.HasPrefix(m, d.Title) || !strings.Contains(a, d.Action) {
			t.Errorf("%s: %q, %q", d.Name, m, a)
		}
	}
}

// What the analysis finds implausible has its words in the sensor layer, which it cannot
// import: the codes must agree.
func TestEveryFindingHasWords(t *testing.T) {
	for _, code := range plausible.Codes() {
		s := raised(alarm.SensorImplausible, frame.Draft)
		s.Fault = code
		info := sensors.Code(code).Info()
		m, a := message.Alarm(s, si{})
		if info.Title == "" || !strings.HasSuffix(m, info.Title) || info.Hint == "" || !strings.HasPrefix(a, info.Hint) {
			t.Errorf("%s: %q, %q", code, m, a)
		}
	}
}

func TestLine(t *testing.T) {
	start := time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC)
	wall := func(at time.Duration) time.Time { return start.Add(at) }
	hot := raised(alarm.Overheat, frame.Flue)
	hot.Value, hot.Limit = 555, 538
	tests := map[string]struct {
		event analysis.Event
		want  string // a part of the JSON
	}{
		"alarm": {
			analysis.Event{At: time.Minute, Kind: analysis.AlarmChanged, Change: alarm.WasRaised, Alarm: hot},
			`{"time":"2026-01-31T21:01:00Z","type":"alarm","alarm":"overheat","state":"raised","priority":"high","channel":"flue","occurrence":3,"message":"flue: too hot (555 °C, limit 538 °C)","action":"Keep`,
		},
		"an alarm that is now known to be normal is nothing to say": {
			analysis.Event{Kind: analysis.AlarmChanged, Change: alarm.BecameKnown, Alarm: hot},
			"null",
		},
		"phase": {
			analysis.Event{Kind: analysis.PhaseChanged, From: burn.Cold, To: burn.Lighting},
			`{"time":"2026-01-31T21:00:00Z","type":"phase","phase":"lighting","from":"cold"}`,
		},
		"burn without a chamber": {
			analysis.Event{At: time.Hour, Kind: analysis.BurnEnded, Burn: burn.Summary{
				End: time.Hour, PeakFlue: 300, PeakChamber: math.NaN(), CleanBurn: time.Minute, MeanDraft: 12.5,
			}},
			`{"time":"2026-01-31T22:00:00Z","type":"burn","start":"2026-01-31T21:00:00Z","end":"2026-01-31T22:00:00Z","peak_flue_celsius":300,"clean_burn_seconds":60,"mean_draft_pascals":12.5}`,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := json.Marshal(message.Line(tt.event, wall, si{}))
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(string(got), tt.want) {
				t.Errorf("%s\nwant %s", got, tt.want)
			}
		})
	}
}
