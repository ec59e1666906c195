package trend_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

func picture(t testing.TB, a *history.Archive, w trend.Window) panel.Picture {
	t.Helper()
	site, err := trend.SiteOf(t.Context(), a, w, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	channels, err := trend.Channels(t.Context(), a, w, []frame.Channel{frame.Flue, frame.Draft})
	if err != nil {
		t.Fatal(err)
	}
	p, err := trend.Picture(t.Context(), a, site, w, channels, 600)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// read counts readings of the first trace, and the longest stretch of columns without.
func read(p panel.Picture) (n, gap int) {
	run := 0
	for _, c := range p.Panels[0].Traces[0].Columns {
		n += c.Count
		if run++; c.Count > 0 {
			run = 0
		}
		gap = max(gap, run)
	}
	return n, gap
}

// Of a window whose rows were left out the sums by the minute are drawn, and no gap that
// there was not.
func TestAPictureOfWhatIsKeptByTheMinute(t *testing.T) {
	dir := t.TempDir()
	trendtest.Record(t, dir, night(t, "ordinary", 1, evening))
	a := open(t, dir)
	begin, end := a.Span()
	path := filepath.Join(t.TempDir(), "small.zip")
	var b bytes.Buffer
	made, err := a.Bundle(t.Context(), &b, begin, end, history.FullRate, 0)
	if err != nil {
		t.Fatal(err)
	}
	b.Reset()
	if made, err = a.Bundle(t.Context(), &b, begin, end, history.FullRate, made.Bytes*2/3); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	w := trend.Window{From: begin, To: begin.Add(time.Hour)}
	if !made.FullFrom.After(w.To) {
		t.Fatalf("at full rate from %v on: this proves nothing", made.FullFrom)
	}
	small := open(t, path)
	whole, part := picture(t, a, w), picture(t, small, w)
	n, gap := read(whole)
	if got, gaps := read(part); got < n*9/10 || gaps > 12 || gap > 2 {
		t.Errorf("%d readings with gaps of %d columns, of the whole %d with %d", got, gaps, n, gap)
	}
	if hold := part.Panels[0].Traces[0].Hold; hold < 2*time.Minute {
		t.Errorf("a minute apart would be drawn as gaps: hold %v", hold)
	}
	var page bytes.Buffer
	site, err := trend.SiteOf(t.Context(), small, w, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	if err := trend.WriteReport(t.Context(), &page, small, site, w, [frame.Count]bool{frame.Flue: true}, "1.2.3"); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(page.String(), "there are sums by the minute alone") {
		t.Error("the report does not say that it is by the minute")
	}
}

// An alarm that stood all through a window in which nothing changed is shown and told.
func TestWhatStandsAllAlong(t *testing.T) {
	dir := t.TempDir()
	told := trendtest.Record(t, dir, night(t, "regulator stuck shut", 3, evening))
	var from time.Time
	for _, e := range told {
		if e.Alarm == "draft-high" && e.Change == alarm.WasRaised && from.IsZero() {
			from = e.At
		}
	}
	if from.IsZero() {
		t.Fatal("draft-high was not raised: this night proves nothing")
	}
	w := trend.Window{From: from.Add(2 * time.Minute), To: from.Add(4 * time.Minute)}
	var b bytes.Buffer
	a := open(t, dir)
	if _, err := a.Bundle(t.Context(), &b, w.From, w.To, history.FullRate, 0); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "bundle.zip")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, a := range map[string]*history.Archive{"history": a, "bundle": open(t, path)} {
		spells, err := trend.Spells(t.Context(), a, w)
		if err != nil || len(spells) == 0 || spells[0].Name != "draft-high" || !spells[0].From.Equal(from) {
			t.Errorf("%s: %+v, %v", name, spells, err)
		}
		p := picture(t, a, w)
		shown := false
		for _, m := range p.Marks {
			shown = shown || m.Kind == panel.Alarm && m.Name == "draft-high" && m.From.Equal(w.From) && m.To.IsZero()
		}
		if !shown {
			t.Errorf("%s: %+v", name, p.Marks)
		}
		if n := len(p.Bands); n != 1 || !p.Bands[0].From.Equal(w.From) || !p.Bands[0].To.Equal(w.To) {
			t.Errorf("%s: phases %+v", name, p.Bands)
		}
	}
}

// The causes of an alarm are those of the time when it stood, not of when it was over.
func TestSpellsKeepTheirCauses(t *testing.T) {
	dir := t.TempDir()
	trendtest.Record(t, dir, night(t, "ash door ajar, mild", 1, evening))
	a := open(t, dir)
	begin, end := a.Span()
	spells, err := trend.Spells(t.Context(), a, trend.Window{From: begin, To: end})
	if err != nil {
		t.Fatal(err)
	}
	over := 0
	for _, s := range spells {
		if s.Name != "runaway/chamber" && s.Name != "runaway/flue" {
			continue
		}
		if !s.To.IsZero() {
			over++
		}
		if !strings.Contains(s.Causes, `"code"`) {
			t.Errorf("%s at %v has causes %q", s.Name, s.From, s.Causes)
		}
	}
	if over == 0 {
		t.Error("no runaway came and went: this night proves nothing")
	}
}
