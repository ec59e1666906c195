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

// clock is a night of the frames' own time.
func clock(at time.Duration) time.Time { return time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC).Add(at) }

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
	flutters := turned
	flutters.Value = 7.7
	low := raised(alarm.DraftLow, frame.Count)
	low.Value, low.Limit = 7, 10
	lost := raised(alarm.SensorLost, frame.Flue)
	lost.Fault = "open-circuit"
	stale := lost
	stale.Fault = "stale"
	out := raised(alarm.SensorImplausible, frame.Flue)
	out.Fault = plausible.ProbeOut
	put := low
	put.State, put.Condition, put.ShelvedBy = alarm.Shelved, alarm.Holds, "Ann"
	peace := put
	peace.Condition = alarm.Gone
	lesser := low
	lesser.State, lesser.Condition, lesser.SuppressedBy = alarm.Suppressed, alarm.Holds, alarm.Spillage
	full := raised(alarm.MonitorImpaired, frame.Count)
	full.Fault = message.HistoryFull
	odd := full
	odd.Fault = "odd"
	away := raised(alarm.Runaway, frame.Flue)
	away.Value, away.Limit = 500, 538
	tests := []struct {
		status          alarm.Status
		message, action string // action: how it begins
	}{
		{hot, "flue: too hot (555 °C, limit 538 °C)", "Keep the loading and ash doors shut"},
		{over, "flue: too hot (over)", ""},
		{turned, "the draft has turned: flue gas can come into the house (draft -2.0 Pa)", "If a carbon-monoxide alarm sounds"},
		{flutters, "the draft has turned: flue gas can come into the house (it flutters: 7.7 Pa at the moment)", "If a carbon-monoxide alarm sounds"},
		{low, "draft below the appliance's band (7.0 Pa, specified 10.0 Pa)", "Switch off exhaust fans"},
		{put, "draft below the appliance's band (7.0 Pa, specified 10.0 Pa) (shelved by Ann)", "Switch off exhaust fans"},
		{peace, "draft below the appliance's band (shelved by Ann)", ""},
		{lesser, "draft below the appliance's band (7.0 Pa, specified 10.0 Pa) (not told while there is spillage)", "Switch off"},
		{away, "flue: the fire is running away: the limit will be passed (500 °C now, limit 538 °C)", "See that the loading"},
		{lost, "flue: no reading: thermocouple open", "Check the thermocouple's screws"},
		{out, "flue: the reading cannot be right: it reads the room beside a fire: the probe seems to be out of its place", "Put the probe back"},
		{stale, "flue: no reading: stale", "Watch the fire yourself"},
		{full, "the monitor does not work as it should: the storage is full, and what happens is kept in memory alone", "Watch the fire yourself until the monitor is right again. Make room"},
		{odd, "the monitor does not work as it should: odd", "Watch the fire yourself"},
	}
	for _, tt := range tests {
		m, a := message.Alarm(tt.status, analysis.Account{}, clock, si{})
		if m != tt.message || !strings.HasPrefix(a, tt.action) || (tt.action == "") != (a == "") {
			t.Errorf("%v: %q, %q; want %q, %q…", tt.status.Key, m, a, tt.message, tt.action)
		}
	}
}

// Every alarm has words of its own: none falls through to its bare name.
func TestEveryAlarmHasWords(t *testing.T) {
	for _, d := range alarm.Declarations() {
		m, a := message.Alarm(raised(d.Name, frame.Count), analysis.Account{}, clock, si{})
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
		m, a := message.Alarm(s, analysis.Account{}, clock, si{})
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
	taken := hot
	taken.State, taken.Acknowledged = alarm.Normal, true
	tests := map[string]struct {
		event analysis.Event
		want  string // a part of the JSON
	}{
		"alarm": {
			analysis.Event{At: time.Minute, Kind: analysis.AlarmChanged, Change: alarm.WasRaised, Alarm: hot},
			`{"time":"2026-01-31T21:01:00Z","type":"alarm","alarm":"overheat","state":"raised","priority":"high","channel":"flue","occurrence":3,"message":"flue: too hot (555 °C, limit 538 °C)","action":"Keep`,
		},
		"an account that has changed": {
			analysis.Event{Kind: analysis.AlarmChanged, Change: alarm.WasUpdated, Alarm: hot},
			`{"time":"2026-01-31T21:00:00Z","type":"alarm","alarm":"overheat","state":"updated","priority":"high"`,
		},
		"taken when it was over": {
			analysis.Event{Kind: analysis.AlarmChanged, Change: alarm.WasAcknowledged, Alarm: taken},
			`{"time":"2026-01-31T21:00:00Z","type":"alarm","alarm":"overheat","state":"acknowledged","priority":"high","channel":"flue","occurrence":3,"message":"flue: too hot (over)","acknowledged":true}`,
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
			`{"time":"2026-01-31T22:00:00Z","type":"burn","kind":"found","start":"2026-01-31T21:00:00Z","end":"2026-01-31T22:00:00Z","loads":0,"doors":0,"peak_flue_celsius":300,`,
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
