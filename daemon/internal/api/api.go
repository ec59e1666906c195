// Package api is the programming interface: what the pages show, as JSON in SI and UTC, for
// programs. It is versioned by its path; within a version members are only added.
package api

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/about"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/verdict"
)

// Options is what the interface answers from.
type Options struct {
	Feed    *status.Feed
	Verdict verdict.Site
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	// History is what is kept, and Kept the same from its newest event back; both nil where
	// nothing is.
	History trend.History
	Kept    trend.Log
	// Health says how the history does; nil where none is kept.
	Health func() history.Health
	// Upkeep returns the analysis's count of hours; nil or false where there is none.
	Upkeep func() (notice.Upkeep, bool)
	// Actions is what may be done; nil: nothing.
	Actions Actions
	// Commission is the site's commissioning; nil: nobody knows of one.
	Commission Commission
	// Site is the site as it is configured now.
	Site trend.Site
	// Configuration is the text that it was read from; it is shown without secrets.
	Configuration string
	Version       string
	Log           *slog.Logger
}

// Actions is what may be done. What is refused is a *command.Refusal. None of it reaches the
// furnace.
type Actions interface {
	Acknowledge(ctx context.Context, by string, key alarm.Key, occurrence uint32) error
	Taker(key alarm.Key, occurrence uint32) (by string, at time.Time, ok bool)
	Note(ctx context.Context, by string, e command.Entry) error
}

// API answers.
type API struct {
	o Options
	// exports bounds how many windows are written out at once.
	exports chan struct{}

	build         about.Build
	configuration string
}

// mostExports is how many windows are written out at once: each keeps a small computer busy.
const mostExports = 2

// New makes the interface.
func New(o Options) *API {
	return &API{
		o: o, exports: make(chan struct{}, mostExports),
		build: about.Read(o.Version), configuration: about.Redact(o.Configuration),
	}
}

// prefix is what all addresses begin with.
const prefix = "/api/v1/"

// Routes are its addresses.
func (a *API) Routes() []access.Route {
	get := func(path string, h http.HandlerFunc) access.Route {
		return access.Route{Pattern: "GET " + prefix + path, Needs: access.Read, Handler: Compact(h)}
	}
	all := []access.Route{
		get("state", a.state),
		get("alarms", a.alarms),
		get("alarms/history", a.alarmHistory),
		{Pattern: "POST " + prefix + "alarms/acknowledge", Needs: access.Acknowledge, Handler: http.HandlerFunc(a.acknowledge)},
		get("burns", a.burns),
		get("burns/{number}", a.burn),
		get("sensors", a.sensors),
		get("upkeep", a.upkeep),
		get("notes", a.notes),
		{Pattern: "POST " + prefix + "notes", Needs: access.Log, Handler: http.HandlerFunc(a.note)},
		get("about", a.about),
		get("commissioning", a.commissioning),
		get("trend", a.trend),
		get("trend/statistics", a.statistics),
		{Pattern: "GET " + prefix + "trend/export", Needs: access.Read, Handler: http.HandlerFunc(a.export)},
		get("openapi.json", a.openapi),
	}
	rest := elsewhere(all)
	for _, m := range methods {
		all = append(all, access.Route{Pattern: m + " " + prefix + "{rest...}", Needs: access.Read, Handler: rest})
	}
	return all
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
