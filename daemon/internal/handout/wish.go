package handout

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
)

// details are the words for how much is wanted.
var details = map[string]history.Detail{"": history.FullRate, "full": history.FullRate, "minutes": history.ByMinute, "events": history.EventsOnly}

// Form is a wish in words: the parameters of a request, and the arguments of a command.
// From and To are RFC 3339.
type Form struct {
	Since  float64 `json:"since_seconds,omitempty"`
	From   string  `json:"from,omitempty"`
	To     string  `json:"to,omitempty"`
	Burn   string  `json:"burn,omitempty"` // "last" or a number
	Detail string  `json:"detail,omitempty"`
}

// FormOf writes a wish.
func FormOf(w Wish) Form {
	f := Form{Since: w.Since.Seconds(), Burn: w.Burn}
	if !w.From.IsZero() {
		f.From = w.From.UTC().Format(time.RFC3339Nano)
	}
	if !w.To.IsZero() {
		f.To = w.To.UTC().Format(time.RFC3339Nano)
	}
	for word, d := range details {
		if d == w.Detail && d != history.FullRate {
			f.Detail = word
		}
	}
	return f
}

// longest is what a window may count back: a hundred years.
const longest = 100 * 366 * 24 * time.Hour

// Wish reads a form.
func (f Form) Wish() (w Wish, err error) {
	if !(f.Since >= 0 && f.Since <= longest.Seconds()) {
		return w, fmt.Errorf("since is %g s: want more than 0 and at most 100 years", f.Since)
	}
	w.Pick = trend.Pick{Since: time.Duration(f.Since * float64(time.Second)), Burn: f.Burn}
	if len(f.Burn) > 20 {
		return w, errors.New("burn is too long: want \"last\" or a number")
	}
	var ok bool
	if w.Detail, ok = details[f.Detail]; !ok {
		return w, fmt.Errorf("detail is %.20q: want full, minutes or events", f.Detail)
	}
	for _, t := range []struct {
		text string
		into *time.Time
	}{{f.From, &w.From}, {f.To, &w.To}} {
		if t.text == "" {
			continue
		}
		if *t.into, err = time.Parse(time.RFC3339, t.text); err != nil {
			return w, fmt.Errorf("%.40q is no time: want one as 2026-01-31T21:00:00Z", t.text)
		}
	}
	return w, nil
}

// Values writes a form as the query of a request.
func (f Form) Values() url.Values {
	v := url.Values{}
	for name, text := range map[string]string{"from": f.From, "to": f.To, "burn": f.Burn, "detail": f.Detail} {
		if text != "" {
			v.Set(name, text)
		}
	}
	if f.Since > 0 {
		v.Set("since", time.Duration(f.Since*float64(time.Second)).String())
	}
	return v
}

// FromValues reads the query of a request. It is strict: a parameter that is misspelt would
// bring another window than the one asked for.
func FromValues(v url.Values) (Form, error) {
	var f Form
	for name, all := range v {
		if len(all) != 1 {
			return f, fmt.Errorf("%.20q is given more than once", name)
		}
		switch name {
		case "from":
			f.From = all[0]
		case "to":
			f.To = all[0]
		case "burn":
			f.Burn = all[0]
		case "detail":
			f.Detail = all[0]
		case "since":
			d, err := time.ParseDuration(all[0])
			if err != nil || d <= 0 {
				return f, fmt.Errorf("since is %s: want a length of time as 48h", strconv.QuoteToASCII(all[0][:min(len(all[0]), 20)]))
			}
			f.Since = d.Seconds()
		default:
			return f, fmt.Errorf("there is no %.20q: want since, from, to, burn and detail", name)
		}
	}
	return f, nil
}
