// Package commissionpage leads the installer through commissioning on a telephone at the
// furnace: one step at a time, with the readings as they come, and the report at its end.
// What is asked and said is package commission's; the pages lay it out.
package commissionpage

import (
	"embed"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/verdict"
	"fluewright/daemon/internal/web/layout"
)

//go:embed *.html
var files embed.FS

// Assets are the pages' style sheet and script.
//
//go:embed assets
var Assets embed.FS

// Options is what the pages are made from.
type Options struct {
	Shell *layout.Shell
	// Desk is the site's commissioning; nil where there is none to be had.
	Desk    *commission.Desk
	Feed    *status.Feed
	Verdict verdict.Site
	Units   units.System
	Zone    *time.Location
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// Log is the history, where the records are kept; nil where nothing is.
	Log trend.Log
	// Test sends a test alarm to everybody and says what came of it; nil where nobody is
	// told of alarms.
	Test   Test
	Errors *slog.Logger
}

// Pages are the pages.
type Pages struct {
	o    Options
	page *layout.Template
	test tester

	mu     sync.Mutex
	closed commission.Record // the latest that was closed here: the history may not have it yet, or be none
}

// New makes the pages.
func New(o Options) *Pages {
	return &Pages{o: o, page: o.Shell.Parse(files, "commissioning.html", "parts.html"), test: tester{send: o.Test}}
}

// Routes are the pages' addresses.
func (p *Pages) Routes() []access.Route {
	route := func(pattern string, needs access.Right, h http.HandlerFunc) access.Route {
		return access.Route{Pattern: pattern, Needs: needs, Handler: h}
	}
	return []access.Route{
		route("GET /commissioning", access.Read, p.serve),
		route("GET /commissioning/now", access.Read, p.serveNow),
		route("GET /commissioning/picture/{name}", access.Read, p.servePicture),
		route("GET /commissioning/report", access.Read, p.serveReport),
		route("GET /commissioning/report.json", access.Read, p.serveRecord),
		route("GET /commissioning/reports/{number}", access.Read, p.serveReport),
		route("GET /commissioning/reports/{number}/json", access.Read, p.serveRecord),
		route("POST /commissioning", access.Commission, p.take),
		route("POST /commissioning/begin", access.Commission, p.begin),
		route("POST /commissioning/close", access.Commission, p.close),
		route("POST /commissioning/test", access.Commission, p.sendTest),
	}
}

// show answers with the page as it is now, with what was refused.
func (p *Pages) show(w http.ResponseWriter, r *http.Request, code int, wrong refused) {
	v := p.view(r, wrong)
	lp := layout.Page{
		Title: "Commissioning", AsOf: "no reading yet",
		Styles: []string{"commission.css"}, Scripts: []string{"commission.js"}, Data: v,
	}
	if s := p.o.Feed.Latest(); s != nil {
		lp.AsOf = "as of " + s.Wall.Format("15:04:05")
	}
	if v.Running && v.Wrong == "" {
		lp.Reload = 10 // s; while nothing is measured somebody may be typing
	}
	p.page.Serve(w, r, code, lp)
}

func (p *Pages) serve(w http.ResponseWriter, r *http.Request) { p.show(w, r, http.StatusOK, refused{}) }

// serveNow answers with what changes from second to second.
func (p *Pages) serveNow(w http.ResponseWriter, r *http.Request) {
	part, err := p.page.Part("live", p.live())
	if err != nil {
		p.o.Errors.Error("cannot render a page", "path", r.URL.Path, "error", err)
		http.Error(w, "The page cannot be made. Watch the furnace yourself.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(part) // whoever asked may have gone
}

// servePicture answers with a diagram of the procedure under way.
func (p *Pages) servePicture(w http.ResponseWriter, r *http.Request) {
	if p.o.Desk != nil {
		if svg, ok := p.o.Desk.Draw(r.PathValue("name")); ok {
			w.Header().Set("Content-Type", "image/svg+xml")
			w.Header().Set("Cache-Control", "no-store")
			_, _ = w.Write([]byte(svg))
			return
		}
	}
	http.NotFound(w, r)
}

// silence is how long nothing has been read, if that is too long, else zero.
func (p *Pages) silence() time.Duration {
	if age, ok := p.o.Feed.Age(); ok && age > p.o.StaleAfter {
		return age
	}
	return 0
}
