package trend_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

// What a course and its statistics say of a night is what its rows say.
func TestACourseIsWhatTheRowsSay(t *testing.T) {
	dir := t.TempDir()
	trendtest.Record(t, dir, night(t, "regulator stuck shut", 3, evening))
	a := open(t, dir)
	begin, end := a.Span()
	w := trend.Window{From: begin.Add(time.Hour).Truncate(time.Minute), To: begin.Add(5 * time.Hour).Truncate(time.Minute)}
	site, err := trend.SiteOf(t.Context(), a, w, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	channels := [frame.Count]bool{frame.Flue: true, frame.Draft: true}
	c, err := trend.Look(t.Context(), a, w, channels, 800)
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Channels) != 2 || c.Columns != 800 || len(c.Channels[0].Mean) != 800 || !c.Kept.From.Equal(begin) || !c.Kept.To.Equal(end) {
		t.Fatalf("%d channels, %d columns, kept %+v", len(c.Channels), c.Columns, c.Kept)
	}
	sums, err := c.Sum(t.Context(), a, site)
	if err != nil {
		t.Fatal(err)
	}
	minutes, err := w.Sum(t.Context(), a, site, channels)
	if err != nil {
		t.Fatal(err)
	}
	for k, ch := range []frame.Channel{frame.Flue, frame.Draft} {
		least, greatest, sum, n := math.Inf(1), math.Inf(-1), 0.0, 0
		for row, err := range a.Rows(t.Context(), w.From, w.To) {
			if err != nil {
				t.Fatal(err)
			}
			if v := row.Values[ch]; !math.IsNaN(v) {
				least, greatest, sum, n = min(least, v), max(greatest, v), sum+v, n+1
			}
		}
		for _, tt := range []struct {
			sum  trend.Sum
			near float64
		}{{sums.Channels[k], 1e-6}, {minutes.Channels[k], 0.05}} { // sums over minutes keep rounded means
			s := tt.sum
			if s.Readings != n || float64(s.Least) != least || float64(s.Greatest) != greatest || math.Abs(float64(s.Mean)-sum/float64(n)) > tt.near {
				t.Errorf("%v: %+v, the rows have %d from %v to %v, mean %v", ch, s, n, least, greatest, sum/float64(n))
			}
		}
	}
	if d := sums.Draft; d == nil || d.By != "minutes" || math.Abs(float64(d.Below+d.Within+d.Above)-1) > 1e-9 || d.Above < 0.2 {
		t.Errorf("with the regulator stuck shut the draft is %+v", d)
	}
	var phases float64
	for _, s := range sums.Phases {
		phases += s
	}
	if whole := w.To.Sub(w.From).Seconds(); phases < whole/2 || phases > whole+1 {
		t.Errorf("%v s of phases in %v s", phases, whole)
	}
	// Of weeks there are the burns' own figures.
	longer := trend.Window{From: begin.Add(-20 * 24 * time.Hour), To: end}
	all, err := longer.Sum(t.Context(), a, site, channels)
	if err != nil {
		t.Fatal(err)
	}
	if d := all.Draft; d == nil || d.By != "burns" || !(d.BurnSeconds > 0) || !(d.Above > 0.1) {
		t.Errorf("%+v", d)
	}
}

// What there is none of is null, and every list is one.
func TestACourseOfNothing(t *testing.T) {
	dir := t.TempDir()
	trendtest.Record(t, dir, night(t, "ordinary", 1, evening))
	a := open(t, dir)
	begin, _ := a.Span()
	w := trend.Window{From: begin.Add(-3 * time.Hour), To: begin.Add(-time.Hour)}
	c, err := trend.Look(t.Context(), a, w, [frame.Count]bool{frame.Flue: true}, 3)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	flue := got["channels"].([]any)[0].(map[string]any)
	for _, name := range []string{"least", "mean", "greatest", "good"} {
		for _, v := range flue[name].([]any) {
			if v != nil {
				t.Errorf("%s is %v", name, v)
			}
		}
	}
	for _, name := range []string{"phases", "alarms", "loads", "doors", "notices", "notes"} {
		if list, ok := got[name].([]any); !ok || len(list) != 0 {
			t.Errorf("%s is %v", name, got[name])
		}
	}
	if flue["good_share"] != nil {
		t.Errorf("the share of nothing is %v", flue["good_share"])
	}
}

// Two burns lie over each other from the start of each; behind its end a burn has nothing.
func TestOverlay(t *testing.T) {
	dir := t.TempDir()
	trendtest.Record(t, dir, night(t, "ordinary", 1, evening), night(t, "regulator stuck shut", 3, evening.Add(24*time.Hour)))
	a := open(t, dir)
	burns, err := trend.Burns(t.Context(), a, trend.Window{})
	if err != nil || len(burns) < 2 {
		t.Fatalf("%d burns, %v", len(burns), err)
	}
	first, last := burns[0], burns[len(burns)-1]
	site, err := trend.SiteOf(t.Context(), a, trend.Window{From: first.Start, To: last.End}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	const width = 600
	p, err := trend.Overlay(t.Context(), a, site, first, last, [frame.Count]bool{frame.Flue: true, frame.Draft: true, frame.Ambient: true}, width)
	if err != nil {
		t.Fatal(err)
	}
	long := max(first.End.Sub(first.Start), last.End.Sub(last.Start))
	if len(p.Panels) != 2 || !p.Elapsed || p.To.Sub(p.From) != long {
		t.Fatalf("%d panels over %v", len(p.Panels), p.To.Sub(p.From))
	}
	for i, b := range []trend.Burn{first, last} {
		kept, err := a.Trend(t.Context(), history.Window{From: b.Start, To: b.Start.Add(long), Columns: width, Channels: []frame.Channel{frame.Flue}})
		if err != nil {
			t.Fatal(err)
		}
		ended := int(b.End.Sub(b.Start) * width / long)
		for j, c := range p.Panels[0].Traces[i].Columns {
			switch {
			case j > ended && c.Count > 0:
				t.Fatalf("burn %d goes on in column %d, behind %d", b.No, j, ended)
			case j < ended && (c.Count != kept.Series[0][j].N || c.Count > 0 && c.Mean != kept.Series[0][j].Mean):
				t.Fatalf("burn %d, column %d: %+v, kept is %+v", b.No, j, c, kept.Series[0][j])
			}
		}
	}
	if _, err := p.Draw(); err != nil {
		t.Error(err)
	}
}
