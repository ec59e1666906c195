package trend_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/daemon/internal/units"
)

// A regulator hangs shut; it is put right, and the night after that is as it should be.
func TestBeforeAndAfterARegulator(t *testing.T) {
	dir := t.TempDir()
	before := night(t, "regulator stuck shut", 3, evening)
	after := night(t, "ordinary", 9, evening.Add(24*time.Hour))
	after.Configuration = before.Configuration + "# as before\n"
	noted := false
	after.At = func(s *history.Store, at time.Duration) {
		if !noted && at > 0 {
			s.Note("installer", "gate freed, mark 3")
			noted = true
		}
	}
	trendtest.Record(t, dir, before, after)
	a := open(t, dir)
	all, err := trend.Burns(t.Context(), a, trend.Window{})
	if err != nil || len(all) < 2 {
		t.Fatalf("%d burns, %v", len(all), err)
	}
	for i, b := range all {
		phases := b.Lighting + b.WarmUp + b.CleanBurn + b.Smoulder + b.Coals + b.Unseen
		if b.No != i+1 || !b.Start.Before(b.End) || math.Abs(phases-b.End.Sub(b.Start).Seconds()) > 1 {
			t.Errorf("burn %d: %+v", i+1, b)
		}
	}
	first, err := trend.Find(t.Context(), a, "1")
	if err != nil {
		t.Fatal(err)
	}
	last, err := trend.Find(t.Context(), a, "last")
	if err != nil {
		t.Fatal(err)
	}
	if s := first.Stands(); !strings.Contains(s, "alarm draft-high") || !strings.Contains(s, "draft above the band for") {
		t.Errorf("burn 1: %s", s)
	}
	if strings.Contains(last.Stands(), "draft-high") {
		t.Errorf("the last burn: %s", last.Stands())
	}
	c, err := trend.Compare(t.Context(), a, first, last)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range c.Rows {
		if r.What == "draft above the band" && (*r.Change >= 0 || *r.A <= *r.B) {
			t.Errorf("%s: %v to %v", r.What, *r.A, *r.B)
		}
		_, _, change := r.Texts(units.SI)
		if (change == "–") != (r.Change == nil) || strings.Contains(change, "+-") {
			t.Errorf("%s: %q", r.What, change)
		}
	}
	var done []string
	for _, d := range c.Between {
		done = append(done, d.What)
	}
	if got := strings.Join(done, "; "); !strings.Contains(got, "note by installer: gate freed, mark 3") || !strings.Contains(got, "the configuration changed") {
		t.Errorf("between: %s", got)
	}
	if _, err := trend.Find(t.Context(), a, "99"); err == nil || !strings.Contains(err.Error(), `want "last" or 1 to`) {
		t.Error(err)
	}
}

func TestWindow(t *testing.T) {
	dir := t.TempDir()
	trendtest.Record(t, dir, night(t, "ordinary", 1, evening))
	a := open(t, dir)
	begin, end := a.Span()
	at := func(h float64) time.Time { return begin.Add(time.Duration(h * float64(time.Hour))) }
	for name, tt := range map[string]struct {
		pick trend.Pick
		want trend.Window
	}{
		"everything":                {trend.Pick{}, trend.Window{From: begin, To: end}},
		"since, from the end":       {trend.Pick{Since: time.Hour}, trend.Window{From: end.Add(-time.Hour), To: end}},
		"since, more than there is": {trend.Pick{Since: 1000 * time.Hour}, trend.Window{From: begin, To: end}},
		"from and to":               {trend.Pick{From: at(1), To: at(2)}, trend.Window{From: at(1), To: at(2)}},
		"beyond both ends":          {trend.Pick{From: at(-5), To: at(500)}, trend.Window{From: begin, To: end}},
	} {
		if got, err := tt.pick.Window(t.Context(), a); err != nil || !got.From.Equal(tt.want.From) || !got.To.Equal(tt.want.To) {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
	for name, tt := range map[string]struct {
		pick trend.Pick
		want string
	}{
		"before it all":     {trend.Pick{To: at(-1)}, "nothing is kept"},
		"after it all":      {trend.Pick{From: at(500)}, "nothing is kept"},
		"backwards":         {trend.Pick{From: at(2), To: at(1)}, "nothing is kept"},
		"a burn and since":  {trend.Pick{Burn: "last", Since: time.Hour}, "choose the window"},
		"since and from":    {trend.Pick{From: at(1), Since: time.Hour}, "choose the window"},
		"no burn like this": {trend.Pick{Burn: "first"}, `there is no burn "first"`},
	} {
		if got, err := tt.pick.Window(t.Context(), a); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
	b, err := trend.Find(t.Context(), a, "last")
	if err != nil {
		t.Fatal(err)
	}
	w, err := trend.Pick{Burn: "1"}.Window(t.Context(), a)
	if err != nil || w.From.After(b.Start) || w.To.Before(b.End) {
		t.Errorf("%v of %v to %v, %v", w, b.Start, b.End, err)
	}
}
