package trendpage

import (
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/trend"
)

// cross is what a script needs to point at a picture and to read it. Times are ms since 1970.
type cross struct {
	From     int64 `json:"from_ms"`
	To       int64 `json:"to_ms"`
	KeptFrom int64 `json:"kept_from_ms"`
	KeptTo   int64 `json:"kept_to_ms"`
	// Query asks for this window again; Follows says that it then ends where the history does.
	Query   string `json:"query"`
	Follows bool   `json:"follows"`
	// Where the time lies in the picture, CSS px.
	Width  float64 `json:"width"`
	Height float64 `json:"height"`
	Left   float64 `json:"left"`
	Right  float64 `json:"right"`
	Top    float64 `json:"top"`
	Bottom float64 `json:"bottom"`

	Columns int `json:"columns"`
	// Hold is how many columns from one with a reading this one may be for it to be read here.
	Hold     int       `json:"hold"`
	Readouts []readout `json:"channels"`
	// Phases and Marks are null where there are so many that a moment has several.
	Phases []lasting `json:"phases"`
	Marks  []lasting `json:"marks"`
	// Zone says from when on the wall is so far ahead of UTC, and what that is called.
	Zone []offset `json:"zone"`
}

// readout is a channel's columns in words, in the site's units: the mean, and from the least
// to the greatest reading where those are others. Empty where nothing was read.
type readout struct {
	Name   string   `json:"name"`
	Unit   string   `json:"unit"`
	Texts  []string `json:"texts"`
	Ranges []string `json:"ranges"`
}

// lasting is something with its words; what is a moment has one time twice.
type lasting struct {
	From int64  `json:"from_ms"`
	To   int64  `json:"to_ms"`
	What string `json:"what"`
}

type offset struct {
	At      int64  `json:"at_ms"`
	Seconds int    `json:"seconds"`
	Name    string `json:"name"`
}

// mostTold is how many phases, and how many marks, a crosshair tells apart.
const mostTold = 600

func (p *Page) cross(c choice, course *trend.Course, d *panel.Drawn, happened []event) cross {
	x := cross{
		From: c.window.From.UnixMilli(), To: c.window.To.UnixMilli(), KeptFrom: c.kept.From.UnixMilli(), KeptTo: c.kept.To.UnixMilli(),
		Query: c.query(), Follows: c.since != 0 || c.burn == "now",
		Width: d.Width, Height: d.Height, Left: d.Left, Right: d.Right, Top: d.Top, Bottom: d.Bottom,
		Columns: course.Columns, Readouts: []readout{},
	}
	hold := course.Hold(p.o.Site.Config.Sampling.Period)
	x.Hold = int(hold.Seconds() / course.ColumnSeconds / 2) // either side of a gap that is none
	for i := range course.Channels {
		x.Readouts = append(x.Readouts, p.readout(&course.Channels[i]))
	}
	if len(course.Phases) <= mostTold {
		x.Phases = make([]lasting, 0, len(course.Phases))
		for _, f := range course.Phases {
			x.Phases = append(x.Phases, lasting{f.From.UnixMilli(), f.To.UnixMilli(), f.Phase})
		}
	}
	if len(happened) <= mostTold {
		x.Marks = make([]lasting, 0, len(happened))
		for i := range happened {
			e := &happened[i]
			x.Marks = append(x.Marks, lasting{e.from.UnixMilli(), e.to.UnixMilli(), e.What})
		}
	}
	x.Zone = offsets(c.window, p.o.Site.Zone)
	return x
}

func (p *Page) readout(s *trend.Series) readout {
	ch, _ := frame.Parse(s.Channel)
	r := readout{Name: s.Channel, Texts: make([]string, len(s.Mean)), Ranges: make([]string, len(s.Mean))}
	_, r.Unit = p.number(ch, 0)
	number := func(v float64) string {
		text, _ := p.number(ch, v)
		return text
	}
	for i, mean := range s.Mean {
		if s.Good[i] != s.Good[i] { // not a number: nothing was read
			continue
		}
		r.Texts[i] = number(mean)
		if low, high := number(s.Least[i]), number(s.Greatest[i]); low != high {
			r.Ranges[i] = low + " to " + high
		}
		if s.Good[i] < 0.5 {
			r.Ranges[i] += " doubtful"
		}
	}
	return r
}

// number writes a channel's value in the site's units, number and unit apart.
func (p *Page) number(c frame.Channel, v float64) (number, unit string) {
	u := p.o.Site.Config.Site.Units
	text := ""
	switch c {
	case frame.Draft:
		text = u.Pressure(v)
	case frame.Ambient:
		text = u.AbsolutePressure(v)
	default:
		text = u.Temperature(v)
	}
	number, unit, _ = strings.Cut(text, " ")
	return number, unit
}

// offsets are those of a zone within a window.
func offsets(w trend.Window, zone *time.Location) (all []offset) {
	at := w.From
	for !at.After(w.To) {
		name, seconds := at.In(zone).Zone()
		all = append(all, offset{at.UnixMilli(), seconds, name})
		_, next := at.In(zone).ZoneBounds()
		if next.IsZero() || !next.After(at) {
			break
		}
		at = next
	}
	return all
}
