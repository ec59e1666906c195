// Package equipment shows what the monitor consists of: its chips and their wiring, the
// program and its configuration.
package equipment

import (
	"embed"
	"log/slog"
	"net/http"
	"time"

	"fluewright/daemon/internal/about"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/instruments"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/layout"
)

//go:embed *.html
var files embed.FS

// Assets are the pages' style sheet.
//
//go:embed assets
var Assets embed.FS

// Options is what the pages are made from.
type Options struct {
	Shell *layout.Shell
	Feed  *status.Feed
	Units units.System
	Zone  *time.Location
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// Rows is the history that scatter is taken from; nil where none is kept.
	Rows instruments.Rows
	// Health says how the history does; nil where none is kept.
	Health func() history.Health
	// Span says from when to when the history goes; nil where none is kept.
	Span  func() (from, to time.Time)
	Build about.Build
	// Configuration is the text that it was read from; it is shown without secrets.
	Configuration string
	Errors        *slog.Logger
}

// Pages are the pages.
type Pages struct {
	o              Options
	sensors, about *layout.Template
	configuration  string
}

// New makes the pages.
func New(o Options) *Pages {
	page := func(name string) *layout.Template { return o.Shell.Parse(files, name) }
	return &Pages{
		o: o, sensors: page("sensors.html"), about: page("about.html"),
		configuration: about.Redact(o.Configuration),
	}
}

// Routes are the pages' addresses.
func (p *Pages) Routes() []access.Route {
	route := func(pattern string, h http.HandlerFunc) access.Route {
		return access.Route{Pattern: pattern, Needs: access.Read, Handler: h}
	}
	return []access.Route{
		route("GET /sensors", p.serveSensors), route("GET /about", p.serveAbout),
	}
}

func (p *Pages) serve(w http.ResponseWriter, r *http.Request, t *layout.Template, title string, data any) {
	asOf := "no reading yet"
	if s := p.o.Feed.Latest(); s != nil {
		asOf = "as of " + s.Wall.Format("15:04:05")
	}
	t.Serve(w, r, http.StatusOK, layout.Page{Title: title, AsOf: asOf, Styles: []string{"equipment.css"}, Data: data})
}

// long writes a time in the site's zone.
func (p *Pages) long(t time.Time) string { return t.In(p.o.Zone).Format("Mon 2 Jan 2006, 15:04:05") }
