package night_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// course is a furnace whose flue and draft are functions of time; its chamber is twice
// as far above the room, which has 20 °C.
type course struct {
	flue, draft func(time.Duration) float64
	at          time.Duration
}

func (c *course) Advance(at time.Duration) frame.Values {
	c.at = at
	var v frame.Values
	for i := range v {
		v[i] = 20
	}
	v[frame.Flue], v[frame.Draft], v[frame.Ambient] = c.flue(at), c.draft(at), 95e3
	v[frame.Chamber] = 20 + 2*(v[frame.Flue]-20)
	return v
}

func (c *course) Burning() bool { return c.flue(c.at) > 60 }

func steady(v float64) func(time.Duration) float64 { return func(time.Duration) float64 { return v } }

// bump is a until from and after to, b between.
func bump(a, b float64, from, to time.Duration) func(time.Duration) float64 {
	return func(at time.Duration) float64 {
		if at >= from && at < to {
			return b
		}
		return a
	}
}

func site() night.Site {
	var s night.Site
	for _, c := range []frame.Channel{frame.Flue, frame.Chamber, frame.Draft, frame.Room} {
		s.Fitted[c] = true
	}
	s.Limits[frame.Flue] = 400
	return s
}

func record(c *course, in night.Instrument, faults ...night.Fault) *night.Recording {
	in.Period = max(in.Period, time.Second)
	return night.Record(site(), c, in, faults, night.Truth{}, time.Hour, rand.New(rand.NewPCG(1, 2)))
}

func rows(n night.Night) []night.Row {
	var all []night.Row
	var r night.Row
	for n.Next(&r) {
		all = append(all, r)
	}
	return all
}

const m = time.Minute

func TestCrossingsAreFound(t *testing.T) {
	n := record(&course{flue: bump(300, 420, 20*m, 25*m), draft: steady(12)}, night.Instrument{})
	rows(n)
	want := []night.Crossing{{Channel: frame.Flue, From: 20 * m, To: 25*m - time.Second}}
	if diff := cmp.Diff(want, n.Truth().Crossings); diff != "" {
		t.Errorf("crossings (-want +got):\n%s", diff)
	}
	if got := n.Truth().Burning; got != time.Hour {
		t.Errorf("burning for %v of an hour", got)
	}
}

// Noise is the sensor's; the truth has none. A sheath is part of the reading.
func TestCrossingsAreThoseOfTheReadingWithoutNoise(t *testing.T) {
	in := night.Instrument{}
	in.Noise[frame.Flue] = 5
	n := record(&course{flue: steady(390), draft: steady(12)}, in)
	over := 0
	for _, r := range rows(n) {
		if r.Values[frame.Flue] > 400 {
			over++
		}
	}
	if over == 0 || len(n.Truth().Crossings) != 0 {
		t.Errorf("%d noisy readings above the limit, crossings %v", over, n.Truth().Crossings)
	}
	in = night.Instrument{}
	in.Lag[frame.Flue] = 60
	n = record(&course{flue: bump(300, 420, 20*m, 22*m), draft: steady(12)}, in)
	rows(n)
	if got := n.Truth().Crossings; len(got) != 1 || got[0].From < 21*m || got[0].From > 22*m {
		t.Errorf("behind a sheath: crossings %v, want one after ln 6 time constants", got)
	}
}

func TestTurnedDraftIsFound(t *testing.T) {
	tests := map[string]struct {
		flue  float64
		draft func(time.Duration) float64
		want  []night.Event
	}{
		"over a fire":   {200, bump(12, -4, 20*m, 22*m), []night.Event{{Hazard: night.Spillage, From: 20 * m, To: 22 * m}}},
		"a gust":        {200, bump(12, -4, 20*m, 20*m+8*time.Second), nil},
		"in a cold one": {30, bump(12, -4, 20*m, 22*m), nil},
		"never turned":  {200, steady(0.5), nil},
		"flickering right for seconds is one": {200, func(at time.Duration) float64 {
			if at < 20*m || at >= 25*m || at >= 22*m && at < 22*m+20*time.Second {
				return 5
			}
			return -4
		}, []night.Event{{Hazard: night.Spillage, From: 20 * m, To: 25 * m}}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			flue := func(at time.Duration) float64 {
				if at == 0 {
					return 20
				}
				return tt.flue
			}
			n := record(&course{flue: flue, draft: tt.draft}, night.Instrument{})
			rows(n)
			got := n.Truth().Events
			if diff := cmp.Diff(tt.want, got, cmpopts.IgnoreFields(night.Event{}, "Channel", "Other", "What", "Began"),
				cmp.Comparer(func(a, b time.Duration) bool { return (a - b).Abs() <= 15*time.Second })); diff != "" {
				t.Errorf("events (-want +got):\n%s", diff)
			}
		})
	}
}

// A turned draft that no reading shows to be over a fire is due from when one does, and
// true from before.
func TestTurnedDraftAtLighting(t *testing.T) {
	flue := func(at time.Duration) float64 {
		switch {
		case at < 10*m:
			return 20
		case at < 20*m:
			return 20 + 4*(at-10*m).Minutes() // visible at 15 min
		default:
			return 200
		}
	}
	tests := map[string]struct {
		draft func(time.Duration) float64
		loads []time.Duration
		began time.Duration
	}{
		"the fire is seen":              {bump(-1, 8, 30*m, time.Hour), nil, 10 * m},
		"it smokes from when it is lit": {bump(-1, 8, 30*m, time.Hour), []time.Duration{8 * m}, 8 * m},
		"it drew at first": {func(at time.Duration) float64 {
			if at < 9*m || at >= 30*m {
				return 8
			}
			return -8
		}, []time.Duration{8 * m}, 9 * m},
	}
	for name, tt := range tests {
		n := night.Record(site(), &lit{course{flue: flue, draft: tt.draft}}, night.Instrument{Period: time.Second},
			nil, night.Truth{Loads: tt.loads}, time.Hour, rand.New(rand.NewPCG(1, 2)))
		rows(n)
		e := n.Truth().Events
		if len(e) != 1 || (e[0].Began-tt.began).Abs() > 5*time.Second || (e[0].From-15*m).Abs() > 5*time.Second {
			t.Errorf("%s: events %+v, want one from %v, shown from 15 min on", name, e, tt.began)
		}
	}
}

// lit burns from 10 min on, whatever its flue says.
type lit struct{ course }

func (l *lit) Burning() bool { return l.at >= 10*m }

func TestFaults(t *testing.T) {
	const from = 20 * m
	flue := func(at time.Duration) float64 { return 150 + 2*at.Minutes() }
	tests := map[string]struct {
		fault night.Fault
		check func(t *testing.T, before, after frame.Values) bool
		shown time.Duration
	}{
		"dead":         {night.Fault{Kind: night.Dead, Channel: frame.Flue}, func(_ *testing.T, _, a frame.Values) bool { return math.IsNaN(a[frame.Flue]) }, from},
		"out":          {night.Fault{Kind: night.Out, Channel: frame.Flue}, func(_ *testing.T, _, a frame.Values) bool { return a[frame.Flue] < 30 }, from},
		"half out":     {night.Fault{Kind: night.HalfOut, Channel: frame.Flue}, func(_ *testing.T, _, a frame.Values) bool { return a[frame.Flue] > 60 && a[frame.Flue] < 120 }, from},
		"frozen":       {night.Fault{Kind: night.Frozen, Channel: frame.Flue}, func(_ *testing.T, b, a frame.Values) bool { return a[frame.Flue] == b[frame.Flue] }, from},
		"hose off":     {night.Fault{Kind: night.HoseOff, Channel: frame.Draft}, func(_ *testing.T, _, a frame.Values) bool { return math.Abs(a[frame.Draft]) < 0.5 }, from},
		"hose blocked": {night.Fault{Kind: night.HoseBlocked, Channel: frame.Draft}, func(_ *testing.T, _, a frame.Values) bool { return a[frame.Draft] > 3 && a[frame.Draft] < 11.5 }, from},
		"swapped": {night.Fault{Kind: night.Swapped, Channel: frame.Chamber, Other: frame.Flue}, func(_ *testing.T, b, a frame.Values) bool {
			return a[frame.Flue] > a[frame.Chamber] && b[frame.Flue] < b[frame.Chamber]
		}, from},
		// 120 K an hour shows after 40 K.
		"drift": {night.Fault{Kind: night.Drift, Channel: frame.Flue, Rate: -120, Most: 60}, func(_ *testing.T, _, a frame.Values) bool {
			return math.Abs(a[frame.Flue]-(150+2*59.9-60)) < 2
		}, from + 20*m},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			tt.fault.From = from
			n := record(&course{flue: flue, draft: steady(12)}, night.Instrument{}, tt.fault)
			all := rows(n)
			if before, after := all[1199].Values, all[len(all)-1].Values; !tt.check(t, before, after) {
				t.Errorf("before %v\nafter  %v", before, after)
			}
			if e := n.Truth().Events; len(e) != 1 || e[0].Channel != tt.fault.Channel || (e[0].From-tt.shown).Abs() > 2*time.Second {
				t.Errorf("events %+v, want one from %v", e, tt.shown)
			}
		})
	}
}

func TestReadingsAreLost(t *testing.T) {
	in := night.Instrument{Missing: 0.1, Dropped: 0.1, Gaps: []night.Span{{From: 10 * m, To: 20 * m}}}
	all := rows(record(&course{flue: steady(200), draft: steady(12)}, in))
	if n := len(all); n < 2500 || n > 2900 {
		t.Errorf("%d rows, want about nine tenths of 3001 seconds", n)
	}
	none := 0
	for _, r := range all {
		if r.At >= 10*m && r.At < 20*m {
			t.Fatalf("a row at %v, in the gap", r.At)
		}
		if math.IsNaN(r.Values[frame.Flue]) {
			none++
		}
		if !math.IsNaN(r.Values[frame.Plenum]) {
			t.Fatal("a reading of a channel that is not fitted")
		}
	}
	if none < 150 || none > 450 {
		t.Errorf("%d readings lost of %d, want about a tenth", none, len(all))
	}
}
