package trendpage

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/trend"
)

// view is the page as the template takes it: words only, no decisions left.
type view struct {
	// Empty says why there is nothing to show, Refused why not what was asked for.
	Empty, Refused string

	Window string
	// Wide and Narrow are the addresses of the picture for browsers without scripts.
	Wide, Narrow   string
	From, To       string // for fields
	Lengths, Moves []link
	Warnings       []string
	Rows           []row
	Draft, Phases  string
	Events         []event
	More           string
	Exports        []link
	Burns          []chosen
	BurnsMore      bool
}

type row struct{ Name, Unit, Least, Mean, Greatest, Read, Doubt string }

// event is something that happened.
type event struct {
	When, What, Href string
	Kind             string

	from, to time.Time
}

type chosen struct {
	No     int
	Text   string
	A, B   bool
	Window string
}

// mostEvents is how many are listed.
const mostEvents = 60

func (p *Page) words(ctx context.Context, c choice, course *trend.Course, happened []event) (v view, err error) {
	v = view{
		Window: p.spanWords(c.window), Lengths: p.lengths(&c), Moves: c.moves(), Exports: exports(c.window),
		From: c.window.From.In(p.o.Site.Zone).Format(field), To: c.window.To.In(p.o.Site.Zone).Format(field),
	}
	v.Wide, v.Narrow = images("/trend/picture.svg", c.query())
	if course.Kept.Partial {
		v.Warnings = append(v.Warnings, "The file of the history cannot be read: this is only what the monitor remembers since.")
	}
	if n := course.Kept.Unreadable; n > 0 {
		v.Warnings = append(v.Warnings, fmt.Sprintf("Pieces of the history are damaged and left out: %d.", n))
	}
	sums, err := course.Sum(ctx, p.o.History, p.o.Site)
	if err != nil {
		return v, err
	}
	for _, s := range sums.Channels {
		v.Rows = append(v.Rows, p.row(s))
	}
	v.Draft, v.Phases = draftWords(sums.Draft, p.o.Site), phaseWords(sums.Phases)
	all := slices.Clone(happened)
	slices.Reverse(all)
	if n := len(all) - mostEvents; n > 0 {
		all = all[:mostEvents]
		v.More = fmt.Sprintf("And %d earlier in this window: choose a shorter one to see them.", n)
	}
	for i := range all {
		e := &all[i]
		e.When = e.from.In(p.o.Site.Zone).Format("Jan 2, 15:04")
		e.Href = "/trend?" + span(within(trend.Window{From: e.from.Add(-around), To: e.to.Add(around)}, c.kept))
	}
	v.Events = all
	return v, nil
}

// images are the addresses of a picture for a screen and for a phone.
func images(path, query string) (wide, narrow string) {
	return path + "?" + query + "&width=970", path + "?" + query + "&width=360"
}

// spanWords is a window in words.
func (p *Page) spanWords(w trend.Window) string {
	from, to := w.From.In(p.o.Site.Zone), w.To.In(p.o.Site.Zone)
	const date, clock = "Mon, Jan 2", "15:04"
	last := date + ", " + clock
	if from.Year() == to.Year() && from.YearDay() == to.YearDay() {
		last = clock
	}
	first := date + ", " + clock
	if from.Year() != to.Year() {
		first += ", 2006"
		last += ", 2006"
	}
	return from.Format(first) + " to " + to.Format(last) + to.Format(" MST")
}

func (p *Page) row(s trend.Sum) row {
	ch, _ := frame.Parse(s.Channel)
	text := func(v trend.Number) string {
		if math.IsNaN(float64(v)) {
			return "–"
		}
		number, _ := p.number(ch, float64(v))
		return number
	}
	_, unit := p.number(ch, 0)
	r := row{Name: s.Channel, Unit: unit, Least: text(s.Least), Mean: text(s.Mean), Greatest: text(s.Greatest), Read: percent(float64(s.ReadShare))}
	if s.Readings > 0 && s.GoodShare < 1 {
		r.Doubt = percent(1-float64(s.GoodShare)) + " doubtful"
	}
	return r
}

// percent never says all or nothing of what is not.
func percent(share float64) string {
	switch {
	case math.IsNaN(share):
		return "–"
	case share > 0 && share < 0.01:
		return "under 1 %"
	case share < 1 && share > 0.99:
		return "99 %"
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}

func draftWords(d *trend.DraftInBand, s trend.Site) string {
	if d == nil {
		return ""
	}
	u := s.Config.Site.Units
	asks := fmt.Sprintf("The appliance asks for %s to %s of draft. ", u.Pressure(d.Low), u.Pressure(d.High))
	if d.BurnSeconds == 0 {
		return asks + "In this window nothing burned while the draft was read."
	}
	by := ""
	if d.By == "burns" {
		by = " of the burns that ended in this window"
	}
	return asks + fmt.Sprintf("In %s%s of fire and coals it was within that for %s, below for %s, above for %s.",
		trend.Lasted(d.BurnSeconds), by, percent(float64(d.Within)), percent(float64(d.Below)), percent(float64(d.Above)))
}

func phaseWords(seconds map[string]float64) string {
	var parts []string
	for _, f := range burn.Phases() {
		if s := seconds[f.String()]; s > 0 {
			parts = append(parts, f.String()+" "+trend.Lasted(s))
		}
	}
	return strings.Join(parts, ", ")
}

// events are what happened, the earliest first.
func (p *Page) events(c *trend.Course) (all []event) {
	add := func(kind string, from time.Time, to *time.Time, what string) {
		e := event{Kind: kind, What: what, from: from, to: from}
		if to != nil {
			e.to = *to
		}
		all = append(all, e)
	}
	for i := range c.Alarms {
		a := &c.Alarms[i]
		from := c.From
		if a.From != nil {
			from = *a.From
		}
		to := c.To // it stands on
		what := "alarm, " + a.Priority + " priority: " + cmp.Or(a.Message, a.Alarm)
		if a.To != nil {
			to = *a.To
			what += "; for " + trend.Lasted(to.Sub(from).Seconds())
		} else {
			what += "; not over (" + a.State + ")"
		}
		if a.Acknowledged != nil {
			what += "; acknowledged " + a.Acknowledged.In(p.o.Site.Zone).Format("15:04")
		}
		add("alarm", from, &to, what)
	}
	for _, l := range c.Loads {
		what := "wood laid on"
		if l.Cold {
			what = "fire lit"
		}
		add("reload", l.Time, nil, what)
	}
	for _, d := range c.Doors {
		what := "door open"
		if d.To != nil {
			what += " for " + trend.Lasted(d.To.Sub(d.From).Seconds())
		}
		add("door", d.From, d.To, what)
	}
	for _, n := range c.Notices {
		add("notice", n.Time, nil, "notice: "+cmp.Or(n.Message, n.Notice))
	}
	for _, n := range c.Notes {
		what := n.Kind
		if n.Author != "" {
			what += " by " + n.Author
		}
		if n.Text != "" {
			what += ": " + n.Text
		}
		add("note", n.Time, nil, what)
	}
	slices.SortStableFunc(all, func(a, b event) int { return a.from.Compare(b.from) })
	return all
}

// exports are the files that a window can be had as.
func exports(w trend.Window) []link {
	const long = 7 * 24 * time.Hour
	v := url.Values{"from": {w.From.Format(stamp)}, "to": {w.To.Format(stamp)}}
	ask := func(format, every string) string {
		q := url.Values{"format": {format}}
		if every != "" {
			q.Set("every", every)
		}
		return "/api/v1/trend/export?" + v.Encode() + "&" + q.Encode()
	}
	rows, every := "every row", ""
	if w.To.Sub(w.From) > long {
		rows, every = "by the minute", "1m"
	}
	return []link{
		{Name: "Burn log (CSV, " + rows + ")", Href: ask("csv.gz", every)},
		{Name: "Parquet (" + rows + ")", Href: ask("parquet", every)},
		{Name: "JSON (as drawn)", Href: "/api/v1/trend?" + v.Encode()},
		{Name: "Report (HTML)", Href: ask("html", "")},
		{Name: "Bundle (all of it, for fluewright trend)", Href: "/api/bundle?" + v.Encode()},
	}
}

// mostBurns is how many can be chosen to be compared.
const mostBurns = 50

// burns are the last ones, the newest first.
func (p *Page) burns(ctx context.Context) (all []chosen, err error) {
	_, to := p.o.History.Span()
	some, err := trend.Burns(ctx, p.o.History, trend.Window{From: to.Add(-60 * 24 * time.Hour), To: to.Add(time.Minute)})
	if err != nil {
		return nil, err
	}
	slices.Reverse(some)
	for i, b := range some[:min(len(some), mostBurns)] {
		all = append(all, chosen{
			No: b.No, A: i == 1, B: i == 0, Window: "/trend?burn=" + strconv.Itoa(b.No),
			Text: b.Start.In(p.o.Site.Zone).Format("Mon, Jan 2, 15:04") + ", " + trend.Lasted(b.End.Sub(b.Start).Seconds()) + ", " + b.Kind,
		})
	}
	return all, nil
}
