package alarm_test

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"pgregory.net/rapid"
)

// everything is a panel with every way in which alarms depend on one another.
var everything = []alarm.Key{
	one(alarm.ChimneyFire), over, on(alarm.Overheat, frame.Chamber), run, turn, high, low, one(alarm.FlueRestricted),
	on(alarm.SensorLost, frame.Draft), doubt, one(alarm.MonitorImpaired), one(alarm.RegulatorStuck),
}

// legal fails if an alarm is in a state that cannot be.
func legal(t interface{ Fatalf(string, ...any) }, a *alarm.Annunciator) {
	firsts := map[bool]int{}
	for i := range a.Len() {
		s := a.Status(i)
		d, _ := alarm.Declared(s.Key.Name)
		if s.First {
			firsts[d.Monitor]++
		}
		ok := true
		switch s.State {
		case alarm.Unjudged:
			ok = s.Condition == alarm.NotKnown
		case alarm.Normal:
			ok = s.Condition == alarm.Gone && (s.Occurrence == 0 || s.Acknowledged)
		case alarm.Raised:
			ok = s.Condition == alarm.Holds && s.Occurrence > 0 && !s.Acknowledged
		case alarm.Acknowledged:
			ok = s.Condition == alarm.Holds && s.Occurrence > 0 && s.Acknowledged
		case alarm.Returned:
			ok = s.Condition == alarm.Gone && s.Occurrence > 0 && !s.Acknowledged
		case alarm.Shelved:
			ok = s.Priority < alarm.High && s.ShelvedBy != ""
		case alarm.Suppressed:
			ok = s.Condition == alarm.Holds
		default:
			ok = false
		}
		if !ok || s.State != alarm.Shelved && s.ShelvedBy != "" || math.IsNaN(s.Value) || math.IsInf(s.Value, 0) {
			t.Fatalf("%v cannot be %+v", s.Key, s)
		}
	}
	if firsts[true] > 1 || firsts[false] > 1 {
		t.Fatalf("%v are the first", firsts)
	}
}

var every = []alarm.State{
	alarm.Unjudged, alarm.Normal, alarm.Raised, alarm.Acknowledged, alarm.Returned, alarm.Shelved, alarm.Suppressed,
}

// after is which states can follow which, and by which change.
var after = map[alarm.Change]struct{ from, to []alarm.State }{
	alarm.BecameKnown: {[]alarm.State{alarm.Unjudged}, []alarm.State{alarm.Normal, alarm.Returned}},
	alarm.WasRaised: {
		[]alarm.State{alarm.Unjudged, alarm.Normal, alarm.Returned, alarm.Shelved, alarm.Suppressed},
		[]alarm.State{alarm.Raised},
	},
	alarm.WasCleared: {
		[]alarm.State{alarm.Raised, alarm.Acknowledged, alarm.Suppressed},
		[]alarm.State{alarm.Normal, alarm.Returned},
	},
	alarm.WasUnshelved: {[]alarm.State{alarm.Shelved}, []alarm.State{alarm.Unjudged, alarm.Normal, alarm.Returned}},
	alarm.WasSuppressed: {
		[]alarm.State{alarm.Unjudged, alarm.Normal, alarm.Returned, alarm.Raised, alarm.Acknowledged, alarm.Shelved},
		[]alarm.State{alarm.Suppressed},
	},
	alarm.WasShelved: {every, []alarm.State{alarm.Shelved}},
	// Of an alarm that is neither standing nor just over, the state stays as it is.
	alarm.WasAcknowledged: {
		[]alarm.State{alarm.Unjudged, alarm.Raised, alarm.Returned, alarm.Shelved, alarm.Suppressed},
		[]alarm.State{alarm.Unjudged, alarm.Acknowledged, alarm.Normal, alarm.Shelved, alarm.Suppressed},
	},
	alarm.WasUpdated: {
		[]alarm.State{alarm.Raised, alarm.Acknowledged}, []alarm.State{alarm.Raised, alarm.Acknowledged},
	},
}

// The life cycle has few legal moves, whatever the verdicts, commands, clocks and restarts.
func TestLifeCycleProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		build := func() *alarm.Annunciator {
			var points []alarm.Point
			for _, k := range everything {
				points = append(points, alarm.Point{Key: k, Timing: alarm.Timing{Hold: 2 * time.Second, ClearAfter: 3 * time.Second}})
			}
			a, err := alarm.NewAnnunciator(points)
			if err != nil {
				t.Fatal(err)
			}
			return a
		}
		a := build()
		state := func() []alarm.State {
			var all []alarm.State
			for i := range a.Len() {
				all = append(all, a.Status(i).State)
			}
			return all
		}
		got := state() // as the changes tell it
		findings := slices.Repeat([]alarm.Finding{{}}, len(everything))
		var at time.Duration
		for range rapid.IntRange(1, 150).Draw(t, "acts") {
			before := state()
			k := rapid.SampledFrom(everything).Draw(t, "key")
			i := slices.Index(everything, k)
			switch act := rapid.IntRange(0, 19).Draw(t, "act"); act {
			case 0:
				if err := a.Acknowledge(k, rapid.Uint32Range(0, 3).Draw(t, "occurrence")); err == nil && before[i] == alarm.Raised && a.Status(i).State != alarm.Acknowledged {
					t.Fatalf("acknowledged, %v is %v", k, a.Status(i).State)
				}
			case 1:
				d := time.Duration(rapid.Int64Range(-1, int64(2*time.Minute)).Draw(t, "for"))
				if err := a.Shelve(k, d, "Ann"); (err == nil) != (a.Status(i).State == alarm.Shelved) && before[i] != alarm.Shelved {
					t.Fatalf("shelving %v: %v, %v", k, err, a.Status(i).State)
				}
			case 2:
				_ = a.Unshelve(k)
			case 3: // a restart
				text, err := json.Marshal(a.Snapshot(evening, true))
				if err != nil {
					t.Fatal(err)
				}
				var s alarm.Snapshot
				if err := json.Unmarshal(text, &s); err != nil {
					t.Fatal(err)
				}
				next := build()
				if err := next.Restore(s, evening.Add(time.Minute), true); err != nil {
					t.Fatal(err)
				}
				for i := range next.Len() {
					was, is := a.Status(i), next.Status(i)
					if was.State != is.State && is.State != alarm.Unjudged || was.State.Standing() != is.State.Standing() || was.Occurrence != is.Occurrence {
						t.Fatalf("%+v restarted as %+v", was, is)
					}
				}
				a, at = next, 0
				got = state()
			default:
				if act == 4 {
					at = time.Duration(rapid.Int64().Draw(t, "jump"))
				} else {
					at += time.Duration(rapid.Int64Range(0, int64(3*time.Second)).Draw(t, "step"))
				}
				for j := range findings {
					if rapid.IntRange(0, 4).Draw(t, "changes") == 0 {
						findings[j] = alarm.Finding{
							Verdict: alarm.Verdict(rapid.IntRange(0, 4).Draw(t, "verdict")),
							Value:   rapid.Float64().Draw(t, "value"),
							Updated: rapid.Bool().Draw(t, "updated"),
						}
					}
				}
				for _, c := range a.Step(at, findings) {
					i := slices.Index(everything, c.Status.Key)
					legalMove, ok := after[c.Change]
					if !ok || !slices.Contains(legalMove.from, got[i]) || !slices.Contains(legalMove.to, c.Status.State) {
						t.Fatalf("%v: from %v to %v by %q", c.Status.Key, got[i], c.Status.State, changes[c.Change])
					}
					got[i] = c.Status.State
				}
				if is := state(); !slices.Equal(got, is) {
					t.Fatalf("told of %v, and it is %v", got, is)
				}
			}
			legal(t, a)
		}
	})
}

// Any findings at any times, as bytes: nothing breaks and no state is illegal.
func FuzzStep(f *testing.F) {
	f.Add([]byte{0, 3, 3, 3, 1, 255, 7, 3, 3, 0, 1, 1})
	f.Fuzz(func(t *testing.T, script []byte) {
		p := newTimedPanel(t, alarm.Timing{Hold: 2 * time.Second, ClearAfter: 3 * time.Second}, everything...)
		values := []float64{0, 1, math.NaN(), math.Inf(1), -math.MaxFloat64}
		for i, b := range script {
			k := everything[i%len(everything)]
			switch b % 8 {
			case 5:
				_ = p.a.Shelve(k, time.Duration(b)*time.Second, "Ann")
			case 6:
				_ = p.a.Unshelve(k)
			case 7:
				_ = p.a.Acknowledge(k, 1)
			default:
				p.finds[i%len(everything)] = alarm.Finding{Verdict: alarm.Verdict(b % 8), Value: values[int(b)%len(values)]}
			}
			p.at += []time.Duration{time.Second, time.Second, time.Second, -time.Hour, math.MaxInt64 / 3, time.Minute}[int(b/8)%6]
			p.a.Step(p.at, p.finds)
			legal(t, p.a)
			m := p.a.Metrics()
			if m.Recent < 0 || m.Standing+m.Shelved+m.Suppressed > len(everything) || math.IsNaN(m.Rate()) {
				t.Fatalf("%+v", m)
			}
		}
	})
}

// Nothing is silent without something that stands: a hazard is never hidden by design alone.
func TestASuppressedAlarmHasOneThatStands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := newTimedPanel(t, alarm.Timing{Hold: 2 * time.Second, ClearAfter: 3 * time.Second}, everything...)
		for range rapid.IntRange(1, 100).Draw(t, "steps") {
			for j := range p.finds {
				if rapid.IntRange(0, 4).Draw(t, "changes") == 0 {
					p.finds[j].Verdict = alarm.Verdict(rapid.IntRange(0, 3).Draw(t, "verdict"))
				}
			}
			p.run(time.Second)
			suppressed, standing := false, false
			for i := range p.keys {
				suppressed = suppressed || p.a.Status(i).State == alarm.Suppressed
				standing = standing || p.a.Status(i).State.Standing()
			}
			if suppressed && !standing {
				t.Fatal("an alarm is suppressed, and nothing stands")
			}
		}
	})
}
