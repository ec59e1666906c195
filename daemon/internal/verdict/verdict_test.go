package verdict_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

var site = verdict.Site{
	Fitted: [frame.Count]bool{frame.Flue: true, frame.Draft: true},
	Render: func(a alarm.Status, _ *status.Status) (string, string) {
		return verdict.Name(a.Key) + " is wrong.", "Act on " + verdict.Name(a.Key) + "."
	},
}

func key(n alarm.Name, c frame.Channel) alarm.Key { return alarm.Key{Name: n, Channel: c} }

// calm is a tick at which all is well.
func calm() *status.Status {
	now := time.Date(2026, 1, 17, 20, 0, 0, 0, time.UTC)
	s := &status.Status{Site: "cellar", Seq: 600, Wall: now}
	s.Frame.At = 10 * time.Minute
	for c, v := range map[frame.Channel]float64{frame.Flue: 240, frame.Draft: 12} {
		s.Frame.Inputs[c] = frame.Input{Value: v, Quality: frame.Good}
		s.Taken[c] = now
	}
	s.Assessment = analysis.Assessment{Phase: burn.CleanBurn}
	for _, k := range []alarm.Key{
		key(alarm.Overheat, frame.Flue), key(alarm.Spillage, frame.Count), key(alarm.DraftLow, frame.Count),
		key(alarm.SensorLost, frame.Flue), key(alarm.SensorLost, frame.Draft), key(alarm.SensorImplausible, frame.Flue),
		key(alarm.MonitorImpaired, frame.Count),
	} {
		s.Assessment.Alarms = append(s.Assessment.Alarms, alarm.Status{Key: k, Priority: alarm.High, State: alarm.Normal})
	}
	return s
}

func TestJudge(t *testing.T) {
	raise := func(s *status.Status, i int, since time.Duration) {
		s.Assessment.Alarms[i].State, s.Assessment.Alarms[i].Since = alarm.Raised, since
	}
	lose := func(s *status.Status, c frame.Channel) {
		s.Frame.Inputs[c] = frame.Input{Value: 240, Quality: frame.Faulty, Fault: "open-circuit"}
	}
	for _, tt := range []struct {
		name    string
		change  func(*status.Status)
		silence time.Duration
		level   verdict.Level
		says    string
		action  string
	}{
		{"a clean burn", func(*status.Status) {}, 0, verdict.Well, "No alarm. The fire burns clean.", ""},
		{"what is judged by whole burns is not waited for, and not called well", func(s *status.Status) {
			s.Assessment.Alarms = append(s.Assessment.Alarms, alarm.Status{Key: key(alarm.FlueRestricted, frame.Count), Blind: true})
		}, 0, verdict.Well, "No alarm. The fire burns clean. Not judged before some burns: flue restricted.", ""},
		{"no fire", func(s *status.Status) { s.Assessment.Phase = burn.Cold }, 0, verdict.Well, "No alarm. There is no fire.", ""},
		{"a suspect reading is still one", func(s *status.Status) { s.Frame.Inputs[frame.Flue].Quality = frame.Suspect }, 0, verdict.Well, "No alarm.", ""},
		{"one alarm", func(s *status.Status) { raise(s, 0, 0) }, 0, verdict.Alarm, "Alarm: overheat (flue) is wrong.", "Act on overheat (flue)."},
		{"acknowledged, it still stands", func(s *status.Status) {
			s.Assessment.Alarms[0].State = alarm.Acknowledged
		}, 0, verdict.Alarm, "Alarm: overheat (flue)", "Act on overheat (flue)."},
		{"the older of two comes first", func(s *status.Status) {
			raise(s, 0, 2*time.Minute)
			raise(s, 1, time.Minute)
		}, 0, verdict.Alarm, "2 alarms. First: spillage is wrong.", "Act on spillage."},
		{"the more urgent comes before the older", func(s *status.Status) {
			raise(s, 0, 2*time.Minute)
			raise(s, 2, time.Minute)
			s.Assessment.Alarms[2].Priority = alarm.Medium
		}, 0, verdict.Alarm, "2 alarms. First: overheat (flue)", "Act on overheat (flue)."},
		{"a hazard comes before a lost sensor", func(s *status.Status) {
			lose(s, frame.Flue)
			raise(s, 3, time.Minute)
			raise(s, 2, 2*time.Minute)
			s.Assessment.Alarms[2].Priority = alarm.Low
		}, 0, verdict.Alarm, "2 alarms. First: draft low", "Act on draft low."},
		{"a lost sensor alone is blindness", func(s *status.Status) {
			lose(s, frame.Flue)
			raise(s, 3, time.Minute)
		}, 0, verdict.Blind, "Blind: sensor lost (flue) is wrong.", "Act on sensor lost (flue)."},
		{"a hazard comes before a reading that cannot be", func(s *status.Status) {
			raise(s, 5, time.Minute)
			raise(s, 2, 2*time.Minute)
			s.Assessment.Alarms[2].Priority = alarm.Low
		}, 0, verdict.Alarm, "2 alarms. First: draft low", "Act on draft low."},
		{"a reading that cannot be, alone, is blindness", func(s *status.Status) {
			raise(s, 5, time.Minute)
		}, 0, verdict.Blind, "Blind: sensor implausible (flue) is wrong.", "Act on sensor implausible (flue)."},
		{"a flue that cannot be, its alarm not yet raised", func(s *status.Status) {
			s.Assessment.PhaseHeld = true
		}, 0, verdict.Blind, "Blind: how the fire burns cannot be told", "Watch"},
		{"a reading is gone, its alarm not yet raised", func(s *status.Status) { lose(s, frame.Flue) }, 0, verdict.Blind, "Blind: no reading of flue.", "Watch"},
		{"a stale reading is none", func(s *status.Status) { s.Frame.Inputs[frame.Draft].Quality = frame.Stale }, 0, verdict.Blind, "Blind: no reading of draft.", "Watch"},
		{"what is no number is no reading", func(s *status.Status) { s.Frame.Inputs[frame.Draft].Value = math.NaN() }, 0, verdict.Blind, "Blind: no reading of draft.", "Watch"},
		{"an alarm that cannot be judged", func(s *status.Status) { s.Assessment.Alarms[1].Blind = true }, 0, verdict.Blind, "Blind: cannot judge spillage.", "Watch"},
		{"an alarm not judged yet", func(s *status.Status) { s.Assessment.Alarms[1].State = alarm.Unjudged }, 0, verdict.Checking, "Checking: the readings are there", "Watch"},
		{"over, and nobody has acknowledged it", func(s *status.Status) { s.Assessment.Alarms[1].State = alarm.Returned }, 0, verdict.Well, "No alarm.", ""},
		{"shelved, and it holds", func(s *status.Status) {
			s.Assessment.Alarms[2].State, s.Assessment.Alarms[2].Condition = alarm.Shelved, alarm.Holds
		}, 0, verdict.Alarm, "Alarm: draft low is wrong.", "Act on draft low."},
		{"shelved, and it holds, beside one that stands", func(s *status.Status) {
			s.Assessment.Alarms[2].State, s.Assessment.Alarms[2].Condition = alarm.Shelved, alarm.Holds
			raise(s, 3, time.Minute)
		}, 0, verdict.Blind, "Blind: sensor lost (flue) is wrong.", "Act on sensor lost (flue)."},
		{"shelved, and gone", func(s *status.Status) {
			s.Assessment.Alarms[2].State, s.Assessment.Alarms[2].Condition = alarm.Shelved, alarm.Gone
		}, 0, verdict.Well, "No alarm. The fire burns clean. Shelved: draft low.", ""},
		{"shelved, and not judged", func(s *status.Status) {
			s.Assessment.Alarms[2].State = alarm.Shelved
		}, 0, verdict.Checking, "Checking", "Watch"},
		{"shelved, and blind", func(s *status.Status) {
			s.Assessment.Alarms[2].State, s.Assessment.Alarms[2].Condition, s.Assessment.Alarms[2].Blind = alarm.Shelved, alarm.Gone, true
		}, 0, verdict.Blind, "Blind: cannot judge draft low.", "Watch"},
		{"suppressed is not well", func(s *status.Status) {
			s.Assessment.Alarms[2].State, s.Assessment.Alarms[2].Condition = alarm.Suppressed, alarm.Holds
		}, 0, verdict.Checking, "Checking", "Watch"},
		{"the monitor itself", func(s *status.Status) {
			raise(s, 6, 0)
		}, 0, verdict.Alarm, "Alarm: monitor impaired is wrong.", "Act on monitor impaired."},
		{"the monitor itself, shelved", func(s *status.Status) {
			s.Assessment.Alarms[6].State, s.Assessment.Alarms[6].Condition = alarm.Shelved, alarm.Holds
		}, 0, verdict.Alarm, "Alarm: monitor impaired is wrong.", "Act on monitor impaired."},
		{"a hazard comes before the monitor itself", func(s *status.Status) {
			raise(s, 6, 0)
			raise(s, 0, time.Minute)
		}, 0, verdict.Alarm, "2 alarms. First: overheat (flue) is wrong.", "Act on overheat (flue)."},
		{"a lost sensor comes before the monitor itself", func(s *status.Status) {
			raise(s, 6, 0)
			raise(s, 3, time.Minute)
		}, 0, verdict.Blind, "Blind: sensor lost (flue) is wrong.", "Act on sensor lost (flue)."},
		{"a reading is gone beside the monitor itself", func(s *status.Status) {
			raise(s, 6, 0)
			lose(s, frame.Flue)
		}, 0, verdict.Blind, "Blind: no reading of flue. Also: monitor impaired is wrong.", "Watch"},
		{"nobody can tell beside the monitor itself", func(s *status.Status) {
			raise(s, 6, 0)
			s.Assessment.Alarms[1].Blind = true
		}, 0, verdict.Blind, "Blind: cannot judge spillage. Also: monitor impaired is wrong.", "Watch"},
		{"too early to tell beside the monitor itself", func(s *status.Status) {
			raise(s, 6, 0)
			s.Assessment.Alarms[1].State = alarm.Unjudged
		}, 0, verdict.Checking, "Checking: the readings are there, but for too short a time to judge them. Also: monitor impaired is wrong.", "Watch"},
		{"phase not known", func(s *status.Status) { s.Assessment.Phase = burn.Unknown }, 0, verdict.Checking, "Checking", "Watch"},
		{"no alarms are judged at all", func(s *status.Status) { s.Assessment.Alarms = nil }, 0, verdict.Checking, "Checking", "Watch"},
		{"the first reading is due", func(s *status.Status) {
			s.Frame.Inputs[frame.Flue] = frame.Input{}
			s.Taken[frame.Flue] = time.Time{}
			s.Assessment.Alarms[3].State = alarm.Unjudged
		}, 0, verdict.Checking, "Checking: waiting for the first reading of flue.", "Watch"},
		{"a fault at the first look is no start", func(s *status.Status) {
			lose(s, frame.Flue)
			s.Taken[frame.Flue] = time.Time{}
			s.Assessment.Alarms[3].State = alarm.Unjudged
		}, 0, verdict.Blind, "Blind: no reading of flue.", "Watch"},
		{"the loop stands still", func(*status.Status) {}, 12 * time.Second, verdict.Blind, "Blind: the monitor has read nothing for 12 s.", "Watch"},
		{
			"the loop stands still during an alarm", func(s *status.Status) { raise(s, 0, 0) }, 5 * time.Minute, verdict.Blind,
			"read nothing for 5 min. When it last could see: overheat (flue) is wrong.", "Act on overheat (flue).",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := calm()
			tt.change(s)
			got := site.Judge(s, tt.silence)
			if got.Level != tt.level || !strings.Contains(got.Headline, tt.says) {
				t.Errorf("Judge() = %s %q, want %s %q", got.Level, got.Headline, tt.level, tt.says)
			}
			if tt.action == "" && got.Action != "" || !strings.Contains(got.Action, tt.action) {
				t.Errorf("action %q, want %q", got.Action, tt.action)
			}
		})
	}
}

func TestBeforeTheFirstTick(t *testing.T) {
	if got := site.Judge(nil, 0); got.Level != verdict.Checking {
		t.Errorf("Judge(nil) = %s, want checking", got.Level)
	}
}

// TestNeverFalselyWell draws any tick at all and holds "all is well" against the rule.
func TestNeverFalselyWell(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := calm()
		s.Assessment.Phase = burn.Phase(rapid.IntRange(0, int(burn.Coals)).Draw(t, "phase"))
		for i := range s.Assessment.Alarms {
			a := &s.Assessment.Alarms[i]
			a.State = alarm.State(rapid.SampledFrom([]int{1, 1, 1, 1, 0, 2, 3, 4, 5, 6}).Draw(t, "state"))
			a.Condition = alarm.Condition(rapid.IntRange(0, 2).Draw(t, "condition"))
			a.Blind = rapid.SampledFrom([]bool{false, false, false, true}).Draw(t, "blind")
		}
		for _, c := range []frame.Channel{frame.Flue, frame.Draft} {
			s.Frame.Inputs[c].Quality = frame.Quality(rapid.SampledFrom([]int{4, 4, 4, 3, 2, 1, 0}).Draw(t, "quality"))
		}
		silence := time.Duration(rapid.SampledFrom([]int{0, 0, 5}).Draw(t, "silence"))
		allowed := silence == 0
		for _, a := range s.Assessment.Alarms {
			over := a.State == alarm.Normal || a.State == alarm.Returned || a.State == alarm.Shelved && a.Condition == alarm.Gone
			allowed = allowed && over && !a.Blind
		}
		for _, c := range []frame.Channel{frame.Flue, frame.Draft} {
			allowed = allowed && s.Frame.Inputs[c].Quality >= frame.Suspect
		}
		got := site.Judge(s, silence)
		said := got.Level == verdict.Well || strings.Contains(got.Headline, "well")
		if said && !allowed {
			t.Fatalf("said %q", got.Headline)
		}
		if got.Level != verdict.Well && got.Action == "" {
			t.Fatalf("%q comes without anything to do", got.Headline)
		}
	})
}
