package app

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/memory"
	"fluewright/daemon/internal/status"
)

var overheat = alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}

// oneRun is one run of the program over dir for a while; each tick goes to do. killed leaves
// out what an orderly end does.
func oneRun(t *testing.T, dir string, flue float64, lasts time.Duration, killed bool, do func(*loop, *status.Status)) (said string) {
	t.Helper()
	var log strings.Builder
	l, _ := ticker(t, shelf{"flue": good(flue)})
	h := &house{options: Options{State: dir}, log: slog.New(slog.NewTextHandler(&log, nil))}
	h.keepAlarms(l)
	if killed {
		l.last = nil
	}
	l.after = append(l.after, func(s *status.Status) { do(l, s) })
	ctx, cancel := context.WithTimeout(t.Context(), lasts)
	defer cancel()
	for _, task := range h.tasks {
		go func() { _ = task.run(ctx) }()
	}
	if err := l.run(ctx); err != nil {
		t.Fatal(err)
	}
	synctest.Wait()
	if !killed {
		if err := h.close(); err != nil {
			t.Fatal(err)
		}
	}
	return log.String()
}

func stateOf(s *status.Status, k alarm.Key) alarm.Status {
	for _, a := range s.Assessment.Alarms {
		if a.Key == k {
			return a
		}
	}
	return alarm.Status{}
}

func TestAStandingAlarmOutlivesAKill(t *testing.T) {
	for _, acknowledged := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			dir := t.TempDir()
			oneRun(t, dir, 600, 10500*time.Millisecond, true, func(l *loop, s *status.Status) {
				if s.Seq == 5 && acknowledged {
					if err := l.engine.Acknowledge(overheat, 1); err != nil {
						t.Error(err)
					}
				}
			})
			want := alarm.Raised
			if acknowledged {
				want = alarm.Acknowledged
			}
			time.Sleep(time.Minute)
			said := oneRun(t, dir, 600, 10500*time.Millisecond, true, func(_ *loop, s *status.Status) {
				if a := stateOf(s, overheat); a.State != want || a.Occurrence != 1 || a.Since > -time.Minute {
					t.Errorf("tick %d: %+v, want %v", s.Seq, a, want)
				}
				for _, e := range s.Assessment.Events {
					if e.Change == alarm.WasRaised {
						t.Errorf("tick %d: %v is announced again", s.Seq, e.Alarm.Key)
					}
				}
			})
			if !strings.Contains(said, "alarm of the last run") {
				t.Errorf("said %q", said)
			}
		})
	}
}

func TestATornFileIsSetAsideAndSaid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		file := filepath.Join(dir, memory.FileName)
		oneRun(t, dir, 600, 5500*time.Millisecond, true, func(*loop, *status.Status) {})
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, text[:len(text)-20], 0o600); err != nil {
			t.Fatal(err)
		}
		raised := false
		said := oneRun(t, dir, 600, 10500*time.Millisecond, false, func(_ *loop, s *status.Status) {
			raised = raised || stateOf(s, overheat).State == alarm.Raised
		})
		if !raised {
			t.Error("the overheat is not raised anew")
		}
		if !strings.Contains(said, "set aside") {
			t.Errorf("said %q", said)
		}
		if broken, err := os.ReadFile(filepath.Join(dir, memory.BrokenName)); err != nil || len(broken) != len(text)-20 {
			t.Errorf("set aside: %d bytes, %v", len(broken), err)
		}
		if _, found, err := memory.Load(dir); !found || err != nil {
			t.Errorf("nothing new was kept: %v, %v", found, err)
		}
	})
}

func TestAgesAreKeptWhileAnAlarmStands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		oneRun(t, dir, 600, time.Hour, true, func(*loop, *status.Status) {})
		s, _, err := memory.Load(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range s.Alarms {
			if k.Alarm == alarm.Overheat && k.Began < 49*60 {
				t.Errorf("it is %g s old in the file", k.Began)
			}
		}
	})
}

// A disk that is full ends nothing; it is said once, and made up for.
// An orderly end, as of an update, keeps how old an alarm is then, and not how old it was when
// last something changed.
func TestAnOrderlyEndKeepsTheAge(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		oneRun(t, dir, 600, 5*time.Minute, false, func(*loop, *status.Status) {})
		s, found, err := memory.Load(dir)
		if err != nil || !found {
			t.Fatal(found, err)
		}
		for _, k := range s.Alarms {
			if k.Alarm == alarm.Overheat && k.State == "raised" && k.Since < 285 {
				t.Errorf("it stood for %v s, of five minutes", k.Since)
			}
		}
	})
}

func TestADiskThatIsFull(t *testing.T) {
	var saved, said int
	full := true
	k := &keeper{
		take: func(time.Time, bool) analysis.Snapshot { return analysis.Snapshot{} },
		save: func(string, analysis.Snapshot) error {
			if full {
				return errors.New("no space left on device")
			}
			saved++
			return nil
		},
		say:  func(string, ...any) { said++ },
		wake: make(chan struct{}, 1), last: -keepEvery,
	}
	s := &status.Status{}
	s.Assessment.Burning = true
	for range 3 {
		k.tick(s)
		k.flush()
		s.Frame.At += keepEvery
	}
	full = false
	k.flush() // as at the end
	k.flush()
	if said != 1 || saved != 1 {
		t.Errorf("said %d times, saved %d times", said, saved)
	}
}

// Whoever announces an alarm waits until it is saved, and neither for a disk that cannot
// take it nor beyond its own time.
func TestWaitingForWhatIsSaved(t *testing.T) {
	tests := map[string]struct {
		takes time.Duration
		err   error
		waits time.Duration
		ok    bool
	}{
		"a disk as it should be": {30 * time.Millisecond, nil, 30 * time.Millisecond, true},
		"a full one":             {30 * time.Millisecond, errors.New("no space"), 30 * time.Millisecond, false},
		"one that stalls":        {time.Minute, nil, 2 * time.Second, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				k := &keeper{
					take: func(time.Time, bool) analysis.Snapshot { return analysis.Snapshot{} },
					save: func(string, analysis.Snapshot) error { time.Sleep(tt.takes); return tt.err },
					say:  func(string, ...any) {},
					wake: make(chan struct{}, 1),
				}
				running, stop := context.WithCancel(t.Context())
				defer stop()
				go func() { _ = k.run(running) }()
				if err := k.wait(t.Context()); err != nil {
					t.Errorf("with nothing to save: %v", err)
				}
				s := &status.Status{}
				s.Assessment.Events = []analysis.Event{{Kind: analysis.AlarmChanged, Change: alarm.WasRaised}}
				k.tick(s)
				from := time.Now()
				ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
				defer cancel()
				if err := k.wait(ctx); (err == nil) != tt.ok || time.Since(from) != tt.waits {
					t.Errorf("waited %v: %v", time.Since(from), err)
				}
				if k.forgets() != (tt.err != nil) {
					t.Errorf("forgets: %v", k.forgets())
				}
				time.Sleep(tt.takes)
			})
		})
	}
}

// What somebody says to have done counts after a power cut too, though nothing burns and no
// alarm changes.
func TestADoneJobOutlivesAKill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		var burnt analysis.Snapshot
		l, _ := ticker(t, shelf{"flue": good(20)})
		burnt = l.engine.Snapshot(time.Now(), false)
		burnt.Upkeep.Burnt[notice.Ash] = 170
		if err := memory.Save(dir, burnt); err != nil {
			t.Fatal(err)
		}
		oneRun(t, dir, 20, 2000500*time.Millisecond, true, func(l *loop, s *status.Status) {
			if s.Seq == 1990 {
				l.engine.Done(notice.Ash)
			}
		})
		oneRun(t, dir, 20, 5*time.Second, true, func(l *loop, _ *status.Status) {
			if got := l.engine.Upkeep().Burnt[notice.Ash]; got != 0 {
				t.Fatalf("the ash has lain %g h after it was taken out", got)
			}
		})
	})
}
