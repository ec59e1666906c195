package handout

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/daemon/internal/history"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// slow is a history whose bundles take as long as a test wants.
type slow struct {
	went chan struct{}
	fail error
}

func (*slow) Span() (from, to time.Time) { return noon, noon.Add(48 * time.Hour) }
func (*slow) Health() history.Health     { return history.Health{Bytes: 100_000_000} }
func (*slow) Events(context.Context, string, time.Time, time.Time) ([]history.Event, error) {
	return nil, nil
}

func (s *slow) Bundle(ctx context.Context, w io.Writer, from, to time.Time, _ history.Detail, _ int64) (history.Bundled, error) {
	select {
	case <-s.went:
	case <-ctx.Done():
		return history.Bundled{}, ctx.Err()
	}
	_, err := io.WriteString(w, "a bundle")
	return history.Bundled{From: from, To: to, Bytes: 8}, errors.Join(err, s.fail)
}

func TestOneAtATimeAndFewWait(t *testing.T) {
	s := &slow{went: make(chan struct{})}
	d := New(filepath.Join(t.TempDir(), "bundles"), s, slog.New(slog.DiscardHandler))
	var all sync.WaitGroup
	errs := make(chan error, mostWaiting+2)
	for range mostWaiting + 2 {
		all.Go(func() { _, err := d.Make(t.Context(), Wish{}); errs <- err })
	}
	for range 2 {
		if err := <-errs; !errors.Is(err, ErrBusy) {
			t.Errorf("%v, want that it is busy", err)
		}
	}
	close(s.went)
	all.Wait()
	for range mostWaiting {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}

// A storage that is nearly full is left to the history, and what fails leaves nothing.
func TestNoRoomAndFailures(t *testing.T) {
	s := &slow{went: make(chan struct{})}
	close(s.went)
	dir := filepath.Join(t.TempDir(), "bundles")
	d := New(dir, s, slog.New(slog.DiscardHandler))
	free := int64(200_000_000)
	d.free = func(string) (int64, error) { return free, nil }
	if _, err := d.Make(t.Context(), Wish{}); !errors.Is(err, ErrFull) {
		t.Errorf("%v, want that there is too little room", err)
	}
	short := Wish{}
	short.Since = time.Hour
	if _, err := d.Make(t.Context(), short); err != nil {
		t.Errorf("an hour: %v", err)
	}
	s.fail = errors.New("the card is gone")
	if _, err := d.Make(t.Context(), short); !errors.Is(err, s.fail) {
		t.Errorf("%v", err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 1 {
		t.Errorf("%d files, want the one that was made; %v", len(left), err)
	}
}

// A wish survives being written as a form and as a query.
func TestForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var w Wish
		moment := rapid.Custom(func(t *rapid.T) time.Time {
			return time.UnixMilli(rapid.Int64Range(0, 4_000_000_000_000).Draw(t, "ms")).UTC()
		})
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			w.Since = time.Duration(rapid.IntRange(1, 1_000_000).Draw(t, "s")) * time.Second
		case 1:
			w.From, w.To = moment.Draw(t, "from"), moment.Draw(t, "to")
		case 2:
			w.Burn = rapid.SampledFrom([]string{"last", "17"}).Draw(t, "burn")
		}
		w.Detail = rapid.SampledFrom([]history.Detail{history.FullRate, history.ByMinute, history.EventsOnly}).Draw(t, "detail")
		f, err := FromValues(FormOf(w).Values())
		if err != nil {
			t.Fatal(err)
		}
		got, err := f.Wish()
		if err != nil || got != w {
			t.Fatalf("%+v, want %+v; %v", got, w, err)
		}
	})
}

func FuzzForm(f *testing.F) {
	f.Add("since=48h&detail=minutes")
	f.Add("from=2026-11-25T12:00:00Z&to=2026-11-26T12:00:00Z")
	f.Add("burn=last&burn=1&since=-1h")
	f.Fuzz(func(t *testing.T, query string) {
		v, err := url.ParseQuery(query)
		if err != nil {
			return
		}
		form, err := FromValues(v)
		if err != nil {
			return
		}
		if w, err := form.Wish(); err == nil && (w.Since < 0 || w.Since > longest) {
			t.Errorf("%+v", w)
		}
	})
}
