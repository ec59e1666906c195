package app

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// listener is a service manager's ear.
type listener struct {
	mu    sync.Mutex
	heard []string
	fed   []time.Duration // since the test began
	began time.Time
}

func (l *listener) hear(state string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if state == "WATCHDOG=1" {
		l.fed = append(l.fed, time.Since(l.began))
		return nil
	}
	l.heard = append(l.heard, state)
	return nil
}

// supervised runs a loop over a shelf with a manager whose watchdog wants to be fed within
// 20 s. The returned function ends it.
func supervised(t *testing.T, change func(*loop, *manager)) (ear *listener, end func()) {
	t.Helper()
	l, _ := ticker(t, shelf{"flue": good(300)})
	ear = &listener{began: time.Now()}
	m := &manager{
		say: ear.hear, watchdog: 20 * time.Second, log: slog.New(slog.DiscardHandler), ticks: make(chan tick, 1),
		fit:      func(*status.Status) string { return "" },
		headline: func(s *status.Status) string { return []string{"burns", "glows"}[s.Seq/30%2] },
	}
	change(l, m)
	l.after = append(l.after, m.tick)
	ctx, cancel := context.WithCancel(t.Context())
	var tasks sync.WaitGroup
	for _, run := range []func(context.Context) error{l.run, m.run} {
		tasks.Go(func() {
			if err := run(ctx); err != nil {
				t.Error(err)
			}
		})
	}
	return ear, func() { cancel(); tasks.Wait() }
}

func TestTheServiceManagerIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ear, end := supervised(t, func(*loop, *manager) {})
		time.Sleep(70 * time.Second)
		end()
		want := []string{"READY=1", "STATUS=burns", "STATUS=glows", "STATUS=burns", "STOPPING=1"}
		if !slices.Equal(ear.heard, want) {
			t.Errorf("heard %q, want %q", ear.heard, want)
		}
		if n := len(ear.fed); n < 13 || n > 15 {
			t.Errorf("fed %d times in 70 s, want each 5 s: %v", n, ear.fed)
		}
	})
}

// Only the loop feeds.
func TestALoopThatHangsIsNotFed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		free := make(chan struct{})
		ear, end := supervised(t, func(l *loop, _ *manager) {
			l.after = append(l.after, func(s *status.Status) {
				if s.Seq == 32 {
					<-free
				}
			})
		})
		time.Sleep(5 * time.Minute)
		synctest.Wait()
		if last := ear.fed[len(ear.fed)-1]; last > 31*time.Second {
			t.Errorf("fed %v after the start, and the loop hung after 31 s", last)
		}
		close(free)
		end()
	})
}

func TestALoopThatNeverBeginsIsNotReady(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		free := make(chan struct{})
		ear, end := supervised(t, func(l *loop, _ *manager) {
			l.after = append(l.after, func(*status.Status) { <-free })
		})
		time.Sleep(time.Minute)
		synctest.Wait()
		if len(ear.heard)+len(ear.fed) > 0 {
			t.Errorf("heard %q, fed %v", ear.heard, ear.fed)
		}
		close(free)
		end()
	})
}

func TestWhatIsNotFitIsNotFed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ear, end := supervised(t, func(_ *loop, m *manager) {
			m.fit = func(s *status.Status) string {
				if s.Seq > 30 && s.Seq <= 60 {
					return "it sleeps"
				}
				return ""
			}
		})
		time.Sleep(90 * time.Second)
		end()
		asleep := slices.ContainsFunc(ear.fed, func(d time.Duration) bool { return d > 29*time.Second && d < 60*time.Second })
		if again := ear.fed[len(ear.fed)-1]; asleep || again < 80*time.Second {
			t.Errorf("fed %v; not fit from 30 s to 60 s", ear.fed)
		}
		if !slices.Contains(ear.heard, "STATUS=Not fit: it sleeps.") {
			t.Errorf("heard %q", ear.heard)
		}
	})
}

// A service manager that takes nothing does not hold up the loop.
func TestADeafServiceManagerIsNotWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var seq uint64
		deaf := make(chan struct{})
		_, end := supervised(t, func(l *loop, m *manager) {
			l.after = append(l.after, func(s *status.Status) { seq = s.Seq })
			m.say = func(string) error { <-deaf; return nil }
		})
		time.Sleep(59500 * time.Millisecond)
		synctest.Wait()
		if seq != 60 {
			t.Errorf("%d ticks in a minute", seq)
		}
		close(deaf)
		end()
	})
}

func TestNobodyListens(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	if m := newManager(nil, nil, slog.New(slog.DiscardHandler)); m != nil {
		t.Error("there is a manager though nobody listens")
	}
	t.Setenv("NOTIFY_SOCKET", t.TempDir()+"/gone")
	var said strings.Builder
	if m := newManager(nil, nil, slog.New(slog.NewTextHandler(&said, nil))); m != nil || !strings.Contains(said.String(), "cannot be told") {
		t.Errorf("manager %v, said %q", m, said.String())
	}
}

// keep is fitness with what it looks at, at a tick a second.
type keep struct {
	fitness
	past   history.Health
	status status.Status
	said   string
}

func newKeep() *keep {
	k := &keep{}
	k.fitness = fitness{stale: 5 * time.Second, untold: 70 * time.Second, history: func() history.Health { return k.past }}
	k.status.Assessment.Phase = burn.Cold
	k.status.Sensors = []status.Sensor{{Channels: []frame.Channel{frame.Flue}, Faults: map[sensors.Code]uint64{}}}
	k.status.Frame.Inputs[frame.Flue].Quality = frame.Good
	k.status.Assessment.Alarms = []alarm.Status{{Key: alarm.Key{Name: alarm.SensorLost, Channel: frame.Flue}, Condition: alarm.Gone}}
	return k
}

// run ticks; each polls the sensor and writes the history as told.
func (k *keep) run(lasts time.Duration, polls, writes bool) {
	for range int(lasts / time.Second) {
		k.status.Frame.At += time.Second
		if polls {
			k.status.Sensors[0].Samples++
		}
		if writes {
			k.past.Commits++
		}
		k.said = k.step(&k.status)
	}
}

func (k *keep) lose() { k.status.Frame.Inputs[frame.Flue].Quality = frame.Stale }

func TestFitness(t *testing.T) {
	tests := map[string]struct {
		do    func(*keep)
		unfit string
	}{
		"all is well": {func(k *keep) { k.run(2*time.Hour, true, true) }, ""},
		"a bus hangs, and nobody notices": {func(k *keep) {
			k.run(11*time.Second, false, true)
		}, "a reading of flue is used, and its sensor was not looked at for"},
		"a bus hangs": {func(k *keep) {
			k.run(5*time.Second, false, true)
			k.lose()
			k.run(70*time.Second, false, true)
		}, ""},
		"a bus hangs and is alarmed": {func(k *keep) {
			k.lose()
			k.status.Assessment.Alarms[0].Condition = alarm.Holds
			k.run(time.Hour, false, true)
		}, ""},
		"a bus hangs, and a person has shelved it": {func(k *keep) {
			k.lose()
			k.status.Assessment.Alarms[0].State = alarm.Shelved
			k.run(time.Hour, false, true)
		}, ""},
		"a bus hangs, and no alarm comes": {func(k *keep) {
			k.lose()
			k.run(72*time.Second, false, true)
		}, "there is no reading of flue, and no alarm says so"},
		"a loose wire": {func(k *keep) {
			for range 100 {
				k.lose()
				k.run(60*time.Second, false, true)
				k.status.Frame.Inputs[frame.Flue].Quality = frame.Good
				k.run(time.Second, true, true)
			}
		}, ""},
		"a chip that answers wrongly was looked at": {func(k *keep) {
			for range 100 {
				k.status.Sensors[0].Faults[sensors.BadChecksum]++
				k.run(8*time.Second, false, true)
			}
		}, ""},
		"the history is written each ten minutes": {func(k *keep) {
			for range 12 {
				k.run(10*time.Minute, true, false)
				k.past.Commits++
			}
		}, ""},
		"the storage gives errors": {func(k *keep) {
			k.past.State = history.Failing
			for range 120 {
				k.run(time.Minute, true, false)
				k.past.Failures++
			}
		}, ""},
		"the storage does not answer for a while": {func(k *keep) {
			k.past.State = history.Slow
			k.run(30*time.Minute, true, false)
		}, ""},
		"the storage does not answer": {func(k *keep) {
			k.past.State = history.Slow
			k.run(31*time.Minute, true, false)
		}, "the history was neither written nor given up for 31m0s"},
		"the writer sleeps though nothing is said": {func(k *keep) {
			k.past.State = history.Fine
			k.run(31*time.Minute, true, false)
		}, "the history was neither written nor given up for 31m0s"},
		"the storage does not answer while a fire burns": {func(k *keep) {
			k.status.Assessment.Phase = burn.CleanBurn
			k.run(6*time.Hour, true, false)
		}, ""},
		"nor while nobody knows whether one does": {func(k *keep) {
			k.status.Assessment.Phase = burn.Unknown
			k.run(6*time.Hour, true, false)
		}, ""},
		"no history is kept": {func(k *keep) {
			k.history = nil
			k.run(6*time.Hour, true, false)
		}, ""},
		"stopped for an hour and let go on": {func(k *keep) {
			k.status.Frame.At += time.Hour
			k.lose()
			k.run(time.Second, false, true)
			k.status.Frame.Inputs[frame.Flue].Quality = frame.Good
			k.run(10*time.Second, true, true)
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			k := newKeep()
			k.run(time.Second, true, true)
			tt.do(k)
			if tt.unfit == "" && k.said != "" || !strings.HasPrefix(k.said, tt.unfit) {
				t.Errorf("says %q, want %q", k.said, tt.unfit)
			}
		})
	}
}
