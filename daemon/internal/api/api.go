// Package api is the programming interface: what the pages show, as JSON in SI and UTC, for
// programs. It is versioned by its path; within a version members are only added.
package api

import (
	"bytes"
	"encoding/json"
	"log/slog"
	"net/http"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/trend"
)

// Options is what the interface answers from.
type Options struct {
	// History is what is kept; nil where nothing is.
	History trend.History
	// Site is the site as it is configured now.
	Site    trend.Site
	Version string
	Log     *slog.Logger
}

// API answers.
type API struct {
	o Options
	// exports bounds how many windows are written out at once.
	exports chan struct{}
}

// mostExports is how many windows are written out at once: each keeps a small computer busy.
const mostExports = 2

// New makes the interface.
func New(o Options) *API { return &API{o: o, exports: make(chan struct{}, mostExports)} }

// Routes are its addresses.
func (a *API) Routes() []access.Route {
	return []access.Route{
		{Pattern: "GET /api/v1/trend", Needs: access.Read, Handler: Compact(http.HandlerFunc(a.trend))},
		{Pattern: "GET /api/v1/trend/statistics", Needs: access.Read, Handler: Compact(http.HandlerFunc(a.statistics))},
		{Pattern: "GET /api/v1/trend/export", Needs: access.Read, Handler: http.HandlerFunc(a.export)},
	}
}

// answer sends a value.
func (a *API) answer(w http.ResponseWriter, r *http.Request, v any) {
	var b bytes.Buffer
	if err := json.NewEncoder(&b).Encode(v); err != nil {
		a.o.Log.Error("cannot write an answer", "path", r.URL.Path, "error", err)
		Refuse(w, http.StatusInternalServerError, "The answer cannot be written.")
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = b.WriteTo(w) // whoever asked may have gone
}
