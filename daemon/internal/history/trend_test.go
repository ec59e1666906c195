package history_test

import (
	"context"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// recorded is a store with three runs and gaps, the last of them partly in memory.
func recorded(t testing.TB) *site {
	dir := t.TempDir()
	for i, length := range []time.Duration{100 * time.Minute, 5 * time.Minute} {
		s := begin(t, options(dir))
		s.wall = noon.Add(time.Duration(i) * 4 * time.Hour)
		s.ticks(0, length/2)
		s.ticks(length/2+7*time.Minute, length+7*time.Minute) // the loop stood still
		s.close()
	}
	s := begin(t, options(dir))
	s.wall = noon.Add(8 * time.Hour)
	s.ticks(0, 50*time.Minute)
	s.commit()
	s.ticks(50*time.Minute, 61*time.Minute)
	return s
}

var fluedraft = []frame.Channel{frame.Draft, frame.Flue}

// A trend is what anybody would make of the rows by hand, in any window; where it is made of
// sums it may be off by the span of one.
func TestTrendIsTheRowsReduced(t *testing.T) {
	s := recorded(t)
	rows := s.rows()
	rapid.Check(t, func(t *rapid.T) {
		from := noon.Add(time.Duration(rapid.Int64Range(-3600, 12*3600).Draw(t, "from")) * time.Second)
		to := from.Add(time.Duration(rapid.Int64Range(1, 14*3600).Draw(t, "length")) * time.Second)
		w := history.Window{From: from, To: to, Columns: rapid.IntRange(1, 700).Draw(t, "columns"), Channels: fluedraft}
		got, err := s.Trend(context.Background(), w)
		if err != nil {
			t.Fatal(err)
		}
		if got.Partial || len(got.Series) != 2 {
			t.Fatalf("%+v", got)
		}
		width := to.Sub(from) / time.Duration(w.Columns)
		if level := got.Resolution; (width >= time.Hour) != (level == time.Hour) || (width >= 15*time.Minute) != (level >= 15*time.Minute) || width < time.Minute && level != time.Second {
			t.Fatalf("columns of %v made of %v", width, level)
		}
		slop := got.Resolution
		if slop == time.Second {
			slop = 0
		}
		for k, c := range w.Channels {
			for i, col := range got.Series[k] {
				begin := from.Add(time.Duration(int64(i) * int64(to.Sub(from)) / int64(w.Columns)))
				end := from.Add(time.Duration(int64(i+1) * int64(to.Sub(from)) / int64(w.Columns)))
				inner := reduce(rows, c, begin.Add(slop), end.Add(-slop))
				outer := reduce(rows, c, begin.Add(-slop-time.Millisecond), end.Add(slop+time.Millisecond))
				if col.N < inner.N || col.N > outer.N || col.N > 0 && (col.Min < outer.Min-1e-9 || col.Max > outer.Max+1e-9 || !(col.Min <= col.Mean && col.Mean <= col.Max)) {
					t.Fatalf("column %d of %v: %+v, want between %+v and %+v", i, c, col, inner, outer)
				}
				if col.Good != col.N || (col.N == 0) != math.IsNaN(col.Mean) {
					t.Fatalf("column %d: %+v", i, col)
				}
			}
		}
	})
}

func reduce(rows []history.Row, c frame.Channel, from, to time.Time) history.Column {
	col := history.Column{Min: math.Inf(1), Max: math.Inf(-1)}
	first, _ := slices.BinarySearchFunc(rows, from, func(r history.Row, t time.Time) int { return r.At.Compare(t) })
	for _, r := range rows[first:] {
		if !r.At.Before(to) {
			break
		}
		if v := r.Values[c]; !math.IsNaN(v) {
			col.N++
			col.Min, col.Max = min(col.Min, v), max(col.Max, v)
		}
	}
	return col
}

// No row counts twice or not at all, whatever the trend is made of.
func TestTrendCountsEveryRow(t *testing.T) {
	s := recorded(t)
	n := len(s.rows())
	for _, columns := range []int{1, 20, 100, 3000} {
		got, err := s.Trend(t.Context(), history.Window{From: noon.Add(-time.Hour), To: noon.Add(12 * time.Hour), Columns: columns, Channels: fluedraft})
		if err != nil {
			t.Fatal(err)
		}
		sum := 0
		for _, col := range got.Series[0] {
			sum += col.N
		}
		if sum != n {
			t.Errorf("%d columns of %v: %d rows of %d", columns, got.Resolution, sum, n)
		}
	}
}

func TestTrendRefuses(t *testing.T) {
	s := recorded(t)
	for _, w := range []history.Window{
		{From: noon, To: noon, Columns: 1},
		{From: noon, To: noon.Add(time.Hour)},
		{From: noon, To: noon.Add(time.Hour), Columns: history.MostColumns + 1},
	} {
		if _, err := s.Trend(t.Context(), w); err == nil {
			t.Errorf("%+v: no error", w)
		}
	}
}

// A former release knows no hours and leaves them out of the runs that it writes or ends: they
// are made when the file is opened.
func TestHoursThatAreMissing(t *testing.T) {
	for name, lose := range map[string]string{
		"of a run":            "DELETE FROM hours WHERE id >> 40 = 1",
		"of all":              "DELETE FROM hours",
		"the last of a run":   "DELETE FROM hours WHERE id = (SELECT max(id) FROM hours WHERE id >> 40 = 1)",
		"a part of that":      "UPDATE hours SET n = n - 9, flue_min = flue_min + 50 WHERE id = (SELECT max(id) FROM hours WHERE id >> 40 = 1)",
		"nothing":             "SELECT 1",
		"where none could be": "DELETE FROM hours; DELETE FROM quarters WHERE id >> 40 = 2; DELETE FROM minutes WHERE id >> 40 = 2",
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			for i := range 2 {
				s := begin(t, options(dir))
				s.wall = noon.Add(time.Duration(i) * 4 * time.Hour)
				s.ticks(0, 100*time.Minute)
				s.close()
			}
			want := query(t, dir, "SELECT id, n, flue_min, flue_range, flue_mean FROM hours ORDER BY id")
			if name == "where none could be" {
				want = query(t, dir, "SELECT id, n, flue_min, flue_range, flue_mean FROM hours WHERE id >> 40 = 1 ORDER BY id")
			}
			change(t, dir, lose)
			s := begin(t, options(dir))
			s.wall = noon.Add(24 * time.Hour)
			s.tick(0)
			s.close()
			if got := query(t, dir, "SELECT id, n, flue_min, flue_range, flue_mean FROM hours WHERE id >> 40 < 3 ORDER BY id"); got != want {
				t.Errorf("hours:\n%s\nwant:\n%s", got, want)
			}
			a, err := history.Open(t.Context(), filepath.Join(dir, history.FileName))
			if err != nil {
				t.Fatal(err)
			}
			if err := a.Close(); err != nil {
				t.Fatal(err)
			}
		})
	}
}

// Rows at full rate go by one after another: a longer window takes no more memory.
func TestTrendKeepsNoRows(t *testing.T) {
	if testing.Short() {
		t.Skip("measures memory, of which the race detector and an emulator take their own")
	}
	s := begin(t, options(t.TempDir()))
	s.ticks(0, 5*time.Hour)
	s.commit()
	s.tick(5*time.Hour + 20*time.Minute) // all before is in the file, packed
	s.commit()
	allocated := func(length time.Duration) uint64 {
		w := history.Window{From: noon, To: noon.Add(length), Columns: 1000, Channels: fluedraft}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		got, err := s.Trend(t.Context(), w)
		runtime.ReadMemStats(&after)
		if err != nil || got.Resolution != time.Second {
			t.Fatal(got.Resolution, err)
		}
		return after.TotalAlloc - before.TotalAlloc
	}
	allocated(time.Hour)
	short, long := allocated(time.Hour), allocated(5*time.Hour)
	samples := uint64(4 * 3600 * len(fluedraft))
	if long > short+samples*4 {
		t.Errorf("an hour takes %d bytes, five %d: more than 4 bytes a sample", short, long)
	}
}
