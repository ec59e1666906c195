package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
)

// followed is all that a follower of a history gets of one run, event by event and row by row.
func followed(t *rapid.T, s *history.Store, most int) (events, rows []string) {
	ctx := context.Background()
	for at := (history.EventPosition{}); ; {
		h, err := s.FollowEvents(ctx, at, most)
		if err != nil || h.Missed {
			t.Fatalf("%+v, %v", h, err)
		}
		if len(h.Next) == 0 {
			break
		}
		for _, e := range h.Next {
			events = append(events, fmt.Sprint(e.Table, e.Position.Identity, e.No, e.MS, e.At, e.Sure, e.Fields))
		}
		at = h.Upto
	}
	for at := (history.Position{}); ; {
		next, _, err := s.FollowNow(ctx, at)
		if err != nil {
			t.Fatal(err)
		}
		if len(next) == 0 {
			return events, rows
		}
		for _, r := range next {
			rows = append(rows, fmt.Sprint(r.Position.Identity, r.Position.MS, r.At, r.Sure, r.Values, r.Quality))
		}
		at = next[len(next)-1].Position
	}
}

// The history that a fleet's sites have, in memory, gives whoever follows it what one in a file
// gives.
func TestTheHistoryInMemoryIsLikeOneInAFile(t *testing.T) {
	if testing.Short() {
		t.Skip("it opens files")
	}
	rapid.Check(t, func(t *rapid.T) {
		options := history.Options{Identity: "run", Units: units.SI, Log: slog.New(slog.DiscardHandler)}
		memory := history.New(options)
		dir, err := os.MkdirTemp("", "fleet-test")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		options.Dir = dir
		file := history.New(options)
		ctx, cancel := context.WithCancel(context.Background())
		var wg sync.WaitGroup
		wg.Go(func() { _ = file.Run(ctx) })
		defer wg.Wait()
		defer cancel()
		s := statustest.Burning()
		s.Frame.At = 0
		for range rapid.IntRange(3, 900).Draw(t, "seconds") {
			s = statustest.After(s, time.Second)
			switch rapid.IntRange(0, 40).Draw(t, "what") {
			case 0:
				statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
			case 1:
				statustest.Change(s, alarm.Spillage, frame.Count, alarm.Normal, 8, 0)
			case 2:
				s.Assessment.Events = append(s.Assessment.Events, analysis.Event{At: s.Frame.At, Kind: analysis.PhaseChanged, From: burn.Coals, To: burn.Cold})
			case 3:
				s.Frame.Inputs[frame.Flue] = frame.Input{Quality: frame.Faulty, Fault: "open-circuit"}
			case 4:
				s.Frame.Inputs[frame.Flue] = frame.Input{Value: rapid.Float64Range(10, 900).Draw(t, "flue"), Quality: frame.Good}
			}
			for _, store := range []*history.Store{memory, file} {
				store.Offer(s)
			}
		}
		if err := file.Commit(ctx); err != nil {
			t.Fatal(err)
		}
		most := rapid.IntRange(1, 30).Draw(t, "most")
		events, rows := followed(t, memory, most)
		wantEvents, wantRows := followed(t, file, most)
		if diff := cmp.Diff(wantEvents, events); diff != "" {
			t.Fatalf("events (-file +memory):\n%s", diff)
		}
		if diff := cmp.Diff(wantRows, rows); diff != "" {
			t.Fatalf("rows (-file +memory):\n%s", diff)
		}
	})
}

// The same seed makes the same houses, and not all do the same.
func TestHouses(t *testing.T) {
	at := time.Date(2026, time.January, 17, 20, 0, 0, 0, time.UTC)
	play := func(i int) (all []frame.Frame) {
		h := newHouse(&regions[i%len(regions)], rand.New(rand.NewPCG(7, uint64(i))), at)
		for s := range 3 * 60 {
			h.pass(time.Minute, at.Add(time.Duration(s)*time.Minute))
			h.chance(2, time.Minute, at.Add(time.Duration(s)*time.Minute))
			f := frame.Frame{At: h.passed}
			h.read(&f)
			all = append(all, f)
		}
		return all
	}
	fires, mishaps := 0, 0
	for i := range 40 {
		first := play(i)
		if diff := cmp.Diff(first, play(i)); diff != "" {
			t.Fatalf("house %d is another one:\n%s", i, diff)
		}
		hot := false
		for _, f := range first {
			for c, in := range f.Inputs {
				if fitted[c] && in.Quality == frame.Good && !(in.Value > -100 && in.Value < 120_000) {
					t.Fatalf("%v is %v", frame.Channel(c), in)
				}
				if fitted[c] && in.Quality != frame.Good {
					mishaps++
				}
			}
			hot = hot || f.Inputs[frame.Flue].Value > 150
		}
		if hot {
			fires++
		}
	}
	if fires < 12 || fires == 40 || mishaps == 0 {
		t.Errorf("%d houses of 40 had a fire, %d readings were missing", fires, mishaps)
	}
}

func TestRunRefuses(t *testing.T) {
	for args, want := range map[string]string{
		"-sites 0":                      "want one or more",
		"-period 1ms":                   "100 ms or more",
		"-broker http://x":              "want tcp://host:1883",
		"-password-file /nowhere/to/be": "read password",
		"-smoke":                        "not defined",
	} {
		if err := run(t.Context(), strings.Fields(args), io.Discard, io.Discard); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", args, err)
		}
	}
}

// Nothing goes wrong before the first frame: telemetry of a clock that was never right has no
// time, and could not be counted.
func TestAFleetBeginsWell(t *testing.T) {
	f, err := New(Options{Sites: 40, Broker: "tcp://127.0.0.1:1", Period: time.Second, Faults: 1e6, Seed: 3, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	lost := 0
	for _, s := range f.sites {
		if s.tick(0); !s.feed.Latest().ClockTrusted {
			t.Errorf("%s begins with a clock that is not right", s.name)
		}
		if s.tick(s.period); !s.feed.Latest().ClockTrusted {
			lost++
		}
	}
	if lost == 0 {
		t.Error("no clock is lost later")
	}
}

// A fleet whose receivers are away burns on, and says what it did.
func TestAFleetAlone(t *testing.T) {
	f, err := New(Options{
		Sites: 3, Broker: "tcp://127.0.0.1:1", Write: "http://127.0.0.1:1/api/v1/write", WriteEvery: time.Second, Period: time.Second, Past: time.Minute, Faults: 600, Seed: 1,
		Log: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
	defer cancel()
	f.Run(ctx)
	if s := f.Stats(); s.Frames < 3*60 || s.Connected != 0 || s.Dropped != 0 || s.WriteFailures == 0 {
		t.Errorf("%+v", s)
	}
}
