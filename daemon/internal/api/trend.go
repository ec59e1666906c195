package api

import (
	"net/http"

	"fluewright/daemon/internal/trend"
)

// trend answers /api/v1/trend?from=&to=&channels=&columns= with a [trend.Course].
func (a *API) trend(w http.ResponseWriter, r *http.Request) {
	q, window, ok := a.ask(w, r, "from", "to", "since", "burn", "channels", "columns")
	if !ok {
		return
	}
	c, err := trend.Look(r.Context(), a.o.History, window, a.fitted(&q), q.columns)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.answer(w, r, c)
}

// statistics answers /api/v1/trend/statistics?from=&to= with [trend.Statistics].
func (a *API) statistics(w http.ResponseWriter, r *http.Request) {
	q, window, ok := a.ask(w, r, "from", "to", "since", "burn", "channels")
	if !ok {
		return
	}
	s, err := window.Sum(r.Context(), a.o.History, a.o.Site, a.fitted(&q))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.answer(w, r, s)
}

// ask reads what is asked for, and finds the window; it answers itself where there is none.
func (a *API) ask(w http.ResponseWriter, r *http.Request, allowed ...string) (q question, window trend.Window, ok bool) {
	if a.o.History == nil {
		Refuse(w, http.StatusNotFound, "This monitor keeps no history.")
		return q, window, false
	}
	q, err := read(r.URL.Query(), allowed...)
	if err != nil {
		Refuse(w, http.StatusBadRequest, err.Error())
		return q, window, false
	}
	if window, err = q.pick.Window(r.Context(), a.o.History); err != nil {
		Refuse(w, http.StatusNotFound, err.Error())
		return q, window, false
	}
	return q, window, true
}

// fail says that the history could not be read.
func (a *API) fail(w http.ResponseWriter, r *http.Request, err error) {
	if r.Context().Err() != nil {
		return // whoever asked has gone
	}
	a.o.Log.Error("cannot read the history for a request", "path", r.URL.Path, "error", err)
	Refuse(w, http.StatusInternalServerError, "The history cannot be read: "+err.Error())
}
