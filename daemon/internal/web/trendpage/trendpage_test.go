package trendpage_test

import (
	"encoding/json"
	"html"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/units"
)

// Every way that the page shows leads somewhere, and none shows a window beyond what is kept.
func TestWindows(t *testing.T) {
	h := serve(t, american(), evening(t, american()))
	end := noon.Add(8 * time.Hour) // the last second is not over
	for _, tt := range []struct {
		query    string
		from, to time.Time
	}{
		{"", noon, end},
		{"since=1h", end.Add(-time.Hour), end},
		{"since=4800h", noon, end},
		{"from=2026-11-25T14:00:00Z&to=2026-11-25T15:00:00Z", noon.Add(2 * time.Hour), noon.Add(3 * time.Hour)},
		{"from=2026-11-25T14:00&to=2026-11-25T15:00", noon.Add(2 * time.Hour), noon.Add(3 * time.Hour)},
		{"from=2026-11-25T06:00:00Z&to=2026-11-25T09:00:00Z", noon, noon.Add(3 * time.Hour)},
		{"from=2026-12-25T06:00:00Z&to=2026-12-25T09:00:00Z", end.Add(-3 * time.Hour), end},
		{"from=2026-11-25T14:00:00Z&to=2026-11-25T14:00:02Z", noon.Add(2*time.Hour - 29*time.Second), noon.Add(2*time.Hour + 31*time.Second)},
		{"burn=1", noon, noon.Add(4*time.Hour + 20*time.Minute)},
		{"burn=last", noon.Add(4*time.Hour - 15*time.Minute), noon.Add(7*time.Hour + 15*time.Minute)},
	} {
		w := get(t, h, "/trend/picture?width=600&"+tt.query)
		var got struct {
			SVG, Parts string
			Cross      struct {
				From    int64 `json:"from_ms"`
				To      int64 `json:"to_ms"`
				Columns int
				Query   string
			}
		}
		if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || w.Code != http.StatusOK {
			t.Fatalf("%q: %d %v", tt.query, w.Code, err)
		}
		from, to := time.UnixMilli(got.Cross.From).UTC(), time.UnixMilli(got.Cross.To).UTC()
		if from.Sub(tt.from).Abs() > time.Second || to.Sub(tt.to).Abs() > time.Second {
			t.Errorf("%q shows %v to %v, want %v to %v", tt.query, from, to, tt.from, tt.to)
		}
		if !strings.HasPrefix(got.SVG, "<svg") || strings.Contains(got.SVG, "<style") || got.Cross.Columns < 300 || got.Cross.Columns > 600 {
			t.Errorf("%q: %.60s, %d columns", tt.query, got.SVG, got.Cross.Columns)
		}
		page := get(t, h, "/trend?"+tt.query)
		for _, href := range regexp.MustCompile(`(?:href|src)="(/trend[^"]*)"`).FindAllStringSubmatch(page.Body.String(), -1) {
			if code := get(t, h, html.UnescapeString(href[1])).Code; code != http.StatusOK && !strings.Contains(href[1], "burn=now") {
				t.Errorf("%q leads to %s: %d", tt.query, href[1], code)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	h, none := serve(t, american(), evening(t, american())), serve(t, american(), nil)
	for _, tt := range []struct {
		h    http.Handler
		path string
		code int
		says string
	}{
		{h, "/trend?since=yesterday", 400, "want a length of time as 48h"},
		{h, "/trend?since=-1h", 400, "want a length of time as 48h"},
		{h, "/trend?from=now", 400, "want one as 2026-01-31T21:00"},
		{h, "/trend?from=2026-11-25T15:00&to=2026-11-25T14:00", 400, "the end must be after the beginning"},
		{h, "/trend?burn=77", 400, "there is no burn"},
		{h, "/trend?burn=now", 400, "nothing burns now"},
		{h, "/trend?burn=1&since=1h", 400, "each once"},
		{h, "/trend?since=1h&since=2h", 400, "each once"},
		{h, "/trend?zoom=2", 400, "want since"},
		{h, "/trend?since=<script>alert(1)</script>", 400, "&lt;script&gt;"},
		{h, "/trend/picture", 400, "width must be"},
		{h, "/trend/picture?width=600&since=x", 400, "length of time"},
		{h, "/trend/compare?a=1&b=9", 404, "there is no burn"},
		{h, "/trend/compare.svg?a=1&b=9&width=600", 404, "there is no burn"},
		{none, "/trend", 200, "keeps no history"},
		{none, "/trend/picture?width=600", 404, "keeps no history"},
		{none, "/trend/compare", 404, "keeps no history"},
	} {
		w := get(t, tt.h, tt.path)
		if w.Code != tt.code || !strings.Contains(w.Body.String(), tt.says) || strings.Contains(w.Body.String(), "<script>alert") {
			t.Errorf("%s: %d, and does not say %q", tt.path, w.Code, tt.says)
		}
	}
	for width, want := range map[string]string{"1": `width="300"`, "100000": `width="2000"`} {
		if w := get(t, h, "/trend/picture.svg?since=1h&width="+width); !strings.Contains(w.Body.String(), want) {
			t.Errorf("width %s: %.100s", width, w.Body)
		}
	}
}

// The page says in words what the picture shows, and hides nothing of what was not read.
func TestWords(t *testing.T) {
	page := get(t, serve(t, american(), evening(t, american())), "/trend").Body.String()
	for _, want := range []string{
		"Wed, Nov 25, 12:00 to 20:00 UTC",
		"note by Jo &lt;Installer&gt;: gate freed, mark 3 &amp; cleaned",
		"alarm, high priority: flue: too hot",
		"wood laid on", "fire lit", "door open for 60 s",
		"clean-burn 3 h 20 min",
		"in. w.c. of draft. In 7 h 50 min of fire and coals it was within that for",
		"/api/bundle?from=", "format=csv.gz", "format=parquet", "format=html",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	flue := regexp.MustCompile(`flue <small>°F</small></th>(?:<td>[^<]*</td>){3}<td>([^<]*)</td>`).FindStringSubmatch(page)
	if flue == nil || flue[1] != "96 %" { // twenty minutes of eight hours are missing
		t.Errorf("the flue was read %q of the time", flue)
	}
	si := site()
	si.Site.Units = units.SI
	if page := get(t, serve(t, si, evening(t, si)), "/trend").Body.String(); strings.Contains(page, "°F") || !strings.Contains(page, "°C") {
		t.Error("an SI site is shown in other units")
	}
}
