package trendpage

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"time"

	"fluewright/daemon/internal/trend"
)

var (
	errNothing   = errors.New("nothing is kept yet")
	errWidth     = errors.New("width must be a whole number, CSS px")
	errParameter = errors.New("want since, or from and to, or burn, each once")
)

// asked is a window in words.
type asked struct{ since, from, to, burn string }

// choice is the window that is shown.
type choice struct {
	window, kept trend.Window
	// since is how far a window goes back that ends where the history does; zero: it stands.
	since time.Duration
	burn  string
}

// windows are the lengths that can be chosen, and how they are named.
var windows = []struct {
	name  string
	since time.Duration
}{
	{"1 h", time.Hour},
	{"6 h", 6 * time.Hour},
	{"24 h", 24 * time.Hour},
	{"7 d", 7 * 24 * time.Hour},
	{"30 d", 30 * 24 * time.Hour},
	{"Season", 200 * 24 * time.Hour},
}

const (
	usual    = 24 * time.Hour
	shortest = time.Minute
	// around is how much is shown before and after something.
	around = 15 * time.Minute
)

// find finds the window. One that reaches beyond what is kept is moved, and made shorter
// only where it is longer than that.
func (p *Page) find(ctx context.Context, a asked) (c choice, err error) {
	c.kept.From, c.kept.To = p.o.History.Span()
	if !c.kept.From.Before(c.kept.To) {
		return c, errNothing
	}
	switch {
	case a.burn != "" && a.since+a.from+a.to != "", a.since != "" && a.from != "":
		return c, errParameter
	case a.burn == "now":
		c.burn = a.burn
		from, ok := p.burning()
		if !ok {
			return c, errors.New("nothing burns now: choose the last burn instead")
		}
		c.window = trend.Window{From: from.Add(-around), To: c.kept.To}
	case a.burn != "":
		c.burn = a.burn
		b, err := trend.Find(ctx, p.o.History, a.burn)
		if err != nil {
			return c, err
		}
		c.window = trend.Window{From: b.Start.Add(-around), To: b.End.Add(around)}
	default:
		if c.window.To, err = p.moment(a.to, c.kept.To); err != nil {
			return c, err
		}
		since := usual
		if a.since != "" {
			if since, err = time.ParseDuration(a.since); err != nil || since <= 0 || since > 100*366*24*time.Hour {
				return c, fmt.Errorf("since is %.20q: want a length of time as 48h", a.since)
			}
		}
		if c.window.From, err = p.moment(a.from, c.window.To.Add(-since)); err != nil {
			return c, err
		}
		if a.from == "" && a.to == "" {
			c.since = since
		}
		if !c.window.From.Before(c.window.To) {
			return c, errors.New("the end must be after the beginning")
		}
	}
	c.window = within(c.window, c.kept)
	return c, nil
}

// within moves a window into what is kept.
func within(w, kept trend.Window) trend.Window {
	long := w.To.Sub(w.From)
	if long < shortest {
		long = shortest
		w.From = w.From.Add(w.To.Sub(w.From)/2 - long/2)
		w.To = w.From.Add(long)
	}
	switch {
	case long >= kept.To.Sub(kept.From):
		w = kept
	case w.To.After(kept.To):
		w = trend.Window{From: kept.To.Add(-long), To: kept.To}
	case w.From.Before(kept.From):
		w = trend.Window{From: kept.From, To: kept.From.Add(long)}
	}
	return trend.Window{From: w.From.UTC(), To: w.To.UTC()}
}

// burning returns when the burn began that goes on.
func (p *Page) burning() (from time.Time, ok bool) {
	if s := p.o.Feed.Latest(); s != nil && s.Assessment.Burning {
		return s.WallOf(s.Assessment.Burn.Start), true
	}
	return from, false
}

// moment reads RFC 3339, or what a field for date and time gives, in the site's zone.
func (p *Page) moment(text string, otherwise time.Time) (time.Time, error) {
	if text == "" {
		return otherwise, nil
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil && t.Year() >= 0 && t.Year() < 10000 {
		return t, nil
	}
	for _, form := range []string{field, "2006-01-02T15:04:05"} {
		if t, err := time.ParseInLocation(form, text, p.o.Site.Zone); err == nil {
			return t, nil
		}
	}
	return otherwise, fmt.Errorf("%.40q is no time: want one as 2026-01-31T21:00", text)
}

// field is how a field for date and time writes.
const field = "2006-01-02T15:04"

// query asks for this window.
func (c *choice) query() string {
	v := url.Values{}
	switch {
	case c.burn != "":
		v.Set("burn", c.burn)
	case c.since != 0:
		v.Set("since", hours(c.since))
	default:
		return span(c.window)
	}
	return v.Encode()
}

// hours writes a length as a query has it.
func hours(d time.Duration) string {
	if d%time.Hour == 0 {
		return fmt.Sprintf("%dh", d/time.Hour)
	}
	return d.String()
}

// span asks for a window by its ends.
func span(w trend.Window) string {
	return url.Values{"from": {w.From.UTC().Format(stamp)}, "to": {w.To.UTC().Format(stamp)}}.Encode()
}

const stamp = "2006-01-02T15:04:05.999Z07:00"

// link is a way to another window; one that leads nowhere has no address.
type link struct {
	Name, Href string
	Here       bool
}

// lengths are the ways to the windows that end now, to the burn and the last burn.
func (p *Page) lengths(c *choice) (all []link) {
	for _, w := range windows {
		all = append(all, link{Name: w.name, Href: "/trend?since=" + hours(w.since), Here: c.since == w.since})
	}
	if _, ok := p.burning(); ok {
		return append(all, link{Name: "This burn", Href: "/trend?burn=now", Here: c.burn == "now"})
	}
	return append(all, link{Name: "Last burn", Href: "/trend?burn=last", Here: c.burn == "last"})
}

// moves are the ways to the windows beside, within and around.
func (c *choice) moves() []link {
	w, long := c.window, c.window.To.Sub(c.window.From)
	middle := w.From.Add(long / 2)
	to := func(name string, from, to time.Time) link {
		moved := within(trend.Window{From: from, To: to}, c.kept)
		if moved.From.Equal(w.From) && moved.To.Equal(w.To) {
			return link{Name: name}
		}
		return link{Name: name, Href: "/trend?" + span(moved)}
	}
	return []link{
		to("Earlier", w.From.Add(-long/2), w.To.Add(-long/2)),
		to("Later", w.From.Add(long/2), w.To.Add(long/2)),
		to("Zoom in", middle.Add(-long/4), middle.Add(long/4)),
		to("Zoom out", middle.Add(-long), middle.Add(long)),
	}
}
