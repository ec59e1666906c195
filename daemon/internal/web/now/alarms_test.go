package now

import (
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status/statustest"
)

// A cable that breaks takes all its readings: that is one thing to do, and not nine.
func TestAlarmsOfOneKindAreToldTogether(t *testing.T) {
	l := &loop{}
	p := page(t, l)
	s := statustest.Burning()
	for c, fitted := range statustest.Fitted {
		if fitted {
			statustest.Change(s, alarm.SensorLost, frame.Channel(c), alarm.Raised, 0, 0)
		}
	}
	statustest.Change(s, alarm.SensorLost, frame.Flue, alarm.Acknowledged, 0, 0)
	l.feed.Publish(s)
	v := p.view()
	if len(v.Alarms) != 1 || len(v.Taken) != 1 || len(v.More) != 0 {
		t.Fatalf("%d groups stand, %d below, %d are taken", len(v.Alarms), len(v.More), len(v.Taken))
	}
	if g := v.Alarms[0]; g.Title != "5 × no reading" || len(g.Take) != 5 || len(g.Lines) != 1 || g.Lines[0] != "firebox, plenum, room, draft, ambient" {
		t.Errorf("got %+v", g)
	}
	if g := v.Taken[0]; g.Title != "The flue reading is lost." || len(g.Take) != 0 || len(g.Taken) != 1 || g.Action == "" {
		t.Errorf("got %+v", g)
	}
	if g := v.Alarms[0]; g.Action != "" || !strings.HasPrefix(v.Action, "Watch the furnace yourself") {
		t.Errorf("what to do first is said as %q, and %q with the alarm", v.Action, g.Action)
	}
}

// What to do about the monitor must not take the place of what to do without its eyes.
func TestTheVerdictKeepsItsAdvice(t *testing.T) {
	l := &loop{}
	p := page(t, l)
	s := statustest.Burning()
	s.Assessment.Alarms = append(s.Assessment.Alarms, alarm.Status{
		Key: alarm.Key{Name: alarm.MonitorImpaired, Channel: frame.Count}, Priority: alarm.Low, State: alarm.Raised, Condition: alarm.Holds, Occurrence: 1,
	})
	s.Frame.Inputs[frame.Flue] = frame.Input{}
	l.feed.Publish(s)
	v := p.view()
	if v.Level != "blind" || !strings.HasPrefix(v.Action, "Watch the furnace yourself") || v.Alarms[0].Action == "" {
		t.Errorf("%s: do first %q; with the alarm %q", v.Level, v.Action, v.Alarms[0].Action)
	}
}

func TestForecastInWords(t *testing.T) {
	s := statustest.Burning()
	for name, tt := range map[string]struct {
		account analysis.Account
		want    string
	}{
		"none":      {analysis.Account{}, ""},
		"far":       {analysis.Account{Passes: true, ExpectedAt: s.Frame.At + 12*time.Minute + 20*time.Second}, "The limit is expected to be passed at 20:27, in about 12 min."},
		"near":      {analysis.Account{Passes: true, ExpectedAt: s.Frame.At + 70*time.Second}, "The limit is expected to be passed at 20:16, in about 2 min."},
		"at once":   {analysis.Account{Passes: true, ExpectedAt: s.Frame.At + 20*time.Second}, "The limit is expected to be passed within a minute."},
		"past that": {analysis.Account{Passes: true, ExpectedAt: s.Frame.At - time.Minute}, "The limit is expected to be passed within a minute."},
	} {
		if got := forecast(tt.account, s); got != tt.want {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
	}
}

// A gauge has its limit at four fifths, and never leaves its scale.
func TestGauge(t *testing.T) {
	for v, want := range map[float64]gauge{
		0: {0, false}, 350: {144, false}, 700: {limitAt, false}, 875: {360, false}, 900: {360, true}, -40: {0, false},
	} {
		if got := gaugeOf(v, 700); *got != want {
			t.Errorf("%g of 700: %+v, want %+v", v, *got, want)
		}
	}
}
