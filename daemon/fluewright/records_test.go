package main_test

import (
	"iter"
	"os"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend/trendtest"
)

// records DIR CONFIG records a history of two days into a directory: in the evenings two
// fires of a flue, the second one hotter than the limit, and a note in between.
func records(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: records dir config")
	}
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o755))
	start := time.Date(2026, 1, 31, 18, 0, 0, 0, time.UTC)
	var nights []trendtest.Night
	for i, hottest := range []float64{380, 580} {
		n := trendtest.Night{
			Start: start.AddDate(0, 0, i), Configuration: ts.ReadFile(args[1]),
			Fitted: [frame.Count]bool{frame.Flue: true, frame.Room: true, frame.Draft: true}, Frames: fire(hottest),
		}
		n.At = func(s *history.Store, at time.Duration) {
			if i == 1 && at == time.Second {
				s.Note("installer", "mark <3>")
			}
		}
		nights = append(nights, n)
	}
	trendtest.Record(fatal{ts: ts}, dir, nights...)
}

// fire is six hours: cold, an hour of rising, an hour of fire, and coals that go out.
func fire(hottest float64) iter.Seq[frame.Frame] {
	return func(yield func(frame.Frame) bool) {
		for at := time.Duration(0); at < 6*time.Hour; at += time.Second {
			h, flue := at.Hours(), 20.0
			switch {
			case h < 0.5:
			case h < 1.5:
				flue += (hottest - 20) * (h - 0.5)
			case h < 2.5:
				flue = hottest
			default:
				flue = 20 + (hottest-20)*max(0, 1-(h-2.5)/2)
			}
			f := frame.Frame{At: at}
			f.Inputs[frame.Flue] = frame.Input{Value: flue, Quality: frame.Good}
			f.Inputs[frame.Room] = frame.Input{Value: 20, Quality: frame.Good}
			f.Inputs[frame.Draft] = frame.Input{Value: 5 + (flue-20)/50, Quality: frame.Good}
			if !yield(f) {
				return
			}
		}
	}
}

// fatal is a script as what helpers of tests want.
type fatal struct {
	testing.TB
	ts *testscript.TestScript
}

func (fatal) Helper()             {}
func (f fatal) Fatal(args ...any) { f.ts.Fatalf("%v", args) }
