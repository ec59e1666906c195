package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"time"
)

// The length of pages.
const (
	usualLimit   = 50
	longestLimit = 1000
)

// patience is how long an answer waits for the history.
const patience = 5 * time.Second

// page answers with part of a list, ?limit=&before=, the newest first.
func (a *API) page(w http.ResponseWriter, r *http.Request, read func(ctx context.Context, before int64, limit int) (any, error)) {
	before, limit, err := paging(r.URL.RawQuery)
	if err != nil {
		Refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	if !a.keeps(w) {
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), patience)
	defer cancel()
	all, err := read(ctx, before, limit)
	if err != nil {
		a.fail(w, r, err)
		return
	}
	a.answer(w, r, all)
}

// paging reads ?limit=&before=; before is zero for the newest page.
func paging(query string) (before int64, limit int, err error) {
	v, err := url.ParseQuery(query)
	if err != nil {
		return 0, 0, errors.New("the parameters cannot be read")
	}
	limit = usualLimit
	for name, all := range v {
		if len(all) != 1 {
			return 0, 0, fmt.Errorf("%.20q is given more than once", name)
		}
		switch name {
		case "limit":
			if limit, err = strconv.Atoi(all[0]); err != nil || limit < 1 || limit > longestLimit {
				return 0, 0, fmt.Errorf("limit is %.20q: want 1 to %d", all[0], longestLimit)
			}
		case "before":
			if before, err = strconv.ParseInt(all[0], 10, 64); err != nil || before < 1 {
				return 0, 0, fmt.Errorf("before is %.20q: want what the page before gives as older", all[0])
			}
		default:
			return 0, 0, fmt.Errorf("there is no %.20q: want limit, before", name)
		}
	}
	return before, limit, nil
}

// plain refuses parameters where there are none.
func (a *API) plain(w http.ResponseWriter, r *http.Request) bool {
	if r.URL.RawQuery != "" {
		Refuse(w, http.StatusBadRequest, "There are no parameters here.")
		return false
	}
	return true
}

// keeps refuses where no history is kept.
func (a *API) keeps(w http.ResponseWriter) bool {
	if a.o.Kept == nil {
		Refuse(w, http.StatusNotFound, "This monitor keeps no history.")
		return false
	}
	return true
}

// maxSent is as much as anything needs that is sent here.
const maxSent = 16 << 10

// take reads what is sent as JSON into v, strictly: a member that is not known may be what
// the asker cares for. It answers itself where that cannot be taken.
func (a *API) take(w http.ResponseWriter, r *http.Request, v any, check func() error) bool {
	w.Header().Set("Cache-Control", "no-store")
	if !a.plain(w, r) {
		return false
	}
	if a.o.Actions == nil {
		Refuse(w, http.StatusNotFound, "Nothing can be done here.")
		return false
	}
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		w.Header().Set("Accept-Post", "application/json")
		Refuse(w, http.StatusUnsupportedMediaType, "Send it as application/json.")
		return false
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxSent))
	d.DisallowUnknownFields()
	err := d.Decode(v)
	if err == nil {
		if _, end := d.Token(); !errors.Is(end, io.EOF) {
			err = errors.New("something comes behind it")
		}
	}
	var much *http.MaxBytesError
	switch {
	case errors.As(err, &much):
		Refuse(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("At most %d bytes are taken here.", maxSent))
		return false
	case err != nil:
		Refuse(w, http.StatusBadRequest, fmt.Sprintf("What was sent cannot be read: %.100s.", err.Error()))
		return false
	}
	if err := check(); err != nil {
		Refuse(w, http.StatusUnprocessableEntity, "Not taken: "+err.Error()+".")
		return false
	}
	return true
}

// wall is the time of the newest tick.
func (a *API) wall() time.Time {
	if s := a.o.Feed.Latest(); s != nil {
		return s.Wall
	}
	return time.Now()
}
