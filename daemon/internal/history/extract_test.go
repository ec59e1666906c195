package history_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// live makes a bundle of a history that is being kept, and opens it.
func live(t testing.TB, s *site, from, to time.Time, d history.Detail) (*history.Archive, history.Bundled) {
	t.Helper()
	var b bytes.Buffer
	made, err := s.Bundle(t.Context(), &b, from, to, d, 0)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "live.zip")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return open(t, path), made
}

// same holds for rows of two archives; the numbers of values that are none differ.
func same(a, b history.Row) bool {
	return a.At.Equal(b.At) && a.Sure == b.Sure && a.Run == b.Run && a.Quality == b.Quality && slices.EqualFunc(a.Values[:], b.Values[:], func(x, y float64) bool {
		return x == y || x != x && y != y
	})
}

// A bundle of the history that goes on is the same as one of a copy of it, wherever the
// window lies: in an earlier run, in blocks, in what is not packed yet, or across them.
func TestBundleOfALiveHistory(t *testing.T) {
	dir := begun(t)
	s := begin(t, options(dir))
	s.wall = noon.Add(3 * time.Hour)
	s.ticks(0, 40*time.Minute)
	s.tick(40*time.Minute, raised(alarm.Overheat, frame.Flue, 2))
	s.ticks(40*time.Minute+time.Second, 95*time.Minute)
	s.Note("technician", "mark 4")
	s.commit()
	copied := open(t, s.cutOff())
	_, end := copied.Span()
	for name, w := range map[string][2]time.Time{
		"everything":          {noon, end},
		"a former run":        {noon.Add(10 * time.Minute), noon.Add(31 * time.Minute)},
		"between the runs":    {noon.Add(50 * time.Minute), noon.Add(95 * time.Minute)},
		"blocks of this run":  {noon.Add(183 * time.Minute), noon.Add(217 * time.Minute)},
		"up to now":           {noon.Add(2 * time.Hour), end},
		"not packed yet":      {end.Add(-3 * time.Minute), end},
		"ends within the run": {noon.Add(4 * time.Hour), end.Add(-time.Minute)},
	} {
		t.Run(name, func(t *testing.T) {
			a, made := live(t, s, w[0], w[1], history.FullRate)
			path, want := bundle(t, copied, w[0], w[1], 0)
			b := open(t, path)
			if !made.From.Equal(want.From) || !made.To.Equal(want.To) || !made.FullFrom.Equal(want.FullFrom) {
				t.Errorf("%v to %v, want %v to %v", made.From, made.To, want.From, want.To)
			}
			rows, wanted := all(t, a), all(t, b)
			if len(wanted) == 0 || !slices.EqualFunc(rows, wanted, same) {
				t.Errorf("%d rows, want %d", len(rows), len(wanted))
			}
			for _, kind := range []string{"alarms", "notes", "phases"} {
				got, err := a.Events(t.Context(), kind, noon, end)
				if err != nil {
					t.Fatal(err)
				}
				want, err := b.Events(t.Context(), kind, noon, end)
				if err != nil {
					t.Fatal(err)
				}
				if len(got) != len(want) {
					t.Errorf("%d %s, want %d", len(got), kind, len(want))
				}
			}
			only, err := a.ByMinuteOnly(t.Context(), w[0], w[1])
			if err != nil || only > 0 {
				t.Errorf("of %v there are minutes alone, %v", only, err)
			}
		})
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "bundling-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestDetailOfABundle(t *testing.T) {
	s := begin(t, options(begun(t)))
	s.wall = noon.Add(3 * time.Hour)
	s.ticks(0, 2*time.Hour)
	_, end := s.Span()
	full, whole := live(t, s, noon, end, history.FullRate)
	minutes, less := live(t, s, noon, end, history.ByMinute)
	events, least := live(t, s, noon, end, history.EventsOnly)
	if !(least.Bytes < less.Bytes && less.Bytes < whole.Bytes) {
		t.Errorf("%d, %d, %d bytes", whole.Bytes, less.Bytes, least.Bytes)
	}
	w := history.Window{From: noon.Add(3 * time.Hour), To: noon.Add(4 * time.Hour), Columns: 60, Channels: []frame.Channel{frame.Flue}}
	a, err := full.Trend(t.Context(), w)
	if err != nil {
		t.Fatal(err)
	}
	b, err := minutes.Trend(t.Context(), w)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.Series[0] {
		if x, y := a.Series[0][i], b.Series[0][i]; x.N == 0 || x != y {
			t.Fatalf("column %d: %+v, by the minute %+v", i, x, y)
		}
	}
	if n := len(all(t, events)); n != 0 {
		t.Errorf("%d rows among events", n)
	}
	for _, x := range []*history.Archive{minutes, events} {
		notes, err := x.Events(t.Context(), "notes", noon, end)
		if err != nil || len(notes) != 1 {
			t.Errorf("%d notes, %v", len(notes), err)
		}
	}
}

func TestBundleOfNothing(t *testing.T) {
	s := begin(t, options(t.TempDir()))
	s.ticks(0, time.Minute)
	if _, err := s.Bundle(t.Context(), io.Discard, noon.Add(-time.Hour), noon.Add(-time.Minute), history.FullRate, 0); err == nil {
		t.Error("a bundle of a time before the history")
	}
}

// While bundles are made the loop goes on, alarms are durable in time, and every bundle
// holds a whole number of seconds without a gap.
func TestBundlesWhileTheHistoryGoesOn(t *testing.T) {
	if testing.Short() {
		t.Skip("measures how long the writer waits")
	}
	s := begin(t, options(t.TempDir()))
	s.ticks(0, 6*time.Hour)
	s.commit()
	ctx, cancel := context.WithCancel(t.Context())
	var asking sync.WaitGroup
	var busy int
	var mu sync.Mutex
	for range 2 {
		asking.Go(func() {
			for ctx.Err() == nil {
				var b bytes.Buffer
				made, err := s.Bundle(ctx, &b, noon, noon.AddDate(0, 0, 9), history.FullRate, 0)
				if errors.Is(err, history.ErrBusy) {
					mu.Lock()
					busy++
					mu.Unlock()
					time.Sleep(time.Millisecond)
					continue
				}
				if err != nil {
					if ctx.Err() == nil {
						t.Error(err)
					}
					return
				}
				path := filepath.Join(t.TempDir(), "b.zip")
				if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
					t.Error(err)
					return
				}
				a, err := history.Open(ctx, path)
				if err != nil {
					if ctx.Err() == nil {
						t.Error(err)
					}
					return
				}
				var last time.Time
				n := 0
				for r, err := range a.Rows(ctx, made.From, made.To) {
					if err != nil {
						break
					}
					if n++; n > 1 && r.At.Sub(last) != time.Second {
						t.Errorf("%v after %v", r.At, last)
					}
					last = r.At
				}
				if err := a.Close(); err != nil {
					t.Error(err)
				}
				if ctx.Err() == nil && n < 6*3600-1 {
					t.Errorf("%d rows", n)
				}
			}
		})
	}
	var worst time.Duration
	for i := range 200 {
		for j := range 30 {
			s.tick(6*time.Hour + time.Duration(30*i+j)*time.Second)
		}
		began := time.Now()
		s.commit()
		worst = max(worst, time.Since(began))
	}
	cancel()
	asking.Wait()
	t.Logf("a commit took %v at most; %d were told to wait", worst, busy)
	if worst > 2*time.Second {
		t.Errorf("a commit took %v: an alarm is announced after 2 s", worst)
	}
}

// What a killed run left behind is taken away.
func TestSweepsWhatAKilledBundleLeft(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "bundling-1", "x"), 0o700); err != nil {
		t.Fatal(err)
	}
	s := begin(t, options(dir))
	s.ticks(0, time.Minute)
	s.commit()
	if left, _ := filepath.Glob(filepath.Join(dir, "bundling-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}
