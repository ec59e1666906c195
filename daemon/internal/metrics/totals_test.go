package metrics

import (
	"math"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"pgregory.net/rapid"
)

// tick is Burning at a time, in a phase.
func tick(at time.Duration, phase burn.Phase) *status.Status {
	s := statustest.Burning()
	s.Frame.At, s.Assessment.Phase = at, phase
	return s
}

func outdoorsAt(s *status.Status, celsius float64) *status.Status {
	s.Frame.Inputs[frame.Outdoor] = frame.Input{Value: celsius, Quality: frame.Good}
	return s
}

func turned(s *status.Status) *status.Status {
	statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
	return s
}

func holds(t *testing.T, o Options, lines ...string) {
	t.Helper()
	got := exposition(t, o)
	for _, l := range lines {
		if not, found := strings.CutPrefix(l, "no "); found == strings.Contains(got, "\nfluewright_"+not) {
			t.Errorf("it has, or has not: %s", l)
		}
	}
}

func TestTotals(t *testing.T) {
	o := options()
	o.Totals = &Totals{}
	o.Fitted[frame.Outdoor] = true
	held := tick(130*time.Second, burn.CleanBurn)
	held.Assessment.PhaseHeld = true
	ended := tick(132*time.Second, burn.Cold)
	ended.Assessment.Events = []analysis.Event{{Kind: analysis.BurnEnded}}
	for _, s := range []*status.Status{
		tick(60*time.Second, burn.Lighting), // the first: nobody knows since when
		outdoorsAt(tick(70*time.Second, burn.Smoulder), -10.1),
		outdoorsAt(tick(75*time.Second, burn.Smoulder), -10),
		outdoorsAt(turned(tick(80*time.Second, burn.Smoulder)), 9.9),
		outdoorsAt(tick(50*time.Second, burn.Coals), 9.9), // backwards
		outdoorsAt(tick(120*time.Second, burn.Coals), 10), // nobody looked for over a minute
		turned(tick(128*time.Second, burn.CleanBurn)),     // no outdoor reading
		held,
		ended,
	} {
		o.Totals.Take(s)
	}
	holds(t, o,
		`phase_seconds_total{phase="lighting"} 0`,
		`phase_seconds_total{phase="smoulder"} 20`,
		`phase_seconds_total{phase="clean-burn"} 8`,
		`phase_seconds_total{phase="coals"} 0`,
		`phase_seconds_total{phase="cold"} 2`,
		`phase_seconds_total{phase="unknown"} 72`,
		`burns_total 1`,
		`fire_seconds_total{outdoor="under-minus-10"} 10`,
		`fire_seconds_total{outdoor="minus-10-to-0"} 5`,
		`fire_seconds_total{outdoor="0-to-10"} 5`,
		`fire_seconds_total{outdoor="10-and-over"} 0`,
		`fire_seconds_total{outdoor="unknown"} 8`,
		`spillages_total{outdoor="0-to-10"} 1`,
		`spillages_total{outdoor="unknown"} 1`,
	)
}

// What a site without a sensor outdoors cannot have costs a fleet no series.
func TestNoBandsWithoutASensorOutdoors(t *testing.T) {
	o := options()
	holds(t, o, `fire_seconds_total{outdoor="unknown"} 0`, `no fire_seconds_total{outdoor="0-to-10"}`, `no spillages_total{outdoor="0-to-10"}`)
}

func TestTotalsOnlyGrowAndMissNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var sum Totals
		var whole, last time.Duration
		for i := range rapid.IntRange(1, 50).Draw(t, "ticks") {
			at := time.Duration(rapid.Int64Range(0, int64(10*time.Minute)).Draw(t, "at"))
			s := tick(at, burn.Phase(rapid.IntRange(0, 9).Draw(t, "phase")))
			outdoorsAt(s, rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), -300, 5}).Draw(t, "outdoor"))
			before := sum.phases
			sum.Take(s)
			if i > 0 {
				whole += max(0, at-last)
			}
			last = at
			var all time.Duration
			for p := range sum.phases {
				if sum.phases[p] < before[p] {
					t.Fatalf("a total fell")
				}
				all += sum.phases[p]
			}
			if all != whole {
				t.Fatalf("%v of %v are counted", all, whole)
			}
		}
	})
}

func TestTheDraftAgainstTheCommissionedOne(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*status.Status)
		want   string
	}{
		{"a clean burn", func(*status.Status) {}, `draft_commissioned_ratio{fire="burning"} 0.87`},
		{"smouldering", func(s *status.Status) { s.Assessment.Phase = burn.Smoulder }, `no draft_commissioned_ratio`},
		{"a door is open", func(s *status.Status) { s.Assessment.Door.Open = true }, `no draft_commissioned_ratio`},
		{"nobody sees the phase", func(s *status.Status) { s.Assessment.PhaseHeld = true }, `no draft_commissioned_ratio`},
		{"the flue's reading is suspect", func(s *status.Status) { s.Frame.Inputs[frame.Flue].Quality = frame.Suspect }, `no draft_commissioned_ratio`},
		{"the draft's is", func(s *status.Status) { s.Assessment.Draft.Quality = frame.Suspect }, `no draft_commissioned_ratio`},
		{"cold", func(s *status.Status) {
			s.Assessment.Phase, s.Frame.Inputs[frame.Flue].Value = burn.Cold, 19
			s.Assessment.Draft.Value = 3
			outdoorsAt(s, 5.4)
		}, `draft_commissioned_ratio{fire="out"} 0.96`},
		{"cold, and the chimney warm", func(s *status.Status) {
			s.Assessment.Phase, s.Frame.Inputs[frame.Flue].Value = burn.Cold, 30
			outdoorsAt(s, 5.4)
		}, `no draft_commissioned_ratio`},
		{"cold, and nobody knows how it is outdoors", func(s *status.Status) {
			s.Assessment.Phase, s.Frame.Inputs[frame.Flue].Value = burn.Cold, 19
		}, `no draft_commissioned_ratio`},
	} {
		t.Run(c.name, func(t *testing.T) {
			o, s := options(), statustest.Burning()
			c.change(s)
			o.Feed.Publish(s)
			holds(t, o, c.want, `commissioning_info{number="FW-20251004-1A2B3C4D",result="pass-with-cautions"} 1`)
		})
	}
}

func TestWithoutACommissioning(t *testing.T) {
	o := options()
	o.Commissioning = func() (commission.Reference, bool) { return commission.Reference{}, false }
	o.Feed.Publish(statustest.Burning())
	holds(t, o, "no commission", "no draft_commissioned_ratio")
}
