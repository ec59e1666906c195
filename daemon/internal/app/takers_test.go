package app

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status/statustest"
)

// Who has taken an alarm is known after a restart too, and of no other occurrence.
func TestWhoHasTakenAnAlarm(t *testing.T) {
	overheat := alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}
	spillage := alarm.Key{Name: alarm.Spillage, Channel: frame.Count}
	dir, wall := t.TempDir(), statustest.Wall
	open := func(identity string) (s *history.Store, end func()) {
		s = history.New(history.Options{Dir: dir, Identity: identity, Period: time.Second, Log: slog.New(slog.DiscardHandler)})
		s.Offer(statustest.Burning())
		ctx, stop := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- s.Run(ctx) }()
		return s, func() {
			t.Helper()
			stop()
			if err := errors.Join(<-ended, s.Close(context.Background())); err != nil {
				t.Error(err)
			}
		}
	}
	check := func(on *takers, k alarm.Key, occurrence uint32, want string) {
		t.Helper()
		by, at, ok := on.Taker(k, occurrence)
		if by != want || ok != (want != "") || ok && at.Sub(wall).Abs() > time.Minute {
			t.Errorf("%s, occurrence %d: taken by %q at %v, %v; want %q", k, occurrence, by, at, ok, want)
		}
	}
	take := func(s *history.Store, restored ...alarm.Status) *takers {
		return &takers{store: s, wall: func() time.Time { return wall }, restored: restored, log: slog.New(slog.DiscardHandler)}
	}

	store, end := open("first")
	first := take(store)
	check(first, overheat, 1, "")
	first.note("Ann", overheat, 1)
	first.note("Ben", overheat, 1) // too late
	first.note("Ben", spillage, 7)
	check(first, overheat, 1, "Ann")
	check(first, overheat, 2, "")
	check(first, spillage, 7, "Ben")
	first.note("Cid", overheat, 2)
	check(first, overheat, 1, "")
	check(first, overheat, 2, "Cid")
	end()

	store, end = open("second")
	defer end()
	wall = wall.Add(time.Second)
	second := take(store,
		alarm.Status{Key: overheat, Occurrence: 2, Acknowledged: true},
		alarm.Status{Key: spillage, Occurrence: 7}, // its memory was lost since
	)
	if err := second.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	var nobody *history.Store
	if err := take(nobody, alarm.Status{Key: overheat, Occurrence: 2, Acknowledged: true}).run(t.Context()); err != nil {
		t.Error(err)
	}
	check(second, overheat, 2, "Cid")
	check(second, spillage, 7, "")
}
