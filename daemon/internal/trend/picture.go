package trend

import (
	"context"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/panel"
)

// stacks are the panels and the channels in each.
var stacks = []struct {
	title    string
	quantity panel.Quantity
	channels []frame.Channel
}{
	{"Fire and flue gas", panel.Temperature, []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}},
	{"Draft", panel.Pressure, []frame.Channel{frame.Draft}},
	{"Air", panel.Temperature, []frame.Channel{frame.Plenum, frame.Return, frame.Room, frame.Outdoor}},
	{"Air pressure", panel.Absolute, []frame.Channel{frame.Ambient}},
}

// Picture draws a window.
func Picture(ctx context.Context, a *history.Archive, s Site, w Window, channels [frame.Count]bool, width int) (panel.Picture, error) {
	cfg := s.Config
	p := panel.Picture{
		Title: cfg.Site.Name, Prefix: "trend", From: w.From, To: w.To, Zone: s.Zone, Width: width, Units: cfg.Site.Units,
	}
	var which []frame.Channel
	for _, c := range frame.All() {
		if channels[c] {
			which = append(which, c)
		}
	}
	t, err := a.Trend(ctx, history.Window{From: w.From, To: w.To, Columns: width, Channels: which})
	if err != nil {
		return p, err
	}
	// A column is narrower than the readings are apart in a short window: four missing
	// readings are a gap, as everywhere.
	hold := max(4*max(t.Resolution, cfg.Sampling.Period), w.To.Sub(w.From)/time.Duration(width))
	series, coarse, err := fill(ctx, a, &t)
	if err != nil {
		return p, err
	}
	if coarse {
		hold = max(hold, 5*time.Minute/2)
	}
	for _, stack := range stacks {
		part := panel.Panel{Title: stack.title, Quantity: stack.quantity}
		for _, c := range stack.channels {
			k := slices.Index(which, c)
			if k < 0 {
				continue
			}
			part.Traces = append(part.Traces, panel.Trace{Name: c.String(), Columns: series[k], Hold: hold})
			if limit := cfg.Analysis.Limits[c]; limit > 0 {
				part.Limits = append(part.Limits, panel.Limit{Value: limit, Label: c.String() + " limit"})
			}
		}
		if stack.quantity == panel.Pressure {
			part.Band = &panel.Specified{Low: cfg.Analysis.DraftLow, High: cfg.Analysis.DraftHigh, Label: "specified"}
		}
		if part.Traces != nil {
			p.Panels = append(p.Panels, part)
		}
	}
	if p.Bands, err = bands(ctx, a, w); err != nil {
		return p, err
	}
	p.Marks, err = marks(ctx, a, w)
	return p, err
}

// fill turns a trend into columns to draw. Where rows are kept by the minute alone, a column
// narrower than that takes the minute whose middle lies in it; coarse says so.
func fill(ctx context.Context, a *history.Archive, t *history.Trend) (series [][]panel.Column, coarse bool, err error) {
	for _, s := range t.Series {
		all := make([]panel.Column, len(s))
		for i, c := range s {
			all[i] = drawn(c)
		}
		series = append(series, all)
	}
	if t.Resolution >= time.Minute {
		return series, false, nil
	}
	only, err := a.ByMinuteOnly(ctx, t.From, t.To)
	if err != nil || only == 0 {
		return series, false, err
	}
	n := int(t.To.Sub(t.From) / time.Minute)
	if n < 1 {
		return series, false, nil
	}
	m, err := a.Trend(ctx, history.Window{From: t.From, To: t.To, Columns: n, Channels: t.Channels})
	if err != nil {
		return nil, false, err
	}
	for k := range m.Series {
		for i, c := range m.Series[k] {
			if into := &series[k][(2*i+1)*t.Columns/(2*n)]; into.Count == 0 {
				*into = drawn(c)
			}
		}
	}
	return series, true, nil
}

func drawn(c history.Column) panel.Column {
	return panel.Column{Min: c.Min, Max: c.Max, Mean: c.Mean, Count: c.N}
}

// bands are the phases within a window. Time in which the program did not run has none, nor
// has the beginning of a run until a phase is told or was told before.
func bands(ctx context.Context, a *history.Archive, w Window) ([]panel.Band, error) {
	boots, err := a.Boots(ctx, w.From, w.To)
	if err != nil {
		return nil, err
	}
	var all []panel.Band
	for _, b := range boots {
		events, err := a.Events(ctx, "phases", b.From, w.To)
		if err != nil {
			return nil, err
		}
		events = slices.DeleteFunc(events, func(e history.Event) bool { return e.Run != b.Run })
		at, phase := b.From, burn.Unknown
		add := func(to time.Time) {
			from := at
			if from.Before(w.From) {
				from = w.From
			}
			if to.After(w.To) {
				to = w.To
			}
			if phase != burn.Unknown && from.Before(to) {
				all = append(all, panel.Band{From: from, To: to, Phase: phase})
			}
		}
		for i := range events {
			f := fields(events[i].Fields)
			if i == 0 {
				phase = phaseCalled(f.text("before"))
			}
			add(events[i].At)
			at, phase = events[i].At, phaseCalled(f.text("phase"))
		}
		add(b.To)
	}
	return all, nil
}

// phaseCalled is Unknown for a word that this version does not know.
func phaseCalled(word string) burn.Phase {
	for p := burn.Unknown; p <= burn.Coals; p++ {
		if p.String() == word {
			return p
		}
	}
	return burn.Unknown
}

// Spell is one time that an alarm stood.
type Spell struct {
	Name       string // with its channel
	Occurrence int64
	Priority   alarm.Priority
	// From and To are when it was raised and when it was over; From is zero where that was
	// before the history, To where it was not over at its end.
	From, To time.Time
	// State is the last one told.
	State        string
	Acknowledged time.Time
	// Message and Action are those of its raising, Causes of the last time they were told.
	Message, Action string
	Causes          string // JSON
}

// Spells returns the alarms that stood within a window, in the order of their raising.
func Spells(ctx context.Context, a *history.Archive, w Window) ([]Spell, error) {
	events, err := a.Events(ctx, "alarms", ever.From, ever.To)
	if err != nil {
		return nil, err
	}
	var all []Spell
	standing := map[string]int{}
	for i := range events {
		e := &events[i]
		f := fields(e.Fields)
		name := alarmName(f)
		change := f.text("change")
		at, known := standing[name]
		if change == "raised" || !known {
			at = len(all)
			all = append(all, Spell{Name: name, Occurrence: f.whole("occurrence"), Priority: priorityCalled(f.text("priority")), Message: f.text("message"), Action: f.text("action")})
			standing[name] = at
		}
		s := &all[at]
		s.State = f.text("state")
		switch change {
		case "raised":
			s.From = e.At
		case "acknowledged":
			s.Acknowledged = e.At
		case "cleared":
			s.To = e.At
			delete(standing, name)
		}
		if c := f.text("causes"); c != "" && s.To.IsZero() {
			s.Causes = c
		}
	}
	return slices.DeleteFunc(all, func(s Spell) bool {
		return !s.From.Before(w.To) || !s.To.IsZero() && s.To.Before(w.From)
	}), nil
}

func priorityCalled(word string) alarm.Priority {
	for _, p := range []alarm.Priority{alarm.High, alarm.Medium, alarm.Low} {
		if p.String() == word {
			return p
		}
	}
	return alarm.High // one that this version does not know is not played down
}

// marks are what happened within a window.
func marks(ctx context.Context, a *history.Archive, w Window) ([]panel.Mark, error) {
	spells, err := Spells(ctx, a, w)
	if err != nil {
		return nil, err
	}
	var all []panel.Mark
	for _, s := range spells {
		m := panel.Mark{Kind: panel.Alarm, From: s.From, To: s.To, Name: s.Name, Priority: s.Priority}
		if s.From.Before(w.From) {
			m.From = w.From
		}
		if s.To.IsZero() || s.To.After(w.To) {
			m.State, m.To = s.State, time.Time{}
		}
		all = append(all, m)
	}
	for _, kind := range []struct {
		table, name string
		kind        panel.Kind
	}{{"notices", "notice", panel.Notice}, {"loads", "", panel.Reload}, {"notes", "note", panel.Note}, {"commissionings", "", panel.Commissioning}} {
		events, err := a.Events(ctx, kind.table, w.From, w.To)
		if err != nil {
			return nil, err
		}
		for i := range events {
			m := panel.Mark{Kind: kind.kind, From: events[i].At, Name: fields(events[i].Fields).text(kind.name)}
			if at := fields(events[i].Fields).whole("laid_ms"); at > 0 {
				m.From = events[i].Moment(at)
			}
			all = append(all, m)
		}
	}
	doors, err := doors(ctx, a, w)
	return append(all, doors...), err
}

// doors are the times a door was open.
func doors(ctx context.Context, a *history.Archive, w Window) (all []panel.Mark, err error) {
	events, err := a.Events(ctx, "doors", w.From, w.To)
	if err != nil {
		return nil, err
	}
	open := false
	for i := range events {
		f := fields(events[i].Fields)
		if f.whole("open") != 0 || f["open"] == true {
			all, open = append(all, panel.Mark{Kind: panel.Door, From: events[i].Moment(f.whole("opened_ms"))}), true
		} else if open {
			all[len(all)-1].To, open = events[i].At, false
		}
	}
	return all, nil
}
