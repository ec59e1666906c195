package trend_test

import (
	"flag"
	"io"
	"slices"
	"testing"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/sensors/bench/nights"
)

var days = flag.Int("days", 0, "how many days of bundle to measure; none if 0")

// Sixty days of a site that heats day and night, eight channels every second, are less than
// 25 MB. (A mail makes a third more of it on its way: the command's own bound is lower, and
// leaves the oldest rows at full rate out.)
//
//	go test ./daemon/internal/trend -run SixtyDays -days 60 -v
func TestSixtyDaysFitInAMail(t *testing.T) {
	if *days == 0 {
		t.Skip("takes minutes: ask for it with -days 60")
	}
	dir := t.TempDir()
	var n []trendtest.Night
	seed, samples := uint64(0), 0
	for d := 0; d < *days; d += 2 {
		x, fitted := everySecond(t, &seed)
		samples += fitted * 2 * 86400
		n = append(n, trendtest.Night{
			Start: evening.Add(time.Duration(d) * 24 * time.Hour), Configuration: configuration(x.Site), Fitted: x.Site.Fitted, Frames: frames(x),
		})
	}
	trendtest.Record(t, dir, n...)
	a := open(t, dir)
	from, to := a.Span()
	made, err := a.Bundle(t.Context(), io.Discard, from, to, history.FullRate, 0)
	if err != nil {
		t.Fatal(err)
	}
	perDay := float64(made.Bytes) / to.Sub(from).Hours() * 24
	t.Logf("%.1f days, %.1f million readings: %.2f MB, %.3f bytes a reading; 60 days would be %.1f MB",
		to.Sub(from).Hours()/24, float64(samples)/1e6, float64(made.Bytes)/1e6, float64(made.Bytes)/float64(samples), 60*perDay/1e6)
	if 60*perDay > 25e6 {
		t.Error("60 days are more than 25 MB")
	}
}

// everySecond finds the next night of two days that is read every second, and on how many
// channels: eight or more.
func everySecond(t *testing.T, seed *uint64) (n *nights.Night, fitted int) {
	t.Helper()
	kinds := nights.Kinds()
	k := slices.IndexFunc(kinds, func(k nights.Kind) bool { return k.Name == "two days" })
	for {
		*seed++
		n, fitted = kinds[k].Night(*seed), 0
		for _, f := range n.Site.Fitted {
			if f {
				fitted++
			}
		}
		if fitted >= 8 && n.Site.Period == time.Second {
			return n, fitted
		}
	}
}
