package main

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// end plays a night to its end and reports what is wrong with its rows.
func end(t *testing.T, n night.Night, kind string) *night.Truth {
	t.Helper()
	var r night.Row
	last, rows := time.Duration(-1), 0
	for n.Next(&r) {
		if r.At <= last {
			t.Fatalf("a row at %v after one at %v", r.At, last)
		}
		last = r.At
		rows++
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
	return n.Truth()
}

// causes that each world can bring about, by the kind's name.
var crosses = map[string]string{
	"draft-high": "draft-high", "set-high": "draft-high", "coal-bed": "coal-bed",
	"fine-fuel": "fine-fuel", "dry-fuel": "dry-fuel", "air-leak": "air-leak",
}

// Every kind is what its name says, in the worlds that are made here; the simulator of
// nights has its own tests.
func TestKindsAreWhatTheySay(t *testing.T) {
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

// The same kind and seed give the same night, another seed another one.
func TestNightsRepeat(t *testing.T) {
	for _, w := range worlds() {
		k := w.Kinds()[0].Name
		one, two, other := w.Night(k, 7), w.Night(k, 7), w.Night(k, 8)
		var a, b, c night.Row
		differs := false
		for range 3000 {
			if one.Next(&a) != two.Next(&b) || !other.Next(&c) {
				t.Fatalf("%s: the nights differ in length", w.Name())
			}
			if diff := cmp.Diff(a, b, cmpopts.EquateNaNs()); diff != "" {
				t.Fatalf("%s: the same night differs:\n%s", w.Name(), diff)
			}
			differs = differs || a.Values[2] != c.Values[2]
		}
		if !differs {
			t.Errorf("%s: two seeds give the same flue", w.Name())
		}
	}
}
