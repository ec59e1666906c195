package alarm_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"github.com/google/go-cmp/cmp"
)

var evening = time.Date(2026, time.January, 17, 22, 0, 0, 0, time.UTC)

// restarted returns a panel that goes on after p, as another process would, away later.
func (p *panel) restarted(away time.Duration, trusted bool) (*panel, error) {
	p.t.Helper()
	text, err := json.Marshal(p.a.Snapshot(evening, trusted))
	if err != nil {
		p.t.Fatal(err)
	}
	var s alarm.Snapshot
	if err := json.Unmarshal(text, &s); err != nil {
		p.t.Fatal(err)
	}
	next := newPanel(p.t, p.keys...)
	err = next.a.Restore(s, evening.Add(away), trusted)
	return next, err
}

func TestWhatStandsOutlivesARestart(t *testing.T) {
	p := newPanel(t, over, run, turn, high, low)
	p.at = 1000 * time.Hour // another origin than the next run's
	p.run(time.Minute)      // all known
	p.finds[0] = alarm.Finding{Verdict: alarm.Present, Value: 600, Limit: 538}
	p.find(run, alarm.Present)
	p.find(high, alarm.Present)
	p.run(time.Minute)
	must(t, p.a.Acknowledge(over, 1))
	must(t, p.a.Shelve(high, time.Hour, "Ann"))
	p.run(10 * time.Minute)
	q, err := p.restarted(20*time.Minute, true)
	must(t, err)

	for i := range p.keys {
		want, got := p.a.Status(i), q.a.Status(i)
		if want.State == alarm.Normal {
			if got.State != alarm.Unjudged || !got.Blind {
				t.Errorf("%v was normal and is %v", want.Key, got.State)
			}
			continue
		}
		// Times: 20 min passed between the runs.
		want.Since -= p.at + 20*time.Minute
		if want.State == alarm.Shelved {
			want.ShelvedUntil -= p.at + 20*time.Minute
		}
		want.Blind, want.SuppressedBy = true, ""
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%v (-before +after):\n%s", want.Key, diff)
		}
	}
	q.finds = append([]alarm.Finding(nil), p.finds...)
	if got := strings.Join(q.run(time.Second), ", "); got != "" {
		t.Errorf("announced after the restart: %s", got)
	}
	if s := q.status(over); s.Blind || s.State != alarm.Acknowledged {
		t.Errorf("the overheat is %+v", s)
	}
	// 10 min of the shelf had gone before, 20 between.
	if got := q.run(30*time.Minute - 2*time.Second); strings.Contains(strings.Join(got, ", "), "draft-high") {
		t.Errorf("the shelf ends early: %v", got)
	}
	if got := strings.Join(q.run(3*time.Second), ", "); got != "draft-high raised" {
		t.Errorf("at the end of the shelf: %q", got)
	}
	if s := q.status(high); s.Occurrence != 2 {
		t.Errorf("occurrence %d after the restart", s.Occurrence)
	}
}

func TestWhatIsOverAndNotTakenOutlivesARestart(t *testing.T) {
	p := newPanel(t, low)
	p.find(low, alarm.Present)
	p.run(time.Minute)
	p.find(low, alarm.Absent)
	p.run(time.Minute)
	q, err := p.restarted(0, true)
	must(t, err)
	if got := strings.Join(q.run(time.Minute), ", "); got != "draft-low known" || q.status(low).State != alarm.Returned {
		t.Errorf("%q, %v", got, q.status(low).State)
	}
	must(t, q.a.Acknowledge(low, 1))
}

func TestHowLongTheMonitorWasAway(t *testing.T) {
	shelved := func() *panel {
		p := newPanel(t, low)
		p.find(low, alarm.Present)
		p.run(time.Minute)
		must(t, p.a.Shelve(low, time.Hour, "Ann"))
		p.run(time.Second)
		return p
	}
	for name, tt := range map[string]struct {
		away    time.Duration
		trusted bool
		left    time.Duration
		err     string
	}{
		"known":                               {40 * time.Minute, true, 20*time.Minute - time.Second, ""},
		"past the end of the shelf":           {100 * 24 * time.Hour, true, -1, ""},
		"not known: the shelf has all left":   {40 * time.Minute, false, time.Hour - time.Second, ""},
		"a snapshot from the future, and so":  {-40 * time.Minute, true, time.Hour - time.Second, "from 40m0s ahead"},
		"a board that woke up in 1970":        {-56 * 365 * 24 * time.Hour, false, time.Hour - time.Second, ""},
		"a clock that someone set a year off": {-365 * 24 * time.Hour, true, time.Hour - time.Second, "ahead"},
	} {
		q, err := shelved().restarted(tt.away, tt.trusted)
		if tt.err == "" && err != nil || tt.err != "" && (err == nil || !strings.Contains(err.Error(), tt.err)) {
			t.Errorf("%s: error %v, want %q", name, err, tt.err)
		}
		s := q.status(low)
		if s.State != alarm.Shelved || s.ShelvedUntil != tt.left && tt.left >= 0 || tt.left < 0 && s.ShelvedUntil > 0 {
			t.Errorf("%s: %v, with %v left, want %v", name, s.State, s.ShelvedUntil, tt.left)
		}
	}
}

func TestSnapshotsThatMakeNoSense(t *testing.T) {
	raised := func(k alarm.Kept) alarm.Kept {
		k.Alarm, k.State, k.Holds, k.Occurrence = alarm.DraftLow, "raised", true, 1
		return k
	}
	shelved := alarm.Kept{Alarm: alarm.DraftLow, State: "shelved", Shelf: 60, ShelvedBy: "Ann"}
	with := func(k alarm.Kept, change func(*alarm.Kept)) alarm.Kept { change(&k); return k }
	for name, k := range map[string]alarm.Kept{
		"an alarm of another version":    {Alarm: "fire", State: "normal"},
		"an alarm of another site":       {Alarm: alarm.Overheat, Channel: "flue", State: "normal"},
		"a channel that is none":         {Alarm: alarm.DraftLow, Channel: "attic", State: "normal"},
		"a state that is none":           {Alarm: alarm.DraftLow, State: "on fire"},
		"raised, and never":              with(raised(alarm.Kept{}), func(k *alarm.Kept) { k.Occurrence = 0 }),
		"raised, and gone":               with(raised(alarm.Kept{}), func(k *alarm.Kept) { k.Holds = false }),
		"raised, and acknowledged":       with(raised(alarm.Kept{}), func(k *alarm.Kept) { k.Acknowledged = true }),
		"older than the furnace":         with(raised(alarm.Kept{}), func(k *alarm.Kept) { k.Since = 1e300 }),
		"younger than now":               with(raised(alarm.Kept{}), func(k *alarm.Kept) { k.Began = -1 }),
		"shelved for ever":               with(shelved, func(k *alarm.Kept) { k.Shelf = 1e6 }),
		"shelved by nobody":              with(shelved, func(k *alarm.Kept) { k.ShelvedBy = "" }),
		"shelved by a control character": with(shelved, func(k *alarm.Kept) { k.ShelvedBy = "\x1b[2J" }),
		"what cannot be shelved":         with(shelved, func(k *alarm.Kept) { k.Alarm = alarm.Spillage }),
		"a fault that is a novel":        with(raised(alarm.Kept{}), func(k *alarm.Kept) { k.Fault = strings.Repeat("x", 1000) }),
	} {
		a := annunciator(t, alarm.Timing{}, low, turn)
		good := alarm.Kept{Alarm: alarm.Spillage, State: "raised", Holds: true, Occurrence: 3}
		kept := []alarm.Kept{k, good}
		if k.Alarm == alarm.Spillage {
			kept = kept[:1]
		}
		err := a.Restore(alarm.Snapshot{Version: alarm.SnapshotVersion, Alarms: kept}, evening, false)
		if err == nil || len(err.Error()) > 300 {
			t.Errorf("%s: error %v", name, err)
		}
		if s := a.Status(0); s.State != alarm.Unjudged || s.Occurrence != 0 {
			t.Errorf("%s: taken over as %+v", name, s)
		}
		if s := a.Status(1); len(kept) > 1 && s.State != alarm.Raised {
			t.Errorf("%s: what made sense was not taken over: %+v", name, s)
		}
	}
	a := annunciator(t, alarm.Timing{}, low)
	if err := a.Restore(alarm.Snapshot{Version: 99}, evening, false); err == nil {
		t.Error("a snapshot of another version was taken over")
	}
	twice := alarm.Snapshot{Version: 1, Alarms: []alarm.Kept{raised(alarm.Kept{}), raised(alarm.Kept{})}}
	if err := a.Restore(twice, evening, false); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("the same alarm twice: %v", err)
	}
	a.Step(0, nil)
	if err := a.Restore(alarm.Snapshot{Version: 1}, evening, false); err == nil {
		t.Error("restored in the middle of a fire")
	}
}

// Any bytes that are a snapshot leave a panel in legal states that make a snapshot again.
func FuzzRestore(f *testing.F) {
	p := newPanel(f, over, run, turn, high, low, on(alarm.SensorLost, frame.Flue))
	for i := range p.finds {
		p.finds[i].Verdict = alarm.Present
	}
	p.run(time.Minute)
	must(f, p.a.Shelve(high, time.Hour, "Ann"))
	text, err := json.Marshal(p.a.Snapshot(evening, true))
	must(f, err)
	f.Add(text, int64(time.Hour), true)
	f.Add([]byte(`{"version":1,"alarms":[{"alarm":"draft-low","state":"raised","holds":true,"occurrence":4294967295}]}`), int64(-1), false)
	f.Fuzz(func(t *testing.T, text []byte, away int64, trusted bool) {
		var s alarm.Snapshot
		if json.Unmarshal(text, &s) != nil {
			return
		}
		q := newPanel(t, p.keys...)
		_ = q.a.Restore(s, evening.Add(time.Duration(away)), trusted)
		legal(t, q.a)
		again, err := q.restarted(0, true)
		if err != nil {
			t.Fatalf("what was restored cannot be kept: %v", err)
		}
		for i := range q.keys {
			before, after := q.a.Status(i), again.a.Status(i)
			if before.State != after.State || before.Occurrence != after.Occurrence || before.Acknowledged != after.Acknowledged {
				t.Fatalf("%+v became %+v", before, after)
			}
		}
		q.run(3 * time.Second)
		legal(t, q.a)
	})
}
