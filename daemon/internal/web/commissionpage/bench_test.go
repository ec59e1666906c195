package commissionpage_test

import (
	"io/fs"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/installer"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/commissionpage"
	"fluewright/daemon/internal/web/layout"
)

var evening = time.Date(2026, 11, 3, 18, 0, 0, 0, time.UTC)

// policy is the one that the pages are served under.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// bench is a virtual house with its monitor's pages, and somebody who has hands.
type bench struct {
	t      *testing.T
	units  units.System
	dir    string
	desk   *commission.Desk
	feed   *status.Feed
	player *installer.Player
	role   access.Role
	test   commissionpage.Test
	stale  time.Duration
	log    trend.Log
	keep   func([]byte)
	served atomic.Pointer[http.ServeMux]
}

func newBench(t *testing.T, house string, u units.System) *bench {
	t.Helper()
	b := &bench{t: t, units: u, dir: t.TempDir(), feed: status.NewFeed(), role: access.Installer, stale: time.Hour}
	b.feed.Publish(statustest.Burning())
	var err error
	if b.player, err = installer.Build(house, 1); err != nil {
		t.Fatal(err)
	}
	b.player.Show = func(l commissioning.Look) { b.desk.Step(l, b.wall(), true) }
	if err := b.player.Begin(); err != nil {
		t.Fatal(err)
	}
	b.restart()
	return b
}

func (b *bench) wall() time.Time { return evening.Add(b.player.House.Now()) }

// restart ends the program and starts it again; what it was to save is saved, as always.
func (b *bench) restart() {
	b.t.Helper()
	if b.desk != nil {
		select {
		case <-b.desk.Wake():
			if err := b.desk.Save(); err != nil {
				b.t.Fatal(err)
			}
		default:
		}
	}
	b.desk = commission.NewDesk(commission.DeskOptions{
		Dir: b.dir, Units: b.units, Site: b.player.Site,
		About: func() commission.About {
			return commission.About{
				Site: "cellar-7", Made: b.wall(), ClockTrusted: true, Software: "v0.1.0", Units: b.units, Demo: true,
				Instruments: []commission.Instrument{{Channels: "all", Chip: "virtual"}},
			}
		},
		Keep: b.keep,
		Say:  func(msg string, args ...any) { b.t.Log(msg, args) },
	}, b.wall(), true)
	b.serve()
}

var (
	nan = math.NaN()
	log = slog.New(slog.DiscardHandler)
)

func (b *bench) shell() *layout.Shell {
	b.t.Helper()
	shell, err := layout.New(layout.Options{Site: "cellar-7", Version: "v0.1.0", Log: log, Files: []fs.FS{commissionpage.Assets}})
	if err != nil {
		b.t.Fatal(err)
	}
	return shell
}

func (b *bench) serve() {
	b.t.Helper()
	shell := b.shell()
	mux := http.NewServeMux()
	mux.Handle("GET /static/{name}", http.HandlerFunc(shell.ServeFile))
	for _, r := range commissionpage.New(commissionpage.Options{
		Shell: shell, Desk: b.desk, Feed: b.feed, Verdict: statustest.Site, Units: b.units, Zone: time.UTC,
		StaleAfter: b.stale, Log: b.log, Test: b.test, Errors: log,
	}).Routes() {
		mux.Handle(r.Pattern, r.Handler)
	}
	b.served.Store(mux)
}

func (b *bench) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Security-Policy", policy)
	b.served.Load().ServeHTTP(w, r.WithContext(access.With(r.Context(), access.Person{Name: "Bo", Role: b.role})))
}

func (b *bench) get(path string) (page string, code int) {
	w := httptest.NewRecorder()
	b.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	return w.Body.String(), w.Code
}

// post sends a form; what is asked now is added where it is missing.
func (b *bench) post(path string, form url.Values) (page string, code int) {
	b.t.Helper()
	if !form.Has("on") {
		page, _ := b.get("/commissioning")
		if m := regexp.MustCompile(`name="on" value="([0-9a-f]+)"`).FindStringSubmatch(page); m != nil {
			form.Set("on", m[1])
		}
	}
	r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	b.ServeHTTP(w, r)
	if w.Code == http.StatusSeeOther {
		return w.Header().Get("Location"), w.Code
	}
	return w.Body.String(), w.Code
}

// view is what is asked.
func (b *bench) view() commission.View {
	b.t.Helper()
	v, ok := b.desk.View()
	if !ok {
		b.t.Fatal("nothing is under way")
	}
	return v
}

// hands does what is asked.
func (b *bench) hands() {
	b.t.Helper()
	r, err := b.desk.Record()
	if err != nil {
		b.t.Fatal(err)
	}
	b.player.State = &r.State
	b.player.Hands()
}

// measure lets time pass until it is measured, at most for so long.
func (b *bench) measure(most time.Duration) {
	b.t.Helper()
	for end := b.player.House.Now() + most; b.view().Running && b.player.House.Now() < end; {
		b.player.Frames(5 * time.Second)
	}
}

// filled is what the installer writes into the form of a task.
func (b *bench) filled(task commissioning.Task) url.Values {
	site := b.player.Site
	_, fields := commission.Forms(task, site, b.units)
	form := url.Values{"kind": {"give"}}
	for _, f := range fields {
		switch {
		case task == commissioning.EnterSite:
			form.Set(f.Key, f.Value)
		case f.Key == "fan-on":
			form.Set(f.Key, "43 degC")
		case f.Key == "fan-off":
			form.Set(f.Key, "35 degC")
		case task == commissioning.Sign:
			form.Set(f.Key, "A virtual "+f.Key)
		default:
			form.Set(f.Key, "y")
		}
	}
	return form
}
