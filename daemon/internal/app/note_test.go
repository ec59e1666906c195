package app

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/history"
)

// What somebody says to have done reaches the engine as well as the history.
func TestANoteReachesTheEngine(t *testing.T) {
	engine, err := analysis.New(analysis.Settings{DraftLow: 10, DraftHigh: 15})
	if err != nil {
		t.Fatal(err)
	}
	kept := engine.Snapshot(time.Unix(0, 0), false)
	kept.Upkeep.Burnt[notice.Ash], kept.Upkeep.Burnt[notice.Flue], kept.Upkeep.Burnt[notice.Probes] = 30, 200, 900
	if err := engine.Restore(kept, time.Unix(0, 0), false); err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	c := &actions{store: history.New(history.Options{Dir: t.TempDir(), Identity: "run", Log: log}), log: log}
	c.order = func(_ context.Context, do func(*analysis.Engine) error) error { return do(engine) }
	burnt := func() [3]float64 {
		u := engine.Upkeep()
		return [3]float64{u.Burnt[notice.Flue], u.Burnt[notice.Ash], u.Burnt[notice.Probes]}
	}
	for _, tt := range []struct {
		kind string
		want [3]float64
	}{
		{"other", [3]float64{200, 30, 900}},
		{"sweeping", [3]float64{0, 30, 900}},
		{"ash", [3]float64{0, 0, 900}},
		{"filter", [3]float64{0, 0, 900}},
		{"probes", [3]float64{0, 0, 0}},
	} {
		if err := c.Note(t.Context(), "Maria", command.Entry{Kind: tt.kind, Text: "done"}); err != nil {
			t.Fatal(err)
		}
		if got := burnt(); got != tt.want {
			t.Errorf("after a note of %s flue, ash and probes have burnt for %v h, want %v", tt.kind, got, tt.want)
		}
	}
	busy := errors.New("the loop stands still")
	c.order = func(context.Context, func(*analysis.Engine) error) error { return busy }
	if err := c.Note(t.Context(), "", command.Entry{Kind: "ash"}); !errors.Is(err, busy) {
		t.Errorf("a note that the engine did not hear of: %v", err)
	}
}

// What cannot be taken is refused in words, whoever asks.
func TestANoteIsRefused(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	a := &actions{store: history.New(history.Options{Dir: t.TempDir(), Identity: "run", Log: log}), log: log}
	for name, tt := range map[string]struct {
		by   *actions
		note command.Entry
		want command.Reason
	}{
		"no history":   {&actions{log: log}, command.Entry{Kind: "ash"}, command.Nothing},
		"no such kind": {a, command.Entry{Kind: "gold"}, command.Malformed},
		"empty":        {a, command.Entry{Kind: "other"}, command.Malformed},
	} {
		var refused *command.Refusal
		if err := tt.by.Note(t.Context(), "Maria", tt.note); !errors.As(err, &refused) || refused.Reason != tt.want || refused.Words == "" {
			t.Errorf("%s: %v, want %s", name, err, tt.want)
		}
	}
}
