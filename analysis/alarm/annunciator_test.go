package alarm_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"github.com/google/go-cmp/cmp"
)

// A step is a verdict at a second.
type step struct {
	s    int
	v    alarm.Verdict
	want alarm.Change
}

func TestWhenAnAlarmIsRaisedAndCleared(t *testing.T) {
	const (
		no      = alarm.NoChange
		blind   = alarm.Blind
		absent  = alarm.Absent
		between = alarm.Between
		present = alarm.Present
	)
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
		"a frame that comes late is no time": {
			{100, present, no}, {0, present, no}, {50, present, no}, {109, present, no}, {110, present, alarm.WasRaised},
		},
		"a clock that was set back does not stop the alarms": {
			{9000, present, no}, {100, present, no}, {109, present, no}, {110, present, alarm.WasRaised},
		},
		"one absurd time does not stop the alarms": {
			{0, absent, no}, {2e9, present, no}, {1, present, no}, {10, present, no}, {11, present, alarm.WasRaised},
		},
	}
	for name, steps := range tests {
		t.Run(name, func(t *testing.T) {
			a := annunciator(t, alarm.Timing{Hold: hold, ClearAfter: clear}, on(alarm.Overheat, frame.Flue))
			for _, s := range steps {
				got := alarm.NoChange
				for _, c := range a.Step(time.Duration(s.s)*time.Second, []alarm.Finding{{Verdict: s.v, Value: 1, Limit: 2}}) {
					got = c.Change
				}
				if got != s.want {
					t.Fatalf("at %d s: change %q, want %q", s.s, changes[got], changes[s.want])
				}
			}
		})
	}
}

var (
	low   = one(alarm.DraftLow)
	high  = one(alarm.DraftHigh)
	turn  = one(alarm.Spillage)
	doubt = on(alarm.SensorImplausible, frame.Draft)
	over  = on(alarm.Overheat, frame.Flue)
	run   = on(alarm.Runaway, frame.Flue)
)

func TestTheLifeOfAnAlarm(t *testing.T) {
	type do func(*panel) error
	present := func(k alarm.Key) do { return func(p *panel) error { p.find(k, alarm.Present); return nil } }
	absent := func(k alarm.Key) do { return func(p *panel) error { p.find(k, alarm.Absent); return nil } }
	ack := func(k alarm.Key, n uint32) do { return func(p *panel) error { return p.a.Acknowledge(k, n) } }
	shelve := func(k alarm.Key, d time.Duration) do { return func(p *panel) error { return p.a.Shelve(k, d, "Ann") } }
	unshelve := func(k alarm.Key) do { return func(p *panel) error { return p.a.Unshelve(k) } }
	type act struct {
		do   do
		want string // what changes in the minute after it
	}
	tests := map[string][]act{
		"acknowledged, then over": {
			{present(low), "draft-low raised"},
			{ack(low, 1), "draft-low acknowledged"},
			{absent(low), "draft-low cleared"},
		},
		"over, then acknowledged": {
			{present(low), "draft-low raised"},
			{absent(low), "draft-low cleared"},
			{ack(low, 1), "draft-low acknowledged"},
			{ack(low, 1), ""},
		},
		"shelved, it comes back when the shelf is ended": {
			{present(low), "draft-low raised"},
			{shelve(low, time.Hour), "draft-low shelved"},
			{unshelve(low), "draft-low raised"},
		},
		"shelved, it comes back when the shelf ends": {
			{present(low), "draft-low raised"},
			{shelve(low, 90*time.Second), "draft-low shelved"},
			{present(low), "draft-low raised"},
		},
		"over while shelved, there is nothing to come back": {
			{present(low), "draft-low raised"},
			{shelve(low, 90*time.Second), "draft-low shelved"},
			{absent(low), "draft-low unshelved"},
		},
		"shelved in peace, it holds before the end": {
			{shelve(low, time.Hour), "draft-low shelved"},
			{present(low), ""},
			{unshelve(low), "draft-low raised"},
		},
		"a graver alarm takes its place and gives it back": {
			{present(low), "draft-low raised"},
			{present(turn), "spillage raised, draft-low suppressed"},
			{absent(turn), "spillage cleared, draft-low raised"},
		},
		"a graver alarm stands already": {
			{present(turn), "spillage raised"},
			{present(low), "draft-low suppressed"},
			{absent(low), "draft-low cleared"},
		},
		"both go: the lesser is not raised for a moment": {
			{present(doubt), "sensor-implausible/draft raised"},
			{present(low), "draft-low suppressed"},
			{func(p *panel) error {
				p.find(doubt, alarm.Absent)
				p.run(10 * time.Second)
				p.find(low, alarm.Absent) // it has 10 s left to clear when the doubt is gone
				return nil
			}, "draft-low cleared, sensor-implausible/draft cleared"},
		},
		"a shelved alarm silences no other": {
			{present(doubt), "sensor-implausible/draft raised"},
			{present(low), "draft-low suppressed"},
			{shelve(doubt, time.Hour), "sensor-implausible/draft shelved, draft-low raised"},
		},
		"a forecast that has come is not said twice": {
			{present(run), "runaway/flue raised"},
			{present(over), "overheat/flue raised, runaway/flue suppressed"},
		},
		"a limit that is passed says nothing of another channel": {
			{present(on(alarm.Overheat, frame.Chamber)), "overheat/chamber raised"},
			{present(run), "runaway/flue raised"},
		},
		"a doubted draft keeps a turned one from nothing": {
			{present(doubt), "sensor-implausible/draft raised"},
			{present(turn), "spillage raised"},
		},
	}
	for name, acts := range tests {
		t.Run(name, func(t *testing.T) {
			p := newPanel(t, over, on(alarm.Overheat, frame.Chamber), run, turn, high, low, doubt)
			p.run(time.Minute) // all become known
			for i, a := range acts {
				if err := a.do(p); err != nil {
					t.Fatalf("act %d: %v", i+1, err)
				}
				if got := strings.Join(p.run(time.Minute), ", "); got != a.want {
					t.Fatalf("act %d: %q, want %q", i+1, got, a.want)
				}
			}
		})
	}
}

func TestStatus(t *testing.T) {
	p := newPanel(t, low, turn)
	is := func(when string, state alarm.State, word string, acked, silenced bool) {
		t.Helper()
		s := p.status(low)
		if s.State != state || s.Word() != word || s.Acknowledged != acked || s.Silenced() != silenced {
			t.Errorf("%s: %v %q, acknowledged %v, silenced %v", when, s.State, s.Word(), s.Acknowledged, s.Silenced())
		}
	}
	is("at the start", alarm.Unjudged, "unjudged", false, false)
	p.run(time.Minute)
	is("known", alarm.Normal, "normal", false, false)
	p.finds[0] = alarm.Finding{Verdict: alarm.Present, Value: 5, Limit: 10, Fault: "x"}
	p.run(time.Minute)
	is("raised", alarm.Raised, "raised", false, false)
	if s := p.status(low); s.Value != 5 || s.Limit != 10 || s.Fault != "x" || s.Since != 71*time.Second || s.Occurrence != 1 {
		t.Errorf("raised: %+v", s)
	}
	if err := p.a.Acknowledge(low, 1); err != nil {
		t.Fatal(err)
	}
	is("acknowledged", alarm.Acknowledged, "acknowledged", true, false)
	if err := p.a.Shelve(low, time.Hour, "Ann"); err != nil {
		t.Fatal(err)
	}
	is("shelved", alarm.Shelved, "shelved", true, true)
	if s := p.status(low); s.ShelvedBy != "Ann" || s.ShelvedUntil != p.at+time.Hour {
		t.Errorf("shelved: %+v", s)
	}
	if err := p.a.Unshelve(low); err != nil {
		t.Fatal(err)
	}
	is("raised anew, nobody has taken that", alarm.Raised, "raised", false, false)
	p.find(turn, alarm.Present)
	p.run(time.Minute)
	is("suppressed", alarm.Suppressed, "suppressed", false, true)
	if by := p.status(low).SuppressedBy; by != alarm.Spillage {
		t.Errorf("suppressed by %q", by)
	}
	p.find(low, alarm.Absent)
	p.run(time.Minute)
	is("over", alarm.Returned, "cleared", false, false)
	if err := p.a.Acknowledge(low, 2); err != nil {
		t.Fatal(err)
	}
	is("over and taken", alarm.Normal, "cleared", true, false)
}

func TestCommandsThatAreRefused(t *testing.T) {
	p := newPanel(t, low, turn)
	p.find(low, alarm.Present)
	p.run(time.Minute)
	p.find(low, alarm.Absent)
	p.run(time.Minute)
	p.find(low, alarm.Present)
	p.run(time.Minute)
	tests := map[string]struct {
		err  error
		want error
	}{
		"an occurrence that is over":     {p.a.Acknowledge(low, 1), alarm.ErrOtherOccurrence},
		"an occurrence that never was":   {p.a.Acknowledge(low, 3), alarm.ErrOtherOccurrence},
		"what was never raised":          {p.a.Acknowledge(turn, 0), alarm.ErrOtherOccurrence},
		"an alarm of another site":       {p.a.Acknowledge(over, 1), alarm.ErrNoSuchAlarm},
		"to shelve one of another site":  {p.a.Shelve(over, time.Hour, "Ann"), alarm.ErrNoSuchAlarm},
		"to unshelve one of another":     {p.a.Unshelve(over), alarm.ErrNoSuchAlarm},
		"to shelve what kills":           {p.a.Shelve(turn, time.Second, "Ann"), alarm.ErrNotShelvable},
		"to unshelve what stands":        {p.a.Unshelve(low), alarm.ErrNotShelved},
		"for ever":                       {p.a.Shelve(low, math.MaxInt64, "Ann"), nil},
		"for no time":                    {p.a.Shelve(low, 0, "Ann"), nil},
		"in nobody's name":               {p.a.Shelve(low, time.Hour, ""), nil},
		"in a name that breaks the line": {p.a.Shelve(low, time.Hour, "A\nB"), nil},
		"in an endless name":             {p.a.Shelve(low, time.Hour, strings.Repeat("A", 65)), nil},
	}
	for name, tt := range tests {
		if tt.err == nil || tt.want != nil && !errors.Is(tt.err, tt.want) {
			t.Errorf("%s: error %v, want %v", name, tt.err, tt.want)
		}
	}
	if got := p.run(time.Minute); len(got) != 0 || p.status(low).State != alarm.Raised {
		t.Errorf("what was refused changed %v", got)
	}
}

func TestTheFirstOutIsMarked(t *testing.T) {
	p := newPanel(t, over, turn, low, on(alarm.SensorLost, frame.Room), on(alarm.SensorLost, frame.Flue))
	first := func() (out []string) {
		for i, k := range p.keys {
			if p.a.Status(i).First {
				out = append(out, k.String())
			}
		}
		return out
	}
	is := func(when string, want ...string) {
		t.Helper()
		if diff := cmp.Diff(want, first()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", when, diff)
		}
	}
	p.find(on(alarm.SensorLost, frame.Room), alarm.Present)
	p.run(time.Minute)
	p.find(low, alarm.Present)
	p.run(time.Minute)
	is("the monitor's alarms do not count among the furnace's", "draft-low", "sensor-lost/room")
	p.find(over, alarm.Present)
	p.find(on(alarm.SensorLost, frame.Flue), alarm.Present)
	p.run(time.Minute)
	p.find(low, alarm.Absent)
	p.run(time.Minute)
	is("the first is over, the episode is not", "draft-low", "sensor-lost/room")
	p.find(over, alarm.Absent)
	p.run(time.Minute)
	is("all is over", "draft-low", "sensor-lost/room")
	p.find(over, alarm.Present)
	p.find(turn, alarm.Present)
	p.run(time.Minute)
	is("two at once: the one that is declared first", "overheat/flue", "sensor-lost/room")
}

func TestAnAlarmThatKeepsComingBackTakesLongerToClear(t *testing.T) {
	p := newPanel(t, low)
	lasts := func() (d time.Duration) {
		p.find(low, alarm.Present)
		p.run(hold + time.Second)
		p.find(low, alarm.Absent)
		for p.status(low).State.Standing() {
			d += time.Second
			p.run(time.Second)
		}
		return d - time.Second // from the first sighting on
	}
	var got []time.Duration
	for range 7 {
		got = append(got, lasts())
	}
	want := []time.Duration{clear, clear, 2 * clear, 4 * clear, 8 * clear, 8 * clear, 8 * clear}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("times to clear (-want +got):\n%s", diff)
	}
	p.run(2 * time.Hour)
	if got := lasts(); got != clear {
		t.Errorf("after a quiet time it takes %v", got)
	}
}

func TestWhoeverWasToldIsToldOfANewAccount(t *testing.T) {
	p := newPanel(t, low)
	p.finds[0] = alarm.Finding{Verdict: alarm.Present, Value: 5, Updated: true}
	if got := p.run(hold); len(got) != 0 {
		t.Errorf("told before it was raised: %v", got)
	}
	p.run(time.Second)
	p.finds[0].Updated = false
	p.run(time.Second)
	p.finds[0] = alarm.Finding{Verdict: alarm.Present, Value: 3, Updated: true}
	if got := strings.Join(p.run(time.Second), ", "); got != "draft-low updated" || p.status(low).Value != 3 {
		t.Errorf("%q, value %g", got, p.status(low).Value)
	}
}

func TestPanelsThatCannotBe(t *testing.T) {
	for name, points := range map[string][]alarm.Point{
		"not declared": {{Key: one("fire")}},
		"there twice":  {{Key: low}, {Key: low}},
		"below zero":   {{Key: low, Timing: alarm.Timing{Hold: -1}}},
	} {
		if _, err := alarm.NewAnnunciator(points); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("error %v, want one with %q", err, name)
		}
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	p := newTimedPanel(t, alarm.Timing{}, over, run, turn, high, low, doubt)
	v := alarm.Absent
	if got := testing.AllocsPerRun(1000, func() {
		p.at += 5 * time.Second
		v = alarm.Absent + alarm.Present - v // and every alarm changes all the time
		for i := range p.finds {
			p.finds[i].Verdict = v
		}
		p.a.Step(p.at, p.finds)
	}); got != 0 {
		t.Errorf("%v allocations a step, want none", got)
	}
}
