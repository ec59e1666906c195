package panel_test

import (
	"iter"
	"math"
	"testing"
	"time"

	"fluewright/daemon/internal/panel"
	"pgregory.net/rapid"
)

var begin = time.Date(2026, 1, 31, 21, 0, 0, 0, time.UTC)

type reading struct {
	at    time.Duration
	value float64
}

func sequence(all []reading) iter.Seq2[time.Time, float64] {
	return func(yield func(time.Time, float64) bool) {
		for _, r := range all {
			if !yield(begin.Add(r.at), r.value) {
				return
			}
		}
	}
}

// readings draws some in the order of time; a few are NaN or absurd.
func readings(t *rapid.T, longest time.Duration) []reading {
	n := rapid.IntRange(1, 200).Draw(t, "readings")
	all := make([]reading, n)
	at := time.Duration(0)
	for i := range all {
		at += time.Duration(rapid.Int64Range(0, int64(longest)).Draw(t, "after"))
		v := rapid.Float64Range(-100, 2500).Draw(t, "value")
		switch rapid.IntRange(0, 20).Draw(t, "oddity") {
		case 0:
			v = math.NaN()
		case 1:
			v = math.Inf(1)
		}
		all[i] = reading{at, v}
	}
	return all
}

func counts(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// hull is what all columns together hold.
func hull(t *rapid.T, columns []panel.Column) (lo, hi float64, n int) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i, c := range columns {
		if c.Count == 0 {
			continue
		}
		if !(c.Min <= c.Mean && c.Mean <= c.Max) {
			t.Fatalf("column %d: the mean %g is not within %g to %g", i, c.Mean, c.Min, c.Max)
		}
		lo, hi, n = min(lo, c.Min), max(hi, c.Max), n+c.Count
	}
	return lo, hi, n
}

func wantHull(t *rapid.T, all []reading, columns []panel.Column) {
	lo, hi, n := math.Inf(1), math.Inf(-1), 0
	sum := 0.0
	for _, r := range all {
		if counts(r.value) {
			lo, hi, n, sum = min(lo, r.value), max(hi, r.value), n+1, sum+r.value
		}
	}
	gotLo, gotHi, gotN := hull(t, columns)
	if gotLo != lo || gotHi != hi || gotN != n {
		t.Fatalf("columns hold %d readings in %g to %g, want %d in %g to %g", gotN, gotLo, gotHi, n, lo, hi)
	}
	got := 0.0
	for _, c := range columns {
		if c.Count > 0 {
			got += c.Mean * float64(c.Count)
		}
	}
	if n > 0 && math.Abs(got-sum) > 1e-6*(1+math.Abs(sum)) {
		t.Fatalf("the means add up to %g, want %g", got, sum)
	}
}

func TestReduceLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := readings(t, time.Hour)
		to := begin.Add(all[len(all)-1].at + time.Second)
		n := rapid.IntRange(1, 500).Draw(t, "columns")
		wantHull(t, all, panel.Reduce(sequence(all), begin, to, n))
	})
}

func TestReducerLosesNothingOfALogOfAnyLength(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := readings(t, rapid.SampledFrom([]time.Duration{time.Second, time.Minute, 24 * time.Hour}).Draw(t, "pace"))
		n := rapid.IntRange(1, 100).Draw(t, "columns")
		r := panel.NewReducer(begin, n)
		for at, v := range sequence(all) {
			r.Add(at, v)
		}
		to := begin.Add(all[len(all)-1].at + time.Second)
		wantHull(t, all, r.Columns(begin, to, n))
	})
}

func TestReduceLeavesOutWhatIsOutside(t *testing.T) {
	all := []reading{{-time.Second, 1}, {time.Second, 2}, {9 * time.Second, 4}, {11 * time.Second, 8}}
	columns := panel.Reduce(sequence(all), begin, begin.Add(10*time.Second), 5)
	want := []panel.Column{{2, 2, 2, 1}, {}, {}, {}, {4, 4, 4, 1}}
	for i, c := range columns {
		if c != want[i] {
			t.Errorf("column %d is %+v, want %+v", i, c, want[i])
		}
	}
}

// A season must not cost more memory than a night.
func TestReducerDoesNotGrow(t *testing.T) {
	r := panel.NewReducer(begin, 400)
	at := begin
	if n := testing.AllocsPerRun(100_000, func() {
		at = at.Add(time.Minute)
		r.Add(at, 20)
	}); n != 0 {
		t.Errorf("%g allocations a reading", n)
	}
}

func TestHoldFollowsTheReadings(t *testing.T) {
	tests := []struct {
		name        string
		every       time.Duration
		least, most time.Duration
	}{
		{"10 Hz", 100 * time.Millisecond, time.Second, time.Second}, // the finest column
		{"a second", time.Second, 2 * time.Second, 8 * time.Second},
		{"5 s", 5 * time.Second, 10 * time.Second, 40 * time.Second},
		{"a minute", time.Minute, 2 * time.Minute, 5 * time.Minute},
		{"an hour", time.Hour, 5 * time.Minute, 5 * time.Minute},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := panel.NewReducer(begin, 4000)
			for i := range 100 {
				r.Add(begin.Add(time.Duration(i)*tt.every), 20)
			}
			// Two gaps change nothing about the usual.
			r.Add(begin.Add(100*tt.every+time.Hour), 20)
			if h := r.Hold(); h < tt.least || h > tt.most {
				t.Errorf("hold is %v, want %v to %v", h, tt.least, tt.most)
			}
		})
	}
}
