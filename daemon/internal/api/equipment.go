package api

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"net/http"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/about"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/instruments"
	"fluewright/daemon/internal/status"
)

// Sensors is how chips and wiring do.
type Sensors struct {
	Moment
	Instruments []instruments.Instrument `json:"instruments"`
	Supply      instruments.Supply       `json:"supply"`
}

// About is what the monitor consists of.
type About struct {
	Build about.Build `json:"build"`
	// Configuration is the text that was read at the start, without what could be a secret;
	// empty where there was none.
	Configuration string `json:"configuration"`
	// History is how the history does; null where none is kept.
	History *HistoryHealth `json:"history"`
	// OpenAPI is where this interface is described.
	OpenAPI string `json:"openapi"`
}

// HistoryHealth is how the history does.
type HistoryHealth struct {
	File string `json:"file"`
	// State is "opening", "fine", or what is the matter.
	State string `json:"state"`
	// Impaired says that more would be lost at a power cut than should be, or was lost
	// within the hour.
	Impaired bool       `json:"impaired"`
	Error    string     `json:"error,omitempty"`
	Bytes    int64      `json:"size_bytes"`
	Used     int64      `json:"used_bytes"`
	From     *time.Time `json:"from"`
	To       *time.Time `json:"to"`
	// Written is when something was last written; null if never since the start.
	Written  *time.Time `json:"written_at"`
	Commits  uint64     `json:"commits"`
	Failures uint64     `json:"failures"`
	// Rows and events that are in memory alone, and those that were lost.
	Pending       int    `json:"pending_rows"`
	PendingEvents int    `json:"pending_events"`
	Dropped       uint64 `json:"lost_rows"`
	Lost          uint64 `json:"lost_events"`
	Unreadable    uint64 `json:"unreadable_pieces"`
	Trimmed       uint64 `json:"trimmed_rows"`
	SetAside      string `json:"set_aside,omitempty"`
}

// Commissioning is where the site's commissioning is.
type Commissioning struct {
	// UnderWay is the procedure; null where none is under way.
	UnderWay *Procedure `json:"under_way"`
	// Last is the record of the last commissioning; null where there is none, or where
	// LastError says why it cannot be shown.
	Last      *commission.Record `json:"last"`
	LastError string             `json:"last_error,omitempty"`
}

// Procedure is a commissioning under way, in words.
type Procedure struct {
	Verdict string `json:"verdict"`
	Step    string `json:"step"`
	Task    string `json:"task"`
	Title   string `json:"title"`
	// Why and Do are sentences for the installer.
	Why string `json:"why"`
	Do  string `json:"do"`
	// Running says that it is measured now, and Doing how far that has come.
	Running bool   `json:"running"`
	Doing   string `json:"doing,omitempty"`
	Steps   []Step `json:"steps"`
}

// Step is one step with what came of it.
type Step struct {
	Step    string `json:"step"`
	Title   string `json:"title"`
	Outcome string `json:"outcome"`
	Reason  string `json:"reason,omitempty"` // why it was skipped
	Found   []Line `json:"findings"`
}

// Line is a finding in words.
type Line struct {
	// Grade is "noted", "good", "caution", "bad" or "stop".
	Grade  string `json:"grade"`
	Text   string `json:"text"`
	Advice string `json:"advice,omitempty"`
}

// Commission is the site's commissioning, as far as it is shown.
type Commission interface {
	View() (commission.View, bool)
	Last() (commission.Record, error)
}

// sensors answers /api/v1/sensors with [Sensors].
func (a *API) sensors(w http.ResponseWriter, r *http.Request) {
	if s, silence, ok := a.now(w, r); ok {
		report := instruments.Of(s, a.scatter(r, s), silence)
		a.answer(w, r, Sensors{momentOf(s, silence), report.Instruments, report.Supply})
	}
}

// scatter reads the last minutes; where that cannot be, there is none.
func (a *API) scatter(r *http.Request, s *status.Status) [frame.Count]float64 {
	var none [frame.Count]float64
	for c := range none {
		none[c] = math.NaN()
	}
	if a.o.History == nil {
		return none
	}
	ctx, cancel := context.WithTimeout(r.Context(), patience)
	defer cancel()
	all, err := instruments.Scatter(ctx, a.o.History, s.Wall)
	if err != nil {
		a.o.Log.Warn("cannot read the last minutes for a request", "path", r.URL.Path, "error", err)
		return none
	}
	return all
}

// about answers /api/v1/about with [About].
func (a *API) about(w http.ResponseWriter, r *http.Request) {
	if !a.plain(w, r) {
		return
	}
	out := About{Build: a.build, Configuration: a.configuration, OpenAPI: prefix + "openapi.json"}
	if a.o.Health != nil {
		h := a.o.Health()
		out.History = &HistoryHealth{
			File: h.Path, State: h.State.String(), Impaired: h.Impaired(), Bytes: h.Bytes, Used: h.UsedBytes,
			Written: known(h.LastCommit), Commits: h.Commits, Failures: h.Failures, Pending: h.Pending, PendingEvents: h.PendingEvents,
			Dropped: h.Dropped, Lost: h.Lost, Unreadable: h.Unreadable, Trimmed: h.Trimmed, SetAside: h.SetAside,
		}
		if h.Err != nil {
			out.History.Error = h.Err.Error()
		}
		if a.o.Kept != nil {
			from, to := a.o.Kept.Span()
			out.History.From, out.History.To = known(from), known(to)
		}
	}
	a.answer(w, r, out)
}

// commissioning answers /api/v1/commissioning with [Commissioning].
func (a *API) commissioning(w http.ResponseWriter, r *http.Request) {
	if !a.plain(w, r) {
		return
	}
	out := Commissioning{}
	if a.o.Commission == nil {
		a.answer(w, r, out)
		return
	}
	if v, ok := a.o.Commission.View(); ok {
		out.UnderWay = procedure(&v)
	}
	last, err := a.o.Commission.Last()
	switch {
	case err == nil:
		out.Last = &last
	case !errors.Is(err, fs.ErrNotExist):
		out.LastError = err.Error()
	}
	a.answer(w, r, out)
}

var grades = map[commissioning.Grade]string{
	commissioning.Noted: "noted", commissioning.Good: "good", commissioning.Caution: "caution", commissioning.Bad: "bad", commissioning.Stop: "stop",
}

func procedure(v *commission.View) *Procedure {
	p := &Procedure{
		Verdict: string(v.Verdict), Step: v.Now.String(), Task: string(v.Task), Title: v.Title, Why: v.Why, Do: v.Do,
		Running: v.Running, Doing: v.Doing, Steps: []Step{},
	}
	for i := range v.Steps {
		s := &v.Steps[i]
		one := Step{s.Step.String(), s.Title, s.Outcome, s.Reason, []Line{}}
		for _, l := range s.Lines {
			one.Found = append(one.Found, Line{grades[l.Grade], l.Text, l.Advice})
		}
		p.Steps = append(p.Steps, one)
	}
	return p
}
