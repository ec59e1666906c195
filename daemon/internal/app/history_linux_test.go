package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// watch is one run of the program with its history, over a flue and without those who
// publish.
type watch struct {
	*loop
	t       *testing.T
	shelf   shelf
	store   *history.Store
	durable func(context.Context) error
	last    *status.Status
	raised  []string // with their occurrences
	said    strings.Builder
}

// watching runs for a while over dir, and then ends as the program does. do is called at
// each tick.
func watching(t *testing.T, dir, boot string, lasts time.Duration, do func(*watch)) *watch {
	t.Helper()
	w := &watch{t: t, shelf: shelf{"flue": good(300)}}
	w.loop, _ = ticker(t, w.shelf)
	s := analysis.Settings{DraftLow: 10, DraftHigh: 15, Monitored: true}
	s.Fitted[frame.Flue], s.Limits[frame.Flue] = true, 500
	var err error
	if w.engine, err = analysis.New(s); err != nil {
		t.Fatal(err)
	}
	h := &house{
		cfg: config.Default(), boot: boot, log: slog.New(slog.NewTextHandler(&w.said, nil)),
		options: Options{State: dir, Clock: sensors.SystemClock{}, Version: "1.0"},
	}
	k := h.keepAlarms(w.loop)
	w.store = h.keepHistory(w.loop)
	watch := &watchman{history: w.store.Health, delivery: func() mqtt.Stats { return mqtt.Stats{} }, ownClock: true}
	w.impaired, w.durable = watch.step, durable(w.store, k, watch)
	w.after = append(w.after, func(s *status.Status) {
		w.last = s
		for _, e := range s.Assessment.Events {
			if e.Kind == analysis.AlarmChanged && e.Change == alarm.WasRaised {
				w.raised = append(w.raised, fmt.Sprint(e.Alarm.Key, " ", e.Alarm.Occurrence))
			}
		}
		do(w)
	})
	ctx, cancel := context.WithTimeout(t.Context(), lasts)
	defer cancel()
	for _, task := range h.tasks {
		go func() { _ = task.run(ctx) }()
	}
	if err := w.run(ctx); err != nil {
		t.Fatal(err)
	}
	synctest.Wait()
	if err := h.close(); err != nil {
		t.Fatal(err)
	}
	return w
}

// kept lists the changes of alarms in the history of dir.
func kept(t *testing.T, dir string) (all []string) {
	t.Helper()
	watching(t, dir, "reader", 1500*time.Millisecond, func(w *watch) {
		if w.last.Seq > 1 {
			return
		}
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		// Looking does not wait for a file that is not open yet.
		if err := w.store.Commit(ctx); err != nil {
			t.Fatal(err)
		}
		events, err := w.store.Events(ctx, "alarms", time.Unix(0, 0), time.Now().AddDate(1, 0, 0))
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			all = append(all, fmt.Sprint(e.Fields["alarm"], " ", e.Fields["change"], " ", e.Fields["occurrence"]))
		}
	})
	return all
}

func TestARestartKeepsHistoryAndCounts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		for run := range 3 {
			w := watching(t, dir, fmt.Sprint("run ", run), 3*time.Minute, func(w *watch) {
				switch w.last.Seq {
				case 10:
					w.shelf["flue"] = good(600)
				case 20:
					w.shelf["flue"] = good(300)
				}
			})
			if want := []string{fmt.Sprint("overheat/flue ", run+1)}; !slices.Equal(w.raised, want) {
				t.Errorf("run %d raised %q, want %q", run, w.raised, want)
			}
			time.Sleep(time.Hour)
		}
		want := []string{
			"overheat raised 1", "overheat cleared 1", "overheat raised 2", "overheat cleared 2", "overheat raised 3", "overheat cleared 3",
		}
		if got := kept(t, dir); !slices.Equal(got, want) {
			t.Errorf("the history has %q, want %q", got, want)
		}
	})
}

// card is a file system of two megabytes.
func card(t *testing.T) string {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("mounting is for real machines")
	}
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=2m"); err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal("cannot mount: ", err)
		}
		t.Skip("cannot mount: ", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// fill takes what room there is.
func fill(t *testing.T, file string) {
	t.Helper()
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := 64 << 10; size > 0; {
		if _, err := f.Write(make([]byte, size)); errors.Is(err, syscall.ENOSPC) {
			size /= 2
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

// A card that is full holds up no alarm: the monitor says that it is impaired, and puts into
// the file what it kept in memory when there is room again.
func TestAFullCardIsSaidAndMadeUpFor(t *testing.T) {
	dir := card(t)
	filler := filepath.Join(dir, "filler")
	impaired := alarm.Key{Name: alarm.MonitorImpaired, Channel: frame.Count}
	synctest.Test(t, func(t *testing.T) {
		var waited time.Duration
		var said alarm.Status
		w := watching(t, dir, "run", 20*time.Minute, func(w *watch) {
			switch w.last.Frame.At.Truncate(time.Second) {
			case 2 * time.Minute:
				fill(t, filler)
			case 5 * time.Minute:
				w.shelf["flue"] = good(600)
			case 6 * time.Minute:
				w.shelf["flue"] = good(300)
			case 8 * time.Minute:
				said = stateOf(w.last, impaired)
				if err := os.Remove(filler); err != nil {
					t.Error(err)
				}
			}
			if stateOf(w.last, overheat).State == alarm.Raised && waited == 0 {
				from := time.Now()
				ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
				defer cancel()
				if err := w.durable(ctx); err == nil {
					t.Error("an alarm is durable on a full card")
				}
				waited = time.Since(from) + 1
			}
		})
		if said.State != alarm.Raised || said.Fault != "history-full" {
			t.Errorf("on a full card the monitor says %+v\n%s", said, w.said.String())
		}
		if got := stateOf(w.last, impaired); got.Word() != "cleared" {
			t.Errorf("with room again it says %+v", got)
		}
		for _, want := range []string{"monitor-impaired 1", "overheat/flue 1"} {
			if !slices.Contains(w.raised, want) {
				t.Errorf("raised %q and not %s", w.raised, want)
			}
		}
		if waited == 0 || waited > time.Second {
			t.Errorf("the alarm waited %v for a card that is full", waited)
		}
		got := kept(t, dir)
		for _, want := range []string{"overheat raised 1", "overheat cleared 1", "monitor-impaired raised 1", "monitor-impaired cleared 1"} {
			if !slices.Contains(got, want) {
				t.Errorf("the history has %q and not %s", got, want)
			}
		}
	})
}
