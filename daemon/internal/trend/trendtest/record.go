// Package trendtest records nights into histories as the daemon does, for tests.
package trendtest

import (
	"context"
	"errors"
	"iter"
	"log/slog"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
)

// Night is one run of the program.
type Night struct {
	Start         time.Time
	Configuration string // TOML
	Fitted        [frame.Count]bool
	Frames        iter.Seq[frame.Frame]
	// At is called before each tick, if it is there.
	At func(*history.Store, time.Duration)
}

// Told is a change of an alarm as it was told live.
type Told struct {
	At     time.Time
	Alarm  string // with its channel
	Change alarm.Change
}

// Record judges the nights and keeps them in dir, one run of the program after the other.
func Record(t testing.TB, dir string, nights ...Night) (told []Told) {
	t.Helper()
	for _, n := range nights {
		told = append(told, record(t, dir, n)...)
	}
	return told
}

func record(t testing.TB, dir string, n Night) (told []Told) {
	cfg, err := config.Parse("night.toml", []byte(n.Configuration))
	if err != nil {
		t.Fatal(err)
	}
	cfg.Analysis.Fitted = n.Fitted
	engine, err := analysis.New(cfg.Analysis)
	if err != nil {
		t.Fatal(err)
	}
	store := history.New(history.Options{
		Dir: dir, Period: cfg.Sampling.Period, Software: "1.2.3", Configuration: n.Configuration,
		Units: cfg.Site.Units, Log: slog.New(slog.DiscardHandler),
	})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- store.Run(ctx) }()
	committed := time.Duration(0)
	for f := range n.Frames {
		if n.At != nil {
			n.At(store, f.At)
		}
		st := status.Status{Wall: n.Start.Add(f.At), ClockTrusted: true, Frame: f, Assessment: engine.Step(f)}
		store.Offer(&st)
		for _, e := range st.Assessment.Events {
			if e.Kind == analysis.AlarmChanged {
				told = append(told, Told{st.WallOf(e.At), e.Alarm.Key.String(), e.Change})
			}
		}
		// Nights pass faster than the writer wakes.
		if f.At-committed > time.Hour {
			committed = f.At
			if err := store.Commit(ctx); err != nil {
				t.Fatal(err)
			}
		}
	}
	cancel()
	if err := errors.Join(<-ended, store.Close(context.Background())); err != nil {
		t.Fatal(err)
	}
	return told
}
