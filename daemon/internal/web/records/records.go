// Package records shows what is on record of a site: its burns, its alarms, its upkeep and
// what people wrote. Lists are paged, so that a season is as quick as a day.
package records

import (
	"context"
	"embed"
	"errors"
	"log/slog"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/verdict"
	"fluewright/daemon/internal/web/layout"
)

//go:embed *.html
var files embed.FS

// Assets are the pages' style sheet.
//
//go:embed assets
var Assets embed.FS

// Actions is what a person may do here. What is refused in words is a *command.Refusal.
type Actions interface {
	Note(ctx context.Context, by string, e command.Entry) error
}

// Options is what the pages are made from.
type Options struct {
	Shell   *layout.Shell
	Feed    *status.Feed
	Verdict verdict.Site
	Units   units.System
	Zone    *time.Location
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// Log is the history; nil where none is kept.
	Log trend.Log
	// Timing is what the site has given to alarms in place of what is declared.
	Timing map[alarm.Name]alarm.Timing
	// Upkeep returns the analysis's count of hours; nil or false where there is none.
	Upkeep func() (notice.Upkeep, bool)
	// Taker says who has taken an occurrence of an alarm, and when; nil: nobody knows.
	Taker func(k alarm.Key, occurrence uint32) (by string, at time.Time, ok bool)
	// Actions takes what people write; nil: nothing is taken.
	Actions Actions
	Errors  *slog.Logger
}

// Pages are the pages.
type Pages struct {
	o                                  Options
	burns, burn, alarms, notes, upkeep *layout.Template
}

// New makes the pages.
func New(o Options) *Pages {
	page := func(name string) *layout.Template { return o.Shell.Parse(files, name, "parts.html") }
	return &Pages{
		o: o, burns: page("burns.html"), burn: page("burn.html"), alarms: page("alarms.html"), notes: page("notes.html"), upkeep: page("upkeep.html"),
	}
}

// Routes are the pages' addresses.
func (p *Pages) Routes() []access.Route {
	route := func(pattern string, needs access.Right, h http.HandlerFunc) access.Route {
		return access.Route{Pattern: pattern, Needs: needs, Handler: h}
	}
	return []access.Route{
		route("GET /burns", access.Read, p.serveBurns),
		route("GET /burns/{number}", access.Read, p.serveBurn),
		route("GET /alarms", access.Read, p.serveAlarms),
		route("GET /notes", access.Read, p.serveNotes),
		route("POST /notes", access.Log, p.takeNote),
		route("GET /upkeep", access.Read, p.serveUpkeep),
		route("POST /upkeep", access.Log, p.takeDone),
	}
}

// patience is how long a page waits for the history.
const patience = 5 * time.Second

// within bounds how long a request may keep the history busy.
func within(r *http.Request) (context.Context, context.CancelFunc) {
	return context.WithTimeout(r.Context(), patience)
}

// Nothing is what a page without a history says.
const nothing = "This monitor keeps no history: nothing is on record here. The configuration turned it off, or there is no state directory."

// trouble words that the history cannot be read, which says nothing of what happened.
func (p *Pages) trouble(r *http.Request, err error) string {
	if r.Context().Err() == nil {
		p.o.Errors.Error("cannot read the history for a page", "path", r.URL.Path, "error", err)
	}
	return "The history cannot be read at this moment. That says nothing of what happened. (" + err.Error() + ")"
}

// cursor reads ?before=; anything else is the newest page.
func cursor(r *http.Request) int64 {
	n, err := strconv.ParseInt(r.URL.Query().Get("before"), 10, 64)
	if err != nil || n < 0 {
		return 0
	}
	return n
}

// older is the address of the next page, empty where there is none.
func older(path string, before int64) string {
	if before == 0 {
		return ""
	}
	return path + "?" + url.Values{"before": {strconv.FormatInt(before, 10)}}.Encode()
}

// serve answers with a page.
func (p *Pages) serve(w http.ResponseWriter, r *http.Request, t *layout.Template, code int, title string, data any) {
	asOf := ""
	if s := p.o.Feed.Latest(); s != nil {
		asOf = "as of " + s.Wall.Format("15:04:05")
	}
	t.Serve(w, r, code, layout.Page{Title: title, AsOf: asOf, Styles: []string{"records.css"}, Data: data})
}

// silence is how long nothing has been read, if that is too long, else zero.
func (p *Pages) silence() time.Duration {
	if age, ok := p.o.Feed.Age(); ok && age > p.o.StaleAfter {
		return age
	}
	return 0
}

// now is the time of the newest tick.
func (p *Pages) now() time.Time {
	if s := p.o.Feed.Latest(); s != nil {
		return s.Wall
	}
	return time.Now()
}

// long and short write a time in the site's zone.
func (p *Pages) long(t time.Time) string { return t.In(p.o.Zone).Format("Mon 2 Jan 2006, 15:04") }

// stamp is a time with what is known of the clock.
func (p *Pages) stamp(t time.Time, sure bool) string {
	if sure {
		return p.long(t)
	}
	return p.long(t) + " (estimated)"
}

// number writes what was measured, "–" where nothing was.
func number(v *float64, write func(float64) string) string {
	if v == nil {
		return "–"
	}
	return write(*v)
}

// refusal words why something was not taken, with the code of the answer.
func (p *Pages) refusal(r *http.Request, err error) (words string, code int) {
	var refused *command.Refusal
	switch {
	case errors.As(err, &refused):
		return "Not taken: " + refused.Words + ".", http.StatusUnprocessableEntity
	case r.Context().Err() != nil:
		return "It took too long. Load the page to see whether it was taken.", http.StatusServiceUnavailable
	}
	p.o.Errors.Error("cannot take what was written on a page", "path", r.URL.Path, "error", err)
	return "It could not be kept. Load the page to see whether it was taken.", http.StatusInternalServerError
}

// maxForm is as much as a form here needs.
const maxForm = 16 << 10

// form reads what was sent.
func form(w http.ResponseWriter, r *http.Request) bool {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		http.Error(w, "The form cannot be read.", http.StatusBadRequest)
		return false
	}
	return true
}

// back answers a form that was taken, so that loading again does nothing again.
func back(w http.ResponseWriter, r *http.Request, path string) {
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, path+"?done=1", http.StatusSeeOther)
}
