package standing_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/standing"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
)

func TestNow(t *testing.T) {
	s := statustest.Burning()
	statustest.Change(s, alarm.DraftHigh, frame.Count, alarm.Raised, 20, 15)
	s = statustest.After(s, 2*time.Minute)
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	statustest.Change(s, alarm.DraftLow, frame.Count, alarm.Shelved, 0, 0)
	s.Assessment.Accounts = make([]analysis.Account, len(s.Assessment.Alarms))
	for i, a := range s.Assessment.Alarms {
		if a.Key.Name == alarm.Overheat && a.Key.Channel == frame.Flue {
			s.Assessment.Accounts[i].Causes = []cause.Cause{{Code: cause.CoalBed, Weight: 0.7}}
		}
	}
	s = statustest.After(s, time.Minute)
	stand, rest := standing.Now(s, statustest.Site, units.SI, 0)
	if len(stand) != 2 || len(stand)+len(rest) != len(s.Assessment.Alarms) {
		t.Fatalf("%d stand, %d do not, of %d", len(stand), len(rest), len(s.Assessment.Alarms))
	}
	if a := stand[0]; a.Alarm != "overheat" || a.Channel != "flue" || a.State != "raised" || a.Lasted != 60 || !a.Since.Equal(statustest.Wall.Add(2*time.Minute)) ||
		a.Message != "The flue is too hot." || a.Action == "" || len(a.Causes) != 1 || a.Blind || a.Occurrence != 1 {
		t.Errorf("first: %+v", a)
	}
	if a := stand[1]; a.Alarm != "draft-high" || a.Lasted != 180 || a.Causes != nil {
		t.Errorf("second: %+v", a)
	}
	for _, a := range rest {
		if a.Alarm == "draft-low" && (a.ShelvedBy != "Ann" || a.ShelvedUntil == nil || !a.ShelvedUntil.Equal(statustest.Wall.Add(62*time.Minute))) {
			t.Errorf("shelved: %+v", a)
		}
	}
	stand, _ = standing.Now(s, statustest.Site, units.SI, 30*time.Second)
	if !stand[0].Blind || stand[0].Lasted != 90 {
		t.Errorf("after 30 s of silence: %+v", stand[0])
	}
}

func TestDeclarations(t *testing.T) {
	all := standing.Declarations(map[alarm.Name]alarm.Timing{alarm.Spillage: {Hold: 5 * time.Second, ClearAfter: 7 * time.Second}})
	if len(all) != len(alarm.Declarations()) {
		t.Fatalf("%d alarms", len(all))
	}
	for _, d := range all {
		if d.Title == "" || d.Consequence == "" || d.Action == "" || d.Respond <= 0 {
			t.Errorf("%+v", d)
		}
		if d.Alarm == "spillage" && (d.Hold != 5 || d.ClearAfter != 7) {
			t.Errorf("the site's timing: %+v", d)
		}
		if d.Alarm == "draft-high" && (d.Hold != 180 || len(d.Not) != 2 || d.Fitted[0] != "flue") {
			t.Errorf("%+v", d)
		}
	}
	if b, err := json.Marshal(all); err != nil || strings.Contains(string(b), "null") {
		t.Errorf("%s %v", b, err)
	}
}

func TestFigures(t *testing.T) {
	s := statustest.Burning()
	s.Assessment.AlarmMetrics = alarm.Metrics{Raised: [4]uint64{0, 1, 2, 3}, Standing: 4, Chattering: 1}
	f := standing.FiguresOf(s)
	if f.Raised["high"] != 3 || f.Raised["low"] != 1 || f.Standing != 4 || f.Chattering != 1 || f.Rate != 0 {
		t.Errorf("%+v", f)
	}
}
