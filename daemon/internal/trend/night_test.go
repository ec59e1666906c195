package trend_test

import (
	"fmt"
	"iter"
	"math"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/sensors/bench/nights"
)

var evening = time.Date(2026, 1, 31, 18, 0, 0, 0, time.UTC)

// night makes one of the bench's nights, as its site would be configured. What takes one
// is long.
func night(t testing.TB, kind string, seed uint64, start time.Time) trendtest.Night {
	t.Helper()
	if testing.Short() {
		t.Skip("keeps and reads a whole night")
	}
	for _, k := range nights.Kinds() {
		if k.Name == kind {
			n := k.Night(seed)
			return trendtest.Night{Start: start, Configuration: configuration(n.Site), Fitted: n.Site.Fitted, Frames: frames(n)}
		}
	}
	t.Fatalf("there is no night %q", kind)
	return trendtest.Night{}
}

func configuration(s nights.Site) string {
	var b strings.Builder
	fmt.Fprintf(&b, "[site]\nname = \"barn\"\nunits = \"si\"\n[appliance]\ndraft-low = \"%.1f Pa\"\ndraft-high = \"%.1f Pa\"\n[limits]\n", s.DraftLow, s.DraftHigh)
	for _, c := range []frame.Channel{frame.Chamber, frame.Flue} {
		if l := s.Limits[c]; s.Fitted[c] && !math.IsNaN(l) {
			fmt.Fprintf(&b, "%v = \"%.0f degC\"\n", c, l)
		}
	}
	return b.String()
}

func frames(n *nights.Night) iter.Seq[frame.Frame] {
	return func(yield func(frame.Frame) bool) {
		var row nights.Row
		for n.Next(&row) {
			f := frame.Frame{At: row.At}
			for c, v := range row.Values {
				switch {
				case !n.Site.Fitted[c]:
				case math.IsNaN(v):
					f.Inputs[c] = frame.Input{Quality: frame.Faulty, Fault: "open-circuit"}
				default:
					f.Inputs[c] = frame.Input{Value: v, Quality: frame.Good}
				}
			}
			if !yield(f) {
				return
			}
		}
	}
}

func open(t testing.TB, path string) *history.Archive {
	t.Helper()
	a, err := history.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	return a
}
