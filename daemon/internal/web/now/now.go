// Package now is the owner's page: how things are at this moment, and what to do. It works
// without JavaScript, by reloading; with it, the parts that change arrive each second as
// server-sent events.
package now

import (
	"context"
	"embed"
	"fmt"
	"net/http"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
	"fluewright/daemon/internal/web/layout"
	"fluewright/sensors"
)

//go:embed now.html
var files embed.FS

// Assets are the page's script.
//
//go:embed assets
var Assets embed.FS

// Units writes quantities in the site's units.
type Units interface {
	Temperature(celsius float64) string
	Pressure(pascals float64) string
	AbsolutePressure(pascals float64) string
}

// Options is what the page is made from.
type Options struct {
	Shell   *layout.Shell
	Feed    *status.Feed
	Verdict verdict.Site
	Units   Units
	// Limits are the temperatures above which a channel is too hot, °C; zero for none.
	Limits [frame.Count]float64
	// DraftLow and DraftHigh are the band that the appliance asks for, Pa.
	DraftLow, DraftHigh float64
	// StaleAfter is how long the newest tick counts as the present one.
	StaleAfter time.Duration
}

// Page renders the newest tick.
type Page struct {
	o        Options
	template *layout.Template
	live     *live
}

// New makes the page.
func New(o Options) *Page {
	p := &Page{o: o, template: o.Shell.Parse(files, "now.html")}
	p.live = newLive(p.fragment)
	return p
}

// Routes are the page and its stream.
func (p *Page) Routes() []access.Route {
	return []access.Route{
		{Pattern: "GET /{$}", Needs: access.Read, Handler: http.HandlerFunc(p.serve)},
		{Pattern: "GET /events", Needs: access.Read, Handler: p.live},
	}
}

// Run sends what changes to whoever has the page open, until ctx ends.
func (p *Page) Run(ctx context.Context) { p.live.run(ctx) }

// view is the page as the template takes it: words only, no decisions left.
type view struct {
	Level    string // for the style sheet
	Word     string // the same in a word, since colour alone says nothing
	Headline string
	Action   string
	AsOf     string
	Clock    string // what is wrong with the clock, if anything

	Alarms   []alarmView
	Draft    draftView
	Readings []readingView
	Phase    string
	PhaseFor string
	Burn     string
	Watched  []watchedView
}

type alarmView struct {
	Priority, Message, Action, For string
	Blind                          bool
}

type readingView struct {
	Name    string
	Value   string // empty without a usable reading
	State   string
	Missing bool
	Doubt   bool
	Over    bool // above its limit
	Limit   string
}

type watchedView struct{ Name, State string }

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
	for i, a := range judged.Standing {
		message, action := p.o.Verdict.Render(a, s)
		if i == 0 {
			action = "" // the verdict says it already
		}
		v.Alarms = append(v.Alarms, alarmView{
			a.Priority.String(), message, action, verdict.Ago(s.Frame.At - a.Since + silence), a.Blind || silence > 0,
		})
	}
	for _, c := range frame.All() {
		if p.o.Verdict.Fitted[c] {
			v.Readings = append(v.Readings, p.reading(s, c, silence))
		}
	}
	v.Draft = p.draft(s, silence)
	p.fire(&v, s, silence > 0 || slices.ContainsFunc(judged.Missing, atTheFire))
	for _, a := range s.Assessment.Alarms {
		v.Watched = append(v.Watched, watchedView{verdict.Name(a.Key), watched(a, silence)})
	}
	return v
}

// atTheFire holds for the channels that the phase is told by.
func atTheFire(c frame.Channel) bool {
	return c == frame.Firebox || c == frame.Chamber || c == frame.Flue
}

// fire says how the fire burns; blind, that it cannot be told.
func (p *Page) fire(v *view, s *status.Status, blind bool) {
	a := &s.Assessment
	switch {
	case blind:
		v.Phase = "How the fire burns cannot be told: a reading is missing."
		return
	case a.Phase == burn.Unknown:
		return
	}
	v.Phase = verdict.PhaseSentence(a.Phase)
	v.PhaseFor = verdict.Ago(s.Frame.At - a.PhaseSince)
	if a.Burning {
		v.Burn = "Burning for " + verdict.Ago(s.Frame.At-a.Burn.Start) + ", of that " + verdict.Ago(a.Burn.CleanBurn) + " clean."
	}
}

// watched says how an alarm stands, so that "normal" is never said of one that cannot
// be judged.
func watched(a alarm.Status, silence time.Duration) string {
	blind := a.Blind || silence > 0
	switch {
	case a.State == alarm.Unjudged:
		return "not judged yet"
	case a.State.Standing() && blind:
		return "standing; cannot be judged now"
	case a.State == alarm.Acknowledged:
		return "standing, acknowledged"
	case a.State == alarm.Shelved && a.Condition == alarm.Holds:
		return "standing, shelved by " + a.ShelvedBy
	case a.State == alarm.Shelved && !blind:
		return "shelved by " + a.ShelvedBy
	case a.State == alarm.Suppressed:
		return "not told while there is " + string(a.SuppressedBy)
	case a.State == alarm.Returned && !blind:
		return "over, not acknowledged"
	case a.State.Standing():
		return "standing"
	case blind:
		return "cannot be judged"
	default:
		return "normal"
	}
}

var channelNames = [frame.Count]string{
	frame.Firebox: "Firebox", frame.Chamber: "Gasification chamber", frame.Flue: "Flue gas", frame.Plenum: "Warm-air supply",
	frame.Return: "Return air", frame.Room: "Room", frame.Outdoor: "Outdoors", frame.Draft: "Draft", frame.Ambient: "Air pressure",
}

func (p *Page) reading(s *status.Status, c frame.Channel, silence time.Duration) readingView {
	r := readingView{Name: channelNames[c]}
	in := s.Frame.Inputs[c]
	age := s.Wall.Sub(s.Taken[c]) + silence
	if silence > 0 && in.Usable() {
		in = frame.Input{Quality: frame.Stale}
	}
	if limit := p.o.Limits[c]; limit != 0 {
		r.Limit = p.o.Units.Temperature(limit)
	}
	if !verdict.Readable(in) {
		r.Missing, r.State = true, why(in)
		if !s.Taken[c].IsZero() {
			r.State += "; last read " + verdict.Ago(age) + " ago"
		}
		return r
	}
	r.Value = p.quantity(c, in.Value)
	r.Over = p.o.Limits[c] != 0 && in.Value > p.o.Limits[c]
	r.State = "now"
	if age >= 3*time.Second {
		r.State = verdict.Ago(age) + " ago"
	}
	if in.Quality == frame.Suspect {
		r.Doubt = true
		r.State += ", doubtful"
		if title := sensors.Code(in.Fault).Info().Title; title != "" {
			r.State += ": " + title
		}
	}
	return r
}

func (p *Page) quantity(c frame.Channel, v float64) string {
	switch c {
	case frame.Draft:
		return p.o.Units.Pressure(v)
	case frame.Ambient:
		return p.o.Units.AbsolutePressure(v)
	default:
		return p.o.Units.Temperature(v)
	}
}

// why says why there is no reading.
func why(in frame.Input) string {
	switch in.Quality {
	case frame.Faulty:
		if title := sensors.Code(in.Fault).Info().Title; title != "" {
			return title
		}
		return "sensor at fault"
	case frame.Stale:
		return "too old"
	case frame.Absent:
		return "not read yet"
	default:
		return "not a number"
	}
}

func (p *Page) serve(w http.ResponseWriter, r *http.Request) {
	v := p.view()
	asOf := "no reading yet"
	if v.AsOf != "" {
		asOf = "as of " + v.AsOf
	}
	p.template.Serve(w, r, http.StatusOK, layout.Page{
		Title: v.Word, AsOf: asOf, Reload: 10, Scripts: []string{"now.js"}, Data: v,
	})
}

// fragment returns the parts of the page that change, and the time that they are of.
func (p *Page) fragment() (parts []byte, asOf string, err error) {
	v := p.view()
	parts, err = p.template.Part("parts", v)
	return parts, v.AsOf, err
}

// draftView is the draft against its band: words, and a bar of our own in SVG.
type draftView struct {
	Shown   bool // there is a draft sensor
	Value   string
	Means   string // what the number means, a sentence
	Missing string
	Bar     *bar
}

// bar holds the x positions of the drawing, in its 360 units of width.
type bar struct {
	Zero, Low, High, Width     float64
	Pointer                    float64
	Beyond                     string // "‹" or "›" where the value is off the scale
	LowText, HighText          string
	WeakAt, StrongAt, TurnedAt float64
}

const (
	barLeft, barRight = 8.0, 352.0
)

// draw places v and the band on a scale from half the upper limit below zero to twice
// the upper limit.
func draw(v, low, high float64, text func(float64) string) *bar {
	from, to := -high/2, 2*high
	x := func(v float64) float64 { return barLeft + (barRight-barLeft)*(v-from)/(to-from) }
	b := &bar{Zero: x(0), Low: x(low), High: x(high), LowText: text(low), HighText: text(high)}
	b.Width = b.High - b.Low
	b.TurnedAt, b.WeakAt, b.StrongAt = (barLeft+b.Zero)/2, (b.Zero+b.Low)/2, (b.High+barRight)/2
	b.Pointer = min(max(x(v), barLeft), barRight)
	switch {
	case v < from:
		b.Beyond = "‹"
	case v > to:
		b.Beyond = "›"
	}
	return b
}

func (p *Page) draft(s *status.Status, silence time.Duration) draftView {
	d := draftView{Shown: p.o.Verdict.Fitted[frame.Draft]}
	in := s.Assessment.Draft
	if silence > 0 || !verdict.Readable(in) || slices.Contains(p.o.Verdict.Judge(s, silence).Missing, frame.Draft) {
		d.Missing = "The draft cannot be told: there is no reading."
		return d
	}
	text := p.o.Units.Pressure
	d.Value = text(in.Value)
	low, high := p.o.DraftLow, p.o.DraftHigh
	if high <= 0 {
		d.Means = "No band is configured to hold it against."
		return d
	}
	d.Bar = draw(in.Value, low, high, text)
	asks := fmt.Sprintf("The appliance asks for %s to %s", text(low), text(high))
	switch cold := s.Assessment.Phase == burn.Cold; {
	case in.Value < 0 && cold:
		d.Means = "Turned: air comes down the chimney. There is no fire now; do not light one before the chimney pulls."
	case in.Value < 0:
		d.Means = "Turned: flue gas can come into the house."
	case in.Value < low && cold:
		d.Means = asks + " while it burns; without a fire a weaker draft is usual."
	case in.Value < low:
		d.Means = asks + ": this is too weak."
	case in.Value > high:
		d.Means = asks + ": this is too strong."
	default:
		d.Means = asks + ": this is within."
	}
	return d
}
