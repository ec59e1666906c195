package trend

import (
	"context"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
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
func Picture(ctx context.Context, a History, s Site, w Window, channels [frame.Count]bool, width int) (panel.Picture, error) {
	c, err := Look(ctx, a, w, channels, width)
	if err != nil {
		return panel.Picture{}, err
	}
	return c.Picture(s, width), nil
}

// Picture draws it.
func (c *Course) Picture(s Site, width int) panel.Picture {
	cfg := s.Config
	p := panel.Picture{
		Title: cfg.Site.Name, Prefix: "trend", From: c.From, To: c.To, Zone: s.Zone, Width: width, Units: cfg.Site.Units,
	}
	hold := c.Hold(cfg.Sampling.Period)
	for _, stack := range stacks {
		part := panel.Panel{Title: stack.title, Quantity: stack.quantity}
		for _, ch := range stack.channels {
			series := c.series(ch)
			if series == nil {
				continue
			}
			part.Traces = append(part.Traces, panel.Trace{Name: ch.String(), Columns: series.drawn(), Hold: hold})
			if limit := cfg.Analysis.Limits[ch]; limit > 0 {
				part.Limits = append(part.Limits, panel.Limit{Value: limit, Label: ch.String() + " limit"})
			}
		}
		if stack.quantity == panel.Pressure {
			part.Band = &panel.Specified{Low: cfg.Analysis.DraftLow, High: cfg.Analysis.DraftHigh, Label: "specified"}
		}
		if part.Traces != nil {
			p.Panels = append(p.Panels, part)
		}
	}
	p.Bands, p.Marks = c.bands(), c.marks()
	return p
}

func (s *Series) drawn() []panel.Column {
	all := make([]panel.Column, len(s.columns))
	for i, c := range s.columns {
		all[i] = panel.Column{Min: c.Min, Max: c.Max, Mean: c.Mean, Count: c.N}
	}
	return all
}

func (h *Happened) bands() (all []panel.Band) {
	for _, p := range h.Phases {
		all = append(all, panel.Band{From: p.From, To: p.To, Phase: p.phase})
	}
	return all
}

// marks are what happened within the window.
func (c *Course) marks() (all []panel.Mark) {
	for i := range c.Alarms {
		s := &c.Alarms[i].spell
		m := panel.Mark{Kind: panel.Alarm, From: s.From, To: s.To, Name: s.Name, Priority: s.Priority}
		if s.From.Before(c.From) {
			m.From = c.From
		}
		if s.To.IsZero() || s.To.After(c.To) {
			m.State, m.To = s.State, time.Time{}
		}
		all = append(all, m)
	}
	for _, n := range c.Notices {
		all = append(all, panel.Mark{Kind: panel.Notice, From: n.Time, Name: n.Notice})
	}
	for _, l := range c.Loads {
		all = append(all, panel.Mark{Kind: panel.Reload, From: l.Time})
	}
	for _, n := range c.Notes {
		switch n.Kind {
		case "note", "fuel":
			all = append(all, panel.Mark{Kind: panel.Note, From: n.Time, Name: n.Text})
		case "commissioning":
			all = append(all, panel.Mark{Kind: panel.Commissioning, From: n.Time})
		}
	}
	for _, d := range c.Doors {
		m := panel.Mark{Kind: panel.Door, From: d.From}
		if d.To != nil {
			m.To = *d.To
		}
		all = append(all, m)
	}
	return all
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
