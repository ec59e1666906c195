// Package trendpage is the technician's page: all channels over one time, with what happened,
// from an hour to a season, and two burns laid over each other. The pictures are drawn by
// package panel on this side; a browser without scripts follows links from window to window,
// and with them it points, drags and pinches.
package trendpage

import (
	"context"
	"embed"
	"encoding/json"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/api"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/web/layout"
)

//go:embed trend.html compare.html
var files embed.FS

// Assets are the page's scripts and style sheets.
//
//go:embed assets
var Assets embed.FS

// Options is what the page is made from.
type Options struct {
	Shell *layout.Shell
	Feed  *status.Feed
	// History is what is kept; nil where nothing is.
	History trend.History
	// Site is the site as it is configured now.
	Site trend.Site
	Log  *slog.Logger
}

// Page shows the trend.
type Page struct {
	o             Options
	page, compare *layout.Template
}

// New makes the page.
func New(o Options) *Page {
	return &Page{o: o, page: o.Shell.Parse(files, "trend.html"), compare: o.Shell.Parse(files, "compare.html")}
}

// Routes are the page's addresses.
func (p *Page) Routes() []access.Route {
	route := func(path string, h http.HandlerFunc) access.Route {
		return access.Route{Pattern: "GET " + path, Needs: access.Read, Handler: api.Compact(h)}
	}
	return []access.Route{
		route("/trend", p.serve), route("/trend/picture", p.fragment), route("/trend/picture.svg", p.image),
		route("/trend/compare", p.serveCompare), route("/trend/compare.svg", p.compareImage),
	}
}

var scripts = []string{"trend.js", "trend-cross.js", "trend-touch.js"}

// pageColumns is how finely the numbers of a page without a picture of its own are made.
const pageColumns = 1000

// serve answers /trend.
func (p *Page) serve(w http.ResponseWriter, r *http.Request) {
	v, code := p.view(r), http.StatusOK
	if v.Refused != "" {
		code = http.StatusBadRequest
	}
	p.page.Serve(w, r, code, layout.Page{
		Title: "Trend", Styles: []string{"trend.css", "picture.css"}, Scripts: scripts, Data: v,
	})
}

// view makes the page for a request.
func (p *Page) view(r *http.Request) view {
	v := view{}
	if p.o.History == nil {
		v.Empty = "This monitor keeps no history: there is nothing to show here."
		return v
	}
	c, err := p.choose(r.Context(), r.URL.Query())
	if err == errNothing {
		v.Empty = "Nothing is kept yet: the trend begins with the first minute of readings."
		return v
	}
	if err != nil {
		v.Refused = err.Error()
		return v
	}
	course, err := trend.Look(r.Context(), p.o.History, c.window, p.fitted(), columns(c.window, pageColumns))
	if err != nil {
		return p.failed(r, err)
	}
	if v, err = p.words(r.Context(), c, &course, p.events(&course)); err != nil {
		return p.failed(r, err)
	}
	if v.Burns, err = p.burns(r.Context()); err != nil {
		return p.failed(r, err)
	}
	return v
}

func (p *Page) failed(r *http.Request, err error) view {
	if r.Context().Err() == nil {
		p.o.Log.Error("cannot read the history for a page", "path", r.URL.Path, "error", err)
	}
	return view{Empty: "The history cannot be read at this moment: " + err.Error()}
}

// fitted are the channels that the site has.
func (p *Page) fitted() [frame.Count]bool { return p.o.Site.Config.Analysis.Fitted }

// fragment answers /trend/picture with what a script puts into the page: the picture, what
// the crosshair reads, and the parts in words.
func (p *Page) fragment(w http.ResponseWriter, r *http.Request) {
	width, course, c, ok := p.ask(w, r)
	if !ok {
		return
	}
	picture := course.Picture(p.o.Site, width)
	picture.Scheme = panel.Linked
	drawn, err := picture.Draw()
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	happened := p.events(&course)
	v, err := p.words(r.Context(), c, &course, happened)
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	parts, err := p.page.Part("parts", v)
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	answer, err := json.Marshal(struct {
		SVG   string `json:"svg"`
		Parts string `json:"parts"`
		Cross cross  `json:"cross"`
	}{string(drawn.SVG), string(parts), p.cross(c, &course, &drawn, happened)})
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(answer) // it is held
}

// image answers /trend/picture.svg, for browsers without scripts.
func (p *Page) image(w http.ResponseWriter, r *http.Request) {
	width, course, _, ok := p.ask(w, r)
	if !ok {
		return
	}
	p.draw(w, r, course.Picture(p.o.Site, width))
}

// draw answers with a picture as an image.
func (p *Page) draw(w http.ResponseWriter, r *http.Request, picture panel.Picture) {
	drawn, err := picture.Draw()
	if err != nil {
		p.refuse(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "image/svg+xml")
	// It holds its own rules for dark and print, nothing that runs, and nothing from elsewhere.
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'")
	_, _ = w.Write(drawn.SVG) // it is held
}

// ask reads the width and the window of a picture; it answers itself where there is none.
func (p *Page) ask(w http.ResponseWriter, r *http.Request) (width int, course trend.Course, c choice, ok bool) {
	if p.o.History == nil {
		api.Refuse(w, http.StatusNotFound, "This monitor keeps no history.")
		return width, course, c, false
	}
	q := r.URL.Query()
	width, err := widthOf(q.Get("width"))
	q.Del("width")
	if err == nil {
		c, err = p.choose(r.Context(), q)
	}
	if err != nil {
		api.Refuse(w, http.StatusBadRequest, err.Error())
		return width, course, c, false
	}
	course, err = trend.Look(r.Context(), p.o.History, c.window, p.fitted(), columns(c.window, width))
	if err != nil {
		p.refuse(w, r, err)
		return width, course, c, false
	}
	return width, course, c, true
}

func (p *Page) refuse(w http.ResponseWriter, r *http.Request, err error) {
	if r.Context().Err() == nil {
		p.o.Log.Error("cannot draw a trend", "path", r.URL.Path, "error", err)
	}
	api.Refuse(w, http.StatusInternalServerError, "The picture cannot be made: "+err.Error())
}

// columns is how many a picture of a width is made of: one a pixel, or down to half as many
// where that lets sums be read instead of what they are sums of, which takes long.
func columns(w trend.Window, width int) int {
	for _, sums := range []time.Duration{time.Hour, 15 * time.Minute, time.Minute} {
		if n := int(w.To.Sub(w.From) / sums); n <= width && 2*n >= width {
			return n
		}
	}
	return width
}

// widthOf is the nearest that can be drawn.
func widthOf(text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, errWidth
	}
	return min(max(n, panel.MinWidth), panel.MaxWidth), nil
}

// choose finds the window that a request asks for.
func (p *Page) choose(ctx context.Context, q map[string][]string) (choice, error) {
	ask := asked{}
	for name, all := range q {
		into, ok := map[string]*string{"since": &ask.since, "from": &ask.from, "to": &ask.to, "burn": &ask.burn}[name]
		if !ok || len(all) != 1 {
			return choice{}, errParameter
		}
		*into = strings.TrimSpace(all[0])
	}
	return p.find(ctx, ask)
}
