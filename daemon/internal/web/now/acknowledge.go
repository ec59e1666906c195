package now

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/web/layout"
)

const (
	// mostTaken bounds what one form can name: more alarms than a site can have.
	mostTaken = 64
	// takeWithin is how long the loop may take to get to it: less than the answer may.
	takeWithin = 8 * time.Second
	// showWithin is how long the answer waits for the tick that shows it.
	showWithin = 3 * time.Second
)

// returns are the pages that have the form.
var returns = map[string]string{"": "/", "/": "/", "/alarms": "/alarms"}

// took is an occurrence that a form names.
type took struct {
	key        alarm.Key
	occurrence uint32
}

// acknowledge takes the occurrences that a form names: alarm, channel (may be empty) and
// occurrence, each as often as there are occurrences, and back, the page to return to.
// Nothing but the records of monitor and analysis changes.
func (p *Page) acknowledge(w http.ResponseWriter, r *http.Request) {
	if p.o.Actions == nil {
		p.refuse(w, r, http.StatusNotFound, "Alarms cannot be acknowledged here.")
		return
	}
	all, back, ok := read(r)
	if !ok {
		p.refuse(w, r, http.StatusBadRequest, "The form cannot be read. Load the page anew, and acknowledge what stands there.")
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), takeWithin)
	defer cancel()
	by := access.Of(r.Context()).Name
	for _, t := range all {
		err := p.o.Actions.Acknowledge(ctx, by, t.key, t.occurrence)
		var refused *command.Refusal
		switch {
		case err == nil:
		case errors.As(err, &refused) && refused.Reason == command.Stale:
			p.refuse(w, r, http.StatusConflict, "Something has happened since this page was made: the alarm was raised anew. Look at what stands now, and acknowledge that.")
			return
		case errors.As(err, &refused):
			p.refuse(w, r, http.StatusConflict, "It was not acknowledged: "+refused.Words+".")
			return
		default:
			p.o.Log.Warn("an alarm could not be acknowledged", "alarm", t.key.String(), "error", err)
			p.refuse(w, r, http.StatusServiceUnavailable, "It was not acknowledged: the monitor did not answer in time. Watch the furnace yourself, and try again.")
			return
		}
	}
	p.shown(r.Context(), all)
	http.Redirect(w, r, back, http.StatusSeeOther)
}

// read reads the form.
func read(r *http.Request) (all []took, back string, ok bool) {
	if r.ParseForm() != nil {
		return nil, "", false
	}
	names, channels, numbers := r.PostForm["alarm"], r.PostForm["channel"], r.PostForm["occurrence"]
	if n := len(names); n == 0 || n > mostTaken || len(channels) != n || len(numbers) != n {
		return nil, "", false
	}
	for i := range names {
		k := alarm.Key{Name: alarm.Name(names[i]), Channel: frame.Count}
		if channels[i] != "" {
			if k.Channel, ok = frame.Parse(channels[i]); !ok {
				return nil, "", false
			}
		}
		n, err := strconv.ParseUint(numbers[i], 10, 32)
		if _, declared := alarm.Declared(k.Name); err != nil || !declared {
			return nil, "", false
		}
		all = append(all, took{k, uint32(n)})
	}
	back, ok = returns[r.PostForm.Get("back")]
	return all, back, ok
}

// shown waits until a tick shows that all were taken, so that the page which comes next does
// too.
func (p *Page) shown(ctx context.Context, all []took) {
	ctx, cancel := context.WithTimeout(ctx, showWithin)
	defer cancel()
	for s := range p.o.Feed.Subscribe(ctx) {
		if showsAll(s, all) {
			return
		}
	}
}

func showsAll(s *status.Status, all []took) bool {
	left := len(all)
	for _, a := range s.Assessment.Alarms {
		for _, t := range all {
			if t.key == a.Key && (a.Acknowledged || a.Occurrence != t.occurrence) {
				left--
			}
		}
	}
	return left <= 0
}

// refuse answers with a page that says why nothing was done.
func (p *Page) refuse(w http.ResponseWriter, r *http.Request, code int, words string) {
	p.refused.Serve(w, r, code, layout.Page{Title: "Not acknowledged", Data: words})
}
