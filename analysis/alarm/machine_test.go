package alarm_test

import (
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"

	"pgregory.net/rapid"
)

// A step is a verdict at a second.
type step struct {
	s    int
	v    alarm.Verdict
	want alarm.Change
}

func TestMachine(t *testing.T) {
	const (
		no      = alarm.NoChange
		blind   = alarm.Blind
		absent  = alarm.Absent
		between = alarm.Between
		present = alarm.Present
	)
	timing := alarm.Timing{Hold: 10 * time.Second, ClearAfter: 20 * time.Second}
	tests := map[string][]step{
		"raised when the condition has held": {
			{0, present, no}, {9, present, no}, {10, present, alarm.WasRaised}, {11, present, no},
		},
		"a condition that stops in time is not said": {
			{0, present, no}, {9, present, no}, {10, between, no}, {11, present, no}, {20, present, no}, {21, present, alarm.WasRaised},
		},
		"one lost frame does not make it forget": {
			{0, present, no}, {5, blind, no}, {10, present, alarm.WasRaised},
		},
		"two sightings far apart say nothing of the time between": {
			{0, present, no}, {600, present, no}, {610, present, alarm.WasRaised},
		},
		"becomes known when it has been seen gone": {
			{0, absent, no}, {10, between, no}, {20, absent, alarm.BecameKnown}, {30, absent, no},
		},
		"never seen is never known": {
			{0, blind, no}, {1000, blind, no}, {100000, blind, no},
		},
		"stands until gone by its hysteresis for long enough": {
			{0, present, no},
			{10, present, alarm.WasRaised},
			{20, between, no},
			{60, between, no},
			{61, absent, no},
			{80, absent, no},
			{81, absent, alarm.WasCleared},
		},
		"stands while nobody sees": {
			{0, present, no},
			{10, present, alarm.WasRaised},
			{20, absent, no},
			{30, blind, no},
			{5000, blind, no},
			{5001, absent, no},
			{5020, absent, no},
			{5021, absent, alarm.WasCleared},
		},
		"time that runs backwards is no time": {
			{100, present, no}, {0, present, no}, {50, present, no}, {109, present, no}, {110, present, alarm.WasRaised},
		},
	}
	for name, steps := range tests {
		t.Run(name, func(t *testing.T) {
			m := alarm.NewMachine(alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, alarm.High, timing)
			for _, s := range steps {
				if got := m.Step(time.Duration(s.s)*time.Second, s.v, 1, 2); got != s.want {
					t.Fatalf("at %d s: change %d, want %d", s.s, got, s.want)
				}
			}
		})
	}
}

func TestOccurrencesAreCounted(t *testing.T) {
	m := alarm.NewMachine(alarm.Key{Name: alarm.Spillage, Channel: frame.Count}, alarm.High, alarm.Timing{})
	for i := range 6 {
		v := alarm.Present
		if i%2 == 1 {
			v = alarm.Absent
		}
		m.Step(time.Duration(i)*time.Second, v, 0, 0)
	}
	if got := m.Status.Occurrence; got != 3 {
		t.Errorf("occurrence %d after three raisings", got)
	}
}

// The life cycle has few legal moves, whatever the verdicts and the clock.
func TestLifeCycleProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := alarm.NewMachine(alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, alarm.High,
			alarm.Timing{Hold: 5 * time.Second, ClearAfter: 5 * time.Second})
		for range rapid.IntRange(1, 200).Draw(t, "steps") {
			before := m.Status
			at := time.Duration(rapid.Int64().Draw(t, "at"))
			v := alarm.Verdict(rapid.IntRange(0, 3).Draw(t, "verdict"))
			change := m.Step(at, v, 1, 1)
			switch change {
			case alarm.WasRaised:
				if before.State.Standing() || v != alarm.Present {
					t.Fatalf("raised from %v on %v", before.State, v)
				}
			case alarm.WasCleared:
				if !before.State.Standing() || v != alarm.Absent {
					t.Fatalf("cleared from %v on %v", before.State, v)
				}
			case alarm.BecameKnown:
				if before.State != alarm.Unjudged || v == alarm.Present || v == alarm.Blind {
					t.Fatalf("known from %v on %v", before.State, v)
				}
			default:
				if m.Status.State != before.State {
					t.Fatalf("%v became %v without saying so", before.State, m.Status.State)
				}
			}
			if m.Status.Blind != (v == alarm.Blind) {
				t.Fatalf("blind %v on %v", m.Status.Blind, v)
			}
		}
	})
}

func TestEveryAlarmIsDeclaredWhole(t *testing.T) {
	for _, d := range alarm.Declarations() {
		if d.Priority == 0 || d.Title == "" || d.Consequence == "" || d.Action == "" || d.Respond == 0 {
			t.Errorf("%s is declared in part only: %+v", d.Name, d)
		}
		if d.Timing.ClearAfter <= 0 || d.Timing.Hold >= d.Respond {
			t.Errorf("%s: timing %+v does not fit %v to respond", d.Name, d.Timing, d.Respond)
		}
		if got, ok := alarm.Declared(d.Name); !ok || got.Title != d.Title {
			t.Errorf("Declared(%s) does not find it", d.Name)
		}
	}
	if _, ok := alarm.Declared("no-such-alarm"); ok {
		t.Error("an undeclared alarm was found")
	}
}
