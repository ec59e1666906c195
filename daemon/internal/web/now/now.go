// Package now is the owner's page: how things are at this moment, and what to do. It works
// without JavaScript, by reloading; with it, the parts that change arrive each second as
// server-sent events.
package now

import (
	"context"
	"embed"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/api"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/verdict"
	"fluewright/daemon/internal/web/layout"
)

//go:embed now.html alarms.html
var files embed.FS

//go:embed refused.html
var refusedFiles embed.FS

// Assets are the page's script and style sheet.
//
//go:embed assets
var Assets embed.FS

// Units writes quantities in the site's units.
type Units interface {
	Temperature(celsius float64) string
	Pressure(pascals float64) string
	AbsolutePressure(pascals float64) string
}

// Actions is what a person may do about an alarm.
type Actions interface {
	// Acknowledge takes one occurrence in the name of by. What is refused is a
	// *command.Refusal.
	Acknowledge(ctx context.Context, by string, key alarm.Key, occurrence uint32) error
	// Taker says who has taken an occurrence, and when; ok is false where that is not known.
	Taker(key alarm.Key, occurrence uint32) (by string, at time.Time, ok bool)
}

// Options is what the page is made from.
type Options struct {
	Shell   *layout.Shell
	Feed    *status.Feed
	Verdict verdict.Site
	Units   Units
	// Actions is what a person may do; nil where nobody may do anything.
	Actions Actions
	// History is what the course of the burn is drawn from, nil where nothing is kept, and
	// Site how.
	History trend.History
	Site    trend.Site
	// Limits are the temperatures above which a channel is too hot, °C; zero for none.
	Limits [frame.Count]float64
	// DraftLow and DraftHigh are the band that the appliance asks for, Pa.
	DraftLow, DraftHigh float64
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
	Log        *slog.Logger
}

// Page renders the newest tick.
type Page struct {
	o        Options
	template *layout.Template
	refused  *layout.Template
	live     *live
	pictures pictures
}

// New makes the page.
func New(o Options) *Page {
	p := &Page{
		o:        o,
		template: o.Shell.Parse(files, "now.html", "alarms.html"),
		refused:  o.Shell.Parse(refusedFiles, "refused.html"),
	}
	p.live = newLive(p.fragment)
	return p
}

// Routes are the page, its stream and its picture, and how an alarm is taken.
func (p *Page) Routes() []access.Route {
	return []access.Route{
		{Pattern: "GET /{$}", Needs: access.Read, Handler: api.Compact(http.HandlerFunc(p.serve))},
		{Pattern: "GET /events", Needs: access.Read, Handler: p.live},
		{Pattern: "GET /now/course.svg", Needs: access.Read, Handler: api.Compact(http.HandlerFunc(p.course))},
		{Pattern: "POST /alarms/acknowledge", Needs: access.Acknowledge, Handler: http.HandlerFunc(p.acknowledge)},
	}
}

// Run sends what changes to whoever has the page open, until ctx ends.
func (p *Page) Run(ctx context.Context) { p.live.run(ctx, p.o.Feed.SubscribeTo(ctx, alarmChanged)) }

// view is the page as the template takes it: words only, no decisions left.
type view struct {
	Level    string // for the style sheet
	Word     string // the same in a word, since colour alone says nothing
	Headline string
	Action   string
	AsOf     string
	Clock    string // what is wrong with the clock, if anything

	Alarms  []group // that stand and nobody has taken, the first ones
	More    []group // the others of them
	Taken   []group // that stand and somebody has
	Over    *group  // that are over and nobody has taken
	Raised  string  // what a screen reader says at once
	Draft   draftView
	Gauges  []readingView // temperatures at the fire and of the warm air
	Others  []readingView
	Fire    fireView
	Watched []watchedView
}

var words = map[verdict.Level]string{
	verdict.Checking: "Checking", verdict.Blind: "Blind", verdict.Alarm: "Alarm", verdict.Well: "Well",
}

// silence returns how long nothing has been read, if that is too long, else zero.
func (p *Page) silence() time.Duration {
	if age, ok := p.o.Feed.Age(); ok && age > p.o.StaleAfter {
		return age
	}
	return 0
}

func (p *Page) view() view {
	s, silence := p.o.Feed.Latest(), p.silence()
	judged := p.o.Verdict.Judge(s, silence)
	v := view{
		Level: judged.Level.String(), Word: words[judged.Level], Headline: judged.Headline, Action: judged.Action,
	}
	if s == nil {
		return v
	}
	v.AsOf = s.Wall.Format("15:04:05")
	if !s.ClockTrusted {
		v.Clock = "The monitor's clock is not set: times of day may be wrong."
	}
	p.alarms(&v, s, judged.Standing, silence)
	for _, c := range frame.All() {
		switch {
		case !p.o.Verdict.Fitted[c]:
		case slices.Contains(gauged, c):
			v.Gauges = append(v.Gauges, p.reading(s, c, silence))
		default:
			v.Others = append(v.Others, p.reading(s, c, silence))
		}
	}
	v.Draft = p.draft(s, silence)
	v.Fire = p.fire(s, silence > 0 || !judged.SeesFire())
	for _, a := range s.Assessment.Alarms {
		v.Watched = append(v.Watched, watchedView{verdict.Name(a.Key), watched(a, silence)})
	}
	return v
}

// fireView says how the fire burns, and how it got there.
type fireView struct {
	Phase, For, Burn string
	Course           *courseView
}

// fire says how the fire burns; blind, that it cannot be told.
func (p *Page) fire(s *status.Status, blind bool) (v fireView) {
	a := &s.Assessment
	v.Course = p.courseOf(s)
	switch {
	case blind:
		v.Phase = "How the fire burns cannot be told: a reading is missing."
		return v
	case a.Phase == burn.Unknown:
		return v
	}
	v.Phase = verdict.PhaseSentence(a.Phase)
	v.For = verdict.Ago(s.Frame.At - a.PhaseSince)
	if a.Burning {
		v.Burn = "Burning for " + verdict.Ago(s.Frame.At-a.Burn.Start) + ", of that " + verdict.Ago(a.Burn.CleanBurn) + " clean."
	}
	return v
}

func (p *Page) serve(w http.ResponseWriter, r *http.Request) {
	v := p.view()
	asOf := "no reading yet"
	if v.AsOf != "" {
		asOf = "as of " + v.AsOf
	}
	p.template.Serve(w, r, http.StatusOK, layout.Page{
		Title: v.Word, AsOf: asOf, Reload: 10, Styles: []string{"now.css"}, Scripts: []string{"now.js"}, Data: v,
	})
}

// fragment returns the parts of the page that change, and the time that they are of.
func (p *Page) fragment() (parts []byte, asOf string, err error) {
	v := p.view()
	parts, err = p.template.Part("parts", v)
	return parts, v.AsOf, err
}
