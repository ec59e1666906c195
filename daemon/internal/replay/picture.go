package replay

import (
	"math"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/forecast"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/units"
)

// Sketch collects what a picture of a log shows while the log is judged; its memory does
// not grow with the readings. Make it with NewSketch and give its Watch to Run.
type Sketch struct {
	settings analysis.Settings
	width    int

	from, last time.Time
	readings   [frame.Count]*panel.Reducer
	forecasts  [frame.Count][]panel.Forecast
	bands      []panel.Band
	marks      []panel.Mark
	standing   map[alarm.Key]int // the mark of each alarm that stands
	door       int               // the mark of the door that is open, or -1
}

// NewSketch returns one for a site, and for a picture of a width in CSS px.
func NewSketch(s analysis.Settings, width int) *Sketch {
	return &Sketch{settings: s, width: width, standing: map[alarm.Key]int{}, door: -1}
}

// pause is how long nothing may be read before nobody knows how the fire burns.
const pause = 5 * time.Minute

// Watch takes in one row and what was made of it.
func (s *Sketch) Watch(t time.Time, f frame.Frame, a *analysis.Assessment) {
	if s.from.IsZero() {
		s.from, s.last = t, t
	}
	for c, in := range f.Inputs {
		if !in.Usable() {
			continue
		}
		if s.readings[c] == nil {
			s.readings[c] = panel.NewReducer(s.from, s.width)
		}
		s.readings[c].Add(t, in.Value)
	}
	s.follow(t, a)
	for _, e := range a.Events {
		s.take(t.Add(e.At-f.At), e, a)
	}
	s.last = t
}

// follow keeps the phases. One that is only held, or that a pause follows, is not drawn
// on: what nobody saw is left blank.
func (s *Sketch) follow(t time.Time, a *analysis.Assessment) {
	if a.PhaseHeld {
		return
	}
	if n := len(s.bands); n > 0 && s.bands[n-1].To.Equal(s.last) && t.Sub(s.last) <= pause {
		latest := &s.bands[n-1]
		latest.To = t
		if latest.Phase == a.Phase {
			return
		}
	}
	s.bands = append(s.bands, panel.Band{From: t, To: t, Phase: a.Phase})
}

// take notes one event.
func (s *Sketch) take(t time.Time, e analysis.Event, a *analysis.Assessment) {
	switch e.Kind {
	case analysis.AlarmChanged:
		s.alarm(t, e, a)
	case analysis.Reloaded:
		s.marks = append(s.marks, panel.Mark{Kind: panel.Reload, From: t.Add(e.Load.At - e.At)})
	case analysis.DoorOpened:
		s.door = len(s.marks)
		s.marks = append(s.marks, panel.Mark{Kind: panel.Door, From: t.Add(e.Door.At - e.At)})
	case analysis.DoorClosed:
		if s.door >= 0 {
			s.marks[s.door].To = t.Add(e.Door.Closed - e.At)
			s.door = -1
		}
	case analysis.NoticeGiven:
		s.marks = append(s.marks, panel.Mark{Kind: panel.Notice, From: t, Name: string(e.Notice.Name)})
	}
}

// alarm notes what happened to one: it is drawn from its raising until it is over.
func (s *Sketch) alarm(t time.Time, e analysis.Event, a *analysis.Assessment) {
	at, stands := s.standing[e.Alarm.Key]
	switch {
	case e.Alarm.State.Standing() && !stands:
		name := string(e.Alarm.Key.Name)
		if e.Alarm.Key.Channel < frame.Count {
			name += " " + e.Alarm.Key.Channel.String()
		}
		s.standing[e.Alarm.Key] = len(s.marks)
		s.marks = append(s.marks, panel.Mark{Kind: panel.Alarm, From: t, Name: name, Priority: e.Alarm.Priority})
		if c := e.Alarm.Key.Channel; e.Alarm.Key.Name == alarm.Runaway && c < frame.Count {
			s.forecasts[c] = append(s.forecasts[c], course(t, a.Forecasts[c].Forecast))
		}
	case !e.Alarm.State.Standing() && stands:
		s.marks[at].To = t
		delete(s.standing, e.Alarm.Key)
	}
}

// course is the curve of a forecast: towards its peak, as quickly as it settles.
func course(t time.Time, f forecast.Forecast) panel.Forecast {
	if !f.Known {
		return nil
	}
	const steps = 10
	share := func(x float64) float64 { // of the rise, after a share of the horizon
		if h := forecast.Horizon.Seconds(); f.Settles > 0 && f.Settles < 10*h {
			return math.Expm1(-x*h/f.Settles) / math.Expm1(-h/f.Settles)
		}
		return x
	}
	all := make(panel.Forecast, 0, steps+1)
	for i := range steps + 1 {
		x := float64(i) / steps
		all = append(all, panel.Point{
			Time:        t.Add(time.Duration(x * float64(forecast.Horizon))),
			Value:       f.Level + float64((f.Peak-f.Level)*share(x)),
			Probability: f.Probability,
		})
	}
	return all
}

// stacks are the panels and the channels in each.
var stacks = []struct {
	title    string
	quantity panel.Quantity
	channels []frame.Channel
}{
	{"Fire and flue gas", panel.Temperature, []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}},
	{"Draft", panel.Pressure, []frame.Channel{frame.Draft}},
	{"Air", panel.Temperature, []frame.Channel{frame.Plenum, frame.Return, frame.Room, frame.Outdoor}},
}

// Picture returns what there is to draw, in the units and the time zone of the site; nil
// is the zone of the log's own clock.
func (s *Sketch) Picture(title string, u units.System, zone *time.Location) panel.Picture {
	if zone == nil {
		zone = s.from.Location()
	}
	p := panel.Picture{
		Title: title, Prefix: "burn", From: s.from, To: s.last, Zone: zone, Width: s.width, Units: u,
		Bands: s.bands, Marks: s.marks,
	}
	if !p.To.After(p.From) { // one row
		p.To = p.From.Add(time.Minute)
	}
	for _, stack := range stacks {
		drawn := panel.Panel{Title: stack.title, Quantity: stack.quantity}
		for _, c := range stack.channels {
			if r := s.readings[c]; r != nil {
				drawn.Traces = append(drawn.Traces, panel.Trace{
					Name: c.String(), Columns: r.Columns(p.From, p.To, s.width), Hold: r.Hold(), Last: r.Last(),
					Forecasts: s.forecasts[c],
				})
				if limit := s.settings.Limits[c]; limit > 0 {
					drawn.Limits = append(drawn.Limits, panel.Limit{Value: limit, Label: c.String() + " limit"})
				}
			}
		}
		if stack.quantity == panel.Pressure {
			drawn.Band = &panel.Specified{Low: s.settings.DraftLow, High: s.settings.DraftHigh, Label: "specified"}
		}
		if drawn.Traces != nil {
			p.Panels = append(p.Panels, drawn)
		}
	}
	return p
}
