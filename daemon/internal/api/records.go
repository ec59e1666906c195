package api

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/upkeep"
)

// OneBurn is a finished burn and what happened during it.
type OneBurn struct {
	trend.Burn
	// Happened says in words what did, in the order of time.
	Happened []trend.Done `json:"happened"`
}

// Upkeep is what there is to do.
type Upkeep struct {
	Jobs []upkeep.Job `json:"jobs"`
}

// burns answers /api/v1/burns?limit=&before= with a [trend.BurnPage].
func (a *API) burns(w http.ResponseWriter, r *http.Request) {
	a.page(w, r, func(ctx context.Context, before int64, limit int) (any, error) {
		return trend.LatestBurns(ctx, a.o.Kept, int(min(before, 1<<30)), limit)
	})
}

// burn answers /api/v1/burns/{number} with [OneBurn].
func (a *API) burn(w http.ResponseWriter, r *http.Request) {
	if !a.plain(w, r) || !a.keeps(w) {
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), patience)
	defer cancel()
	n, err := strconv.ParseUint(r.PathValue("number"), 10, 31)
	one, ok := OneBurn{}, false
	if err == nil && n > 0 {
		if one.Burn, ok, err = trend.BurnNumber(ctx, a.o.Kept, int(n)); err != nil {
			a.fail(w, r, err)
			return
		}
	}
	if !ok {
		Refuse(w, http.StatusNotFound, "There is no burn of that number on record.")
		return
	}
	one.Happened, err = trend.During(ctx, a.o.Kept, trend.Window{From: one.Start, To: one.End.Add(time.Millisecond)})
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.answer(w, r, one)
}

// notes answers /api/v1/notes?limit=&before= with a [trend.NotePage].
func (a *API) notes(w http.ResponseWriter, r *http.Request) {
	a.page(w, r, func(ctx context.Context, before int64, limit int) (any, error) {
		return trend.NoteLog(ctx, a.o.Kept, before, limit)
	})
}

// note keeps what somebody did or knows, in the name of whoever asks.
func (a *API) note(w http.ResponseWriter, r *http.Request) {
	var e command.Entry
	if !a.take(w, r, &e, e.Check) {
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), actWithin)
	defer cancel()
	if !a.refused(w, r, a.o.Actions.Note(ctx, access.Of(r.Context()).Name, e)) {
		w.WriteHeader(http.StatusNoContent)
	}
}

// upkeep answers /api/v1/upkeep with [Upkeep].
func (a *API) upkeep(w http.ResponseWriter, r *http.Request) {
	if !a.plain(w, r) {
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), patience)
	defer cancel()
	jobs, err := upkeep.List(ctx, a.o.Kept, upkeep.At(a.o.Feed.Latest(), a.wall(), a.o.Upkeep))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.answer(w, r, Upkeep{jobs})
}
