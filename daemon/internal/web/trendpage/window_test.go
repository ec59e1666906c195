package trendpage

import (
	"testing"
	"time"

	"fluewright/daemon/internal/trend"

	"pgregory.net/rapid"
)

// Whatever is asked for, what is shown lies in what is kept, and is as long as far as there is
// so much.
func TestWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		moment := func(name string) time.Time {
			return time.Unix(rapid.OneOf(
				rapid.Int64Range(-62135596800, 253402300799), // the years 1 to 9999
				rapid.Int64Range(1_700_000_000, 1_800_000_000),
			).Draw(t, name), 0)
		}
		begin := time.Unix(1_750_000_000, 0)
		kept := trend.Window{From: begin, To: begin.Add(time.Duration(rapid.Int64Range(1, 1e9).Draw(t, "kept")) * time.Second)}
		asked := trend.Window{From: moment("from"), To: moment("to")}
		if !asked.From.Before(asked.To) {
			return // refused before
		}
		got := within(asked, kept)
		if got.From.Before(kept.From) || got.To.After(kept.To) || !got.From.Before(got.To) {
			t.Fatalf("%v of %v is %v", asked, kept, got)
		}
		want := min(max(asked.To.Sub(asked.From), shortest), kept.To.Sub(kept.From))
		if got.To.Sub(got.From) != want {
			t.Fatalf("it is %v long, want %v", got.To.Sub(got.From), want)
		}
	})
}

// On the night on which clocks are put back the wall is told by two offsets.
func TestOffsets(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	change := time.Date(2026, 11, 1, 7, 0, 0, 0, time.UTC)
	got := offsets(trend.Window{From: change.Add(-time.Hour), To: change.Add(time.Hour)}, zone)
	want := []offset{{change.Add(-time.Hour).UnixMilli(), -5 * 3600, "CDT"}, {change.UnixMilli(), -6 * 3600, "CST"}}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("%v, want %v", got, want)
	}
}

// What is not all is not said to be, and what is not nothing neither.
func TestPercent(t *testing.T) {
	for share, want := range map[float64]string{0: "0 %", 0.0001: "under 1 %", 0.5: "50 %", 0.9999: "99 %", 1: "100 %"} {
		if got := percent(share); got != want {
			t.Errorf("%v is %q, want %q", share, got, want)
		}
	}
}

// A picture is never made of fewer columns than half its width, nor read more finely than it
// shows where there are sums.
func TestColumns(t *testing.T) {
	for long, want := range map[time.Duration]int{
		time.Hour:            970, // rows
		8 * time.Hour:        970, // 480 minutes are too few
		10 * time.Hour:       600,
		24 * time.Hour:       970,
		7 * 24 * time.Hour:   672, // quarters of an hour
		10 * 24 * time.Hour:  960,
		30 * 24 * time.Hour:  720, // hours
		200 * 24 * time.Hour: 970,
	} {
		if got := columns(trend.Window{From: time.Unix(0, 0), To: time.Unix(0, 0).Add(long)}, 970); got != want {
			t.Errorf("%v is made of %d columns, want %d", long, got, want)
		}
	}
}
