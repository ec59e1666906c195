package main

import (
	"cmp"
	"math"
	"slices"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/score"
	"fluewright/daemon/judge/simulated"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// end plays a night to its end, reports what is wrong with its rows and lets a prophet
// judge it: whoever knows the truth must score all and raise nothing false.
func end(t *testing.T, n night.Night, kind string) *night.Truth {
	t.Helper()
	watch := score.NewWatch(n.Site())
	var r night.Row
	last, rows := time.Duration(-1), 0
	for n.Next(&r) {
		if r.At <= last {
			t.Fatalf("a row at %v after one at %v", r.At, last)
		}
		last = r.At
		rows++
		watch.Row(&r)
		for c, v := range r.Values {
			if !n.Site().Fitted[c] && !math.IsNaN(v) {
				t.Fatalf("channel %d is not fitted and reads %g", c, v)
			}
			pressure := frame.Channel(c).Pressure()
			if math.IsInf(v, 0) || kind != "noisy" && !pressure && (v < -40 || v > 1500) {
				t.Fatalf("channel %d reads %g", c, v)
			}
		}
	}
	if rows < 1000 {
		t.Fatalf("%d rows", rows)
	}
	truth := n.Truth()
	s := score.Add([]score.Night{score.Score(watch, truth, prophecy(truth))})
	if s.All.Got != s.All.Of || s.Cause.Got != s.Cause.Of || s.FalseAll > 0 || s.AccusedAll > 0 {
		t.Errorf("the truth itself scores %+v", s)
	}
	for h, d := range s.Hazards {
		if d.Got != d.Of || d.Instead > 0 {
			t.Errorf("the truth itself: %s %+v", h, d)
		}
	}
	return truth
}

// prophecy is what a judge says who knows the truth.
func prophecy(truth *night.Truth) []score.Said {
	var all []score.Said
	say := func(from, to time.Duration, name alarm.Name, c frame.Channel, cause string) {
		d, _ := alarm.Declared(name)
		priority := d.Priority
		if name == alarm.Runaway || name == alarm.ChimneyFire {
			priority = alarm.High
		}
		all = append(all,
			score.Said{At: from, Alarm: name, Channel: c, State: "raised", Priority: priority.String(), Causes: []string{cause}},
			score.Said{At: to, Alarm: name, Channel: c, State: "cleared", Priority: priority.String()})
	}
	to := time.Duration(0)
	for _, c := range truth.Crossings {
		cause := ""
		for _, e := range truth.Events {
			if e.Cause != "" && e.From <= c.From && e.To >= c.From && e.Hazard != night.ChimneyFire {
				cause = e.Cause
			}
		}
		if cause != "" && c.From > to {
			say(c.From-5*time.Minute, c.To, alarm.Runaway, c.Channel, cause)
			to = c.To
		}
	}
	for _, e := range truth.Events {
		switch e.Hazard {
		case night.ChimneyFire:
			say(e.From+time.Millisecond, e.To, alarm.ChimneyFire, frame.Count, "creosote")
		case night.Spillage:
			say(e.From+30*time.Second, e.To+time.Minute, alarm.Spillage, frame.Count, "")
		case night.SensorDead:
			say(e.From+10*time.Second, e.To, alarm.SensorLost, e.Channel, "")
		case night.SensorSilent:
			say(e.From+time.Minute, e.To, alarm.SensorImplausible, e.Channel, "")
		case night.BlowerStopped:
			say(e.From+time.Minute, e.To, alarm.BlowerStopped, frame.Count, "")
		}
	}
	slices.SortStableFunc(all, func(a, b score.Said) int { return cmp.Compare(a.At, b.At) })
	return all
}

// causes that each world can bring about, by the kind's name.
var crosses = map[string]string{
	"draft-high": "draft-high", "set-high": "draft-high", "coal-bed": "coal-bed",
	"fine-fuel": "fine-fuel", "dry-fuel": "dry-fuel", "air-leak": "air-leak",
}

// Every kind is what its name says, in the worlds that are made here; the simulator of
// nights has its own tests.
func TestKindsAreWhatTheySay(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	for _, w := range own() {
		for _, k := range w.Kinds() {
			t.Run(w.Name()+"/"+k.Name, func(t *testing.T) {
				t.Parallel()
				seeds := uint64(2)
				if crosses[k.Name] != "" {
					seeds = 4
				}
				crossed := uint64(0)
				for seed := uint64(1); seed <= seeds; seed++ {
					truth := end(t, w.Night(k.Name, seed), k.Name)
					if truth.Burning < 30*time.Minute {
						t.Errorf("seed %d: burns for %v", seed, truth.Burning)
					}
					if k.Legit {
						legitimate(t, seed, truth)
						continue
					}
					if len(truth.Events) == 0 {
						t.Errorf("seed %d: nothing happens", seed)
					}
					if len(truth.Crossings) > 0 {
						crossed++
					}
				}
				if crosses[k.Name] != "" && crossed < seeds/2 {
					t.Errorf("a limit is passed in %d of %d nights", crossed, seeds)
				}
			})
		}
	}
}

func legitimate(t *testing.T, seed uint64, truth *night.Truth) {
	t.Helper()
	if len(truth.Crossings) > 0 {
		t.Errorf("seed %d: a limit is passed in a legitimate night: %+v", seed, truth.Crossings)
	}
	for _, e := range truth.Events {
		if e.To-e.From > 30*time.Second {
			t.Errorf("seed %d: a hazard in a legitimate night: %+v", seed, e)
		}
	}
}

// The simulator's truth is understood: a prophet scores all in its nights too. That its
// kinds are what they say is tested where they are made.
func TestTheSimulatorIsUnderstood(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	for _, kind := range []string{"chimney-fire-mild", "downdraft", "hose-off", "swapped-wires", "dead-wire-cold", "power-cut"} {
		t.Run(kind, func(t *testing.T) {
			t.Parallel()
			end(t, simulated.World{}.Night(kind, 1), kind)
		})
	}
}

// The same kind and seed give the same night, another seed another one.
func TestNightsRepeat(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	for _, w := range worlds() {
		k := w.Kinds()[0].Name
		one, two, other := w.Night(k, 7), w.Night(k, 7), w.Night(k, 8)
		var a, b, c night.Row
		differs := false
		for range 3000 {
			if one.Next(&a) != two.Next(&b) || !other.Next(&c) {
				t.Fatalf("%s: the nights differ in length", w.Name())
			}
			if diff := gocmp.Diff(a, b, cmpopts.EquateNaNs()); diff != "" {
				t.Fatalf("%s: the same night differs:\n%s", w.Name(), diff)
			}
			differs = differs || a.Values[2] != c.Values[2]
		}
		if !differs {
			t.Errorf("%s: two seeds give the same flue", w.Name())
		}
	}
}
