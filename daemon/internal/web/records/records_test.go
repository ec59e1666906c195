package records_test

import (
	"context"
	"errors"
	"fmt"
	"html"
	"io/fs"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/layout"
	"fluewright/daemon/internal/web/records"
)

var evening = statustest.Wall

// taker takes notes as the program does, and keeps them.
type taker struct {
	by  string
	all []command.Entry
	err error
}

func (k *taker) Note(_ context.Context, by string, e command.Entry) error {
	if err := e.Check(); err != nil {
		return command.Refuse(command.Malformed, "%v", err)
	}
	k.by = by
	k.all = append(k.all, e)
	return k.err
}

func options(l trend.Log) records.Options {
	return records.Options{
		Feed: status.NewFeed(), Verdict: statustest.Site, Units: units.SI, Zone: time.UTC, StaleAfter: 5 * time.Second,
		Log: l, Errors: slog.New(slog.DiscardHandler),
	}
}

// served serves the pages to somebody in a role.
func served(t testing.TB, o records.Options, role access.Role) http.Handler {
	t.Helper()
	shell, err := layout.New(layout.Options{Site: "cellar-7", Version: "v0.1.0", Log: o.Errors, Files: []fs.FS{records.Assets}})
	if err != nil {
		t.Fatal(err)
	}
	o.Shell = shell
	mux := http.NewServeMux()
	mux.Handle("GET /static/{name}", http.HandlerFunc(shell.ServeFile))
	for _, r := range records.New(o).Routes() {
		mux.Handle(r.Pattern, r.Handler)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; form-action 'self'")
		mux.ServeHTTP(w, r.WithContext(access.With(r.Context(), access.Person{Name: "Ann <b>", Role: role})))
	})
}

func get(t testing.TB, h http.Handler, path string, code int) string {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	if w.Code != code {
		t.Errorf("GET %s answers %d, want %d", path, w.Code, code)
	}
	return w.Body.String()
}

func post(h http.Handler, path string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func says(t testing.TB, page string, want ...string) {
	t.Helper()
	for _, s := range want {
		if !strings.Contains(page, s) && !strings.Contains(html.UnescapeString(page), s) {
			t.Errorf("the page does not say %q", s)
		}
	}
}

func hushes(t testing.TB, page string, not ...string) {
	t.Helper()
	for _, s := range not {
		if strings.Contains(page, s) {
			t.Errorf("the page says %q", s)
		}
	}
}

// Without a history, and before the first tick, no page says that all is well.
func TestWithoutAnything(t *testing.T) {
	h := served(t, options(nil), access.Owner)
	for _, path := range []string{"/burns", "/alarms", "/upkeep", "/notes"} {
		page := get(t, h, path, http.StatusOK)
		says(t, page, "This monitor keeps no history", "records.css")
		hushes(t, page, "None. That means", "not due", "No alarm has been raised", "<form action=\"/notes\"", "Done now")
	}
	says(t, get(t, h, "/alarms", 200), "whether an alarm stands is not known", "chimney fire", "Time to respond")
	says(t, get(t, h, "/upkeep", 200), "Ash: not known whether it is due")
	says(t, get(t, h, "/burns/1", http.StatusNotFound), "There is no burn of that number")
}

// The first run: a history in which nothing has happened.
func TestTheFirstRun(t *testing.T) {
	o := options(trendtest.Keep(t, t.TempDir(), evening))
	o.Actions = &taker{}
	o.Feed.Publish(statustest.Starting())
	h := served(t, o, access.Owner)
	says(t, get(t, h, "/burns", 200), "No burn has ended yet.")
	says(t, get(t, h, "/alarms", 200), "No alarm has been raised in what is kept. That is no proof", "not yet known")
	says(t, get(t, h, "/notes", 200), "Nobody has written anything yet.", `<form action="/notes"`)
	says(t, get(t, h, "/upkeep", 200), "Chimney and smoke pipe: not known whether it is due", "Not on record as done.", "Done now")
}

// broken is a history that cannot be read.
type broken struct{ trend.Log }

var errCard = errors.New("the card gives errors")

func (broken) Count(context.Context, string, int64) (int, error) { return 0, errCard }
func (broken) Newest(context.Context, string, int64, int) ([]history.Event, error) {
	return nil, errCard
}

func (broken) Nth(context.Context, string, int) (history.Event, bool, error) {
	return history.Event{}, false, errCard
}
func (broken) Span() (from, to time.Time) { return evening, evening.Add(time.Hour) }

func TestAHistoryThatCannotBeRead(t *testing.T) {
	o := options(broken{})
	o.Feed.Publish(statustest.Burning())
	h := served(t, o, access.Owner)
	for path, code := range map[string]int{"/burns": 503, "/burns/3": 503, "/alarms": 200, "/notes": 200, "/upkeep": 200} {
		page := get(t, h, path, code)
		says(t, page, "The history cannot be read at this moment. That says nothing of what happened. (the card gives errors)")
		hushes(t, page, "No burn has ended", "No alarm has been raised", "Nobody has written", "not due")
	}
	says(t, get(t, h, "/alarms", 200), "None. That means that no sensor shows a danger")
}

func season(t testing.TB) (*trendtest.Kept, records.Options) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	for i := range 60 {
		end := time.Duration(i+1) * 8 * time.Hour
		k.At(end-2*time.Hour, k.Alarm(alarm.Overheat, frame.Flue, alarm.WasRaised))
		k.At(end-2*time.Hour+time.Minute, k.Alarm(alarm.Overheat, frame.Flue, alarm.WasAcknowledged))
		k.Note("Bo <i>", trend.Taken("overheat/flue", uint32(i+1)))
		k.At(end-time.Hour, k.Alarm(alarm.Overheat, frame.Flue, alarm.WasCleared))
		k.At(end, k.Burn(end, 5*time.Hour), analysis.Event{Kind: analysis.NoticeGiven, Notice: notice.Notice{Name: notice.FireOut}})
		k.Note("Ann", fmt.Sprintf("<script>alert(%d)</script> & more", i))
	}
	k.Settle()
	o := options(k)
	o.Feed.Publish(statustest.Burning())
	return k, o
}

func TestBurns(t *testing.T) {
	_, o := season(t)
	h := served(t, o, access.Viewer)
	page := get(t, h, "/burns", 200)
	says(t, page, "A burn goes on since", "60 on record", `href="/burns/60"`, `href="/burns/36"`, "lit in a cold furnace, 5 h 00 min",
		"flue 251 °C", "12.5 Pa", "below the band 4 min, above it 6 min", "25.0 kWh", "2.0 K h", "overheat/flue, fire-out", "/burns?before=36",
		`aria-label="lighting 38 min, warm-up 38 min, clean burn 2 h 30 min, coals 75 min"`)
	hushes(t, page, `href="/burns/35"`)
	older := get(t, h, "/burns?before=36", 200)
	says(t, older, "Earlier burns", `href="/burns/35"`, "The newest burns")
	last := get(t, h, "/burns?before=11", 200)
	says(t, last, `href="/burns/1"`)
	hushes(t, last, "/burns?before=")
	for _, bad := range []string{"x", "-4", "99999999999999999999", "61"} {
		says(t, get(t, h, "/burns?before="+bad, 200), `href="/burns/60"`)
	}
	one := get(t, h, "/burns/42", 200)
	says(t, one, "<h1>Burn 42</h1>", "/trend/picture.svg?from=2026-01-31T15%3A00%3A00Z&amp;to=2026-01-31T20%3A30%3A00Z", `/trend?from=2026`, `format=html&amp;burn=42`,
		`action="/trend/compare"`, `<option value="41" selected>`, `href="/burns/43"`, `href="/burns/41"`, "alarm overheat/flue raised: flue: too hot", "alarm overheat/flue acknowledged", "3.0 Pa to 19.0 Pa")
	for _, bad := range []string{"0", "61", "x", "-1", "1e3"} {
		get(t, h, "/burns/"+bad, http.StatusNotFound)
	}
}

func TestAlarms(t *testing.T) {
	_, o := season(t)
	s := statustest.Burning()
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	statustest.Change(s, alarm.DraftHigh, frame.Count, alarm.Raised, 20, 15)
	statustest.Change(s, alarm.DraftHigh, frame.Count, alarm.Acknowledged, 20, 15)
	statustest.Change(s, alarm.Spillage, frame.Count, alarm.Raised, -2, 0)
	statustest.Change(s, alarm.Spillage, frame.Count, alarm.Returned, -2, 0)
	s.Assessment.Accounts = make([]analysis.Account, len(s.Assessment.Alarms))
	for i, a := range s.Assessment.Alarms {
		if a.Key.Channel == frame.Flue && a.Key.Name == alarm.Overheat {
			dry := cause.Cause{Code: cause.DryFuel, Weight: 0.7}
			dry.Evidence[0] = cause.Evidence{Kind: cause.Stayed, Channel: frame.Flue, Value: 470, Reference: 365, For: 15 * time.Minute}
			s.Assessment.Accounts[i].Causes = []cause.Cause{dry}
		}
	}
	o.Feed.Publish(statustest.After(s, 20*24*time.Hour))
	o.Timing = map[alarm.Name]alarm.Timing{alarm.DraftHigh: {Hold: 7 * time.Minute, ClearAfter: time.Minute}}
	o.Taker = func(k alarm.Key, occurrence uint32) (string, time.Time, bool) {
		return "Cy", evening, k.Name == alarm.DraftHigh && occurrence == 1
	}
	h := served(t, o, access.Owner)
	page := get(t, h, "/alarms", 200)
	says(t, page, "The flue is too hot.", `<input type="hidden" name="alarm" value="overheat"><input type="hidden" name="channel" value="flue"><input type="hidden" name="occurrence" value="1">`,
		"Over, and nobody has acknowledged it", `<input type="hidden" name="alarm" value="spillage">`, "the wood is too dry", "weight 0.70", "has stood above 365 °C for 15 min.", "Acknowledged by Cy, Sat 17 Jan 2026, 20:15.",
		"Acknowledged Fri 6 Feb 2026, 18:16 by Bo <i>, after 60 s. Over after 60 min.",
		"60 high, 0 medium, 0 low", "60 of 60", "half of those within 60 s", "from memory of the standards", "/alarms?before=", "<dt>Raised after</dt><dd>7 min</dd>")
	if n := strings.Count(page, `action="/alarms/acknowledge"`); n != 2 {
		t.Errorf("%d alarms can be acknowledged, want one that stands and one that is over", n)
	}
	if strings.Contains(page, "<i>") {
		t.Error("a name is not escaped")
	}
	at := strings.Index(page, "/alarms?before=")
	older := get(t, h, page[at:at+strings.IndexByte(page[at:], '"')], 200)
	says(t, older, "Earlier alarms", "The newest alarms")
	hushes(t, older, "Standing now", "The flue is too hot.", "Time to respond")
	if n := strings.Count(older, `<li class="high">`); n != 20 {
		t.Errorf("%d alarms on the second page, want 20", n)
	}
}

// A loop that stands still: what stood is shown as old, and nothing is called none.
func TestAlarmsWhileNothingIsRead(t *testing.T) {
	o := options(trendtest.Keep(t, t.TempDir(), evening))
	o.StaleAfter = time.Nanosecond
	o.Feed.Publish(statustest.Burning())
	h := served(t, o, access.Owner)
	time.Sleep(10 * time.Millisecond)
	page := get(t, h, "/alarms", 200)
	says(t, page, "Nothing has been read for", "Whether one stands now is not known", "cannot be judged")
	hushes(t, page, "None. That means", "<dd>normal</dd>")
}

func storm() *status.Status {
	s := statustest.Burning()
	s.Assessment.Alarms = nil
	for _, n := range []alarm.Name{alarm.Overheat, alarm.Runaway, alarm.SensorLost, alarm.SensorImplausible} {
		for _, c := range frame.All() {
			s.Assessment.Alarms = append(s.Assessment.Alarms, alarm.Status{Key: alarm.Key{Name: n, Channel: c}, Priority: alarm.High, State: alarm.Raised, Condition: alarm.Holds, Occurrence: 1})
		}
	}
	for _, n := range []alarm.Name{alarm.ChimneyFire, alarm.Spillage, alarm.DraftLow, alarm.BlowerStopped} {
		s.Assessment.Alarms = append(s.Assessment.Alarms, alarm.Status{Key: alarm.Key{Name: n, Channel: frame.Count}, Priority: alarm.Medium, State: alarm.Raised, Condition: alarm.Holds, Occurrence: 1})
	}
	return s
}

// All of forty alarms are there, each with its button; what is to be done for many is said
// once.
func TestFortyAlarms(t *testing.T) {
	o := options(nil)
	o.Feed.Publish(storm())
	page := get(t, served(t, o, access.Owner), "/alarms", 200)
	if n := strings.Count(page, `action="/alarms/acknowledge"`); n != 40 {
		t.Errorf("%d buttons, want 40", n)
	}
	if n := strings.Count(page, "Close the air inlet."); n != 1 {
		t.Errorf("the same is said %d times", n)
	}
	says(t, page, "as for overheat (firebox), above.")
}

func TestNotes(t *testing.T) {
	_, o := season(t)
	k := &taker{}
	o.Actions = k
	h := served(t, o, access.Technician)
	page := get(t, h, "/notes", 200)
	says(t, page, "&lt;script&gt;alert(59)&lt;/script&gt; &amp; more", "/notes?before=", "How much, kg")
	hushes(t, page, "<script>alert", "acknowledged overheat")
	dry := 0.22 / 1.22
	for name, tt := range map[string]struct {
		form  url.Values
		want  command.Entry
		words string
	}{
		"a note":                   {url.Values{"kind": {"other"}, "text": {" new\r\ngasket "}}, command.Entry{Kind: "other", Text: "new gasket"}, ""},
		"not a job that was done":  {url.Values{"kind": {"other"}, "text": {"ash: wet"}}, command.Entry{Kind: "other", Text: "note: ash: wet"}, ""},
		"nothing":                  {url.Values{"kind": {"other"}}, command.Entry{}, "Not taken: text is missing."},
		"fuel":                     {url.Values{"kind": {"fuel"}, "wood": {"beech"}, "mass": {"12,5"}}, command.Entry{Kind: "fuel", Wood: "beech", Kilograms: ptr(12.5)}, ""},
		"a meter reads dry mass":   {url.Values{"kind": {"fuel"}, "moisture": {"22"}, "way": {"meter"}}, command.Entry{Kind: "fuel", Moisture: &dry, Text: "moisture 22 %, by meter on a freshly split face, of the dry mass"}, ""},
		"an estimate of the whole": {url.Values{"kind": {"fuel"}, "moisture": {"18"}, "way": {"guess"}, "text": {"looks dry"}}, command.Entry{Kind: "fuel", Moisture: ptr(0.18), Text: "looks dry; moisture 18 %, estimated, of the whole mass"}, ""},
		"moisture without a way":   {url.Values{"kind": {"fuel"}, "moisture": {"18"}}, command.Entry{}, "say how the moisture was found out"},
		"not a number":             {url.Values{"kind": {"fuel"}, "mass": {"much"}}, command.Entry{}, "the amount of wood is not a number"},
		"nan":                      {url.Values{"kind": {"fuel"}, "mass": {"nan"}}, command.Entry{}, "the amount of wood is not a number"},
		"too wet to be":            {url.Values{"kind": {"fuel"}, "moisture": {"95"}, "way": {"guess"}}, command.Entry{}, "is not that of wood"},
		"nothing of wood":          {url.Values{"kind": {"fuel"}}, command.Entry{}, "say something of the wood"},
		"no kind":                  {url.Values{"text": {"x"}}, command.Entry{}, "choose what the note is about"},
		"far too long":             {url.Values{"kind": {"other"}, "text": {strings.Repeat("x", 2000)}}, command.Entry{}, "text has more than 1000 characters"},
	} {
		t.Run(name, func(t *testing.T) {
			k.all, k.by = nil, ""
			w := post(h, "/notes", tt.form)
			if tt.words != "" {
				says(t, w.Body.String(), tt.words)
				if w.Code != http.StatusUnprocessableEntity || len(k.all) != 0 {
					t.Errorf("%d, %v", w.Code, k.all)
				}
				return
			}
			if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/notes?done=1" || len(k.all) != 1 || k.by != "Ann <b>" {
				t.Fatalf("%d %v, by %q", w.Code, k.all, k.by)
			}
			got := k.all[0]
			if got.Kind != tt.want.Kind || got.Text != tt.want.Text || got.Wood != tt.want.Wood || !same(got.Kilograms, tt.want.Kilograms) || !same(got.Moisture, tt.want.Moisture) {
				t.Errorf("%+v, want %+v", got, tt.want)
			}
		})
	}
	says(t, get(t, h, "/notes?done=1", 200), "It is on record.")
	w := post(h, "/notes", url.Values{"kind": {"fuel"}, "wood": {`"><b>ash`}, "mass": {"x"}})
	says(t, w.Body.String(), `value="&#34;&gt;&lt;b&gt;ash"`) // what was typed is not lost, and does no harm
	if w := post(h, "/notes", url.Values{"kind": {"other"}, "text": {strings.Repeat("x", 20<<10)}}); w.Code != http.StatusBadRequest {
		t.Errorf("a form of 20 kB answers %d", w.Code)
	}
	k.err = errors.New("the loop stands still")
	w = post(h, "/notes", url.Values{"kind": {"other"}, "text": {"x"}})
	says(t, w.Body.String(), "It could not be kept.")
	if w.Code != http.StatusInternalServerError {
		t.Errorf("%d", w.Code)
	}
}

func TestPounds(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	k.At(time.Minute)
	k.Fuel(history.Fuel{Author: "Ann", Wood: "oak", Kilograms: 10, Moisture: math.NaN()})
	o := options(k)
	o.Units = units.US
	took := &taker{}
	o.Actions = took
	h := served(t, o, access.Owner)
	says(t, get(t, h, "/notes", 200), "How much, lb", "Fuel: oak, 22 lb")
	if w := post(h, "/notes", url.Values{"kind": {"fuel"}, "mass": {"100"}}); w.Code != http.StatusSeeOther || math.Abs(*took.all[0].Kilograms-45.359237) > 1e-9 {
		t.Errorf("%d %v", w.Code, took.all)
	}
}

func TestUpkeep(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	k.At(time.Hour)
	k.Note("Bo", "sweeping: half a bucket")
	k.At(2 * time.Hour)
	o := options(k)
	o.Feed.Publish(statustest.After(statustest.Burning(), 2*time.Hour))
	o.Upkeep = func() (u notice.Upkeep, ok bool) {
		u.Burnt[notice.Ash], u.Burnt[notice.Flue], u.Tar = 170, 60, 5
		return u, true
	}
	took := &taker{}
	o.Actions = took
	h := served(t, o, access.Owner)
	page := get(t, h, "/upkeep", 200)
	says(t, page, "Ash: due", "Fire: 170 h of 168 h since the monitor began to count", "Chimney and smoke pipe: not due", "Last done Sat 17 Jan 2026, 21:15 by Bo.", "half a bucket",
		"60 h of 720 h since then", "5 h of 60 h since then", "Due 17 Jan 2027 at the latest.", "Yearly inspection: not known whether it is due", "licensed", "local code")
	w := post(h, "/upkeep", url.Values{"job": {"filter"}, "text": {"changed"}})
	if w.Code != http.StatusSeeOther || len(took.all) != 1 || took.all[0].Kind != "filter" || took.all[0].Text != "changed" || took.by != "Ann <b>" {
		t.Errorf("%d %+v by %q", w.Code, took.all, took.by)
	}
	for _, bad := range []string{"", "fuel", "other", "gold"} {
		if w := post(h, "/upkeep", url.Values{"job": {bad}}); w.Code != http.StatusUnprocessableEntity || len(took.all) != 1 {
			t.Errorf("job %q answers %d", bad, w.Code)
		}
	}
}

// Each route says what it needs, and those that change something need more than reading.
func TestRights(t *testing.T) {
	o := options(nil)
	shell, err := layout.New(layout.Options{Log: o.Errors, Files: []fs.FS{records.Assets}})
	if err != nil {
		t.Fatal(err)
	}
	o.Shell = shell
	for _, r := range records.New(o).Routes() {
		want := access.Read
		if strings.HasPrefix(r.Pattern, "POST ") {
			want = access.Log
		}
		if r.Needs != want {
			t.Errorf("%s needs %v, want %v", r.Pattern, r.Needs, want)
		}
	}
}

func ptr(v float64) *float64 { return &v }

func same(a, b *float64) bool {
	return (a == nil) == (b == nil) && (a == nil || math.Abs(*a-*b) < 1e-12)
}
