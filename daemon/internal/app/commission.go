package app

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/chimney"
	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
)

// commissionDesk sets up the site's commissioning, fed by the loop's ticks and kept over
// restarts. Its records go into the history, where there is one.
func (h *house) commissionDesk(l *loop, store *history.Store) *commission.Desk {
	now := l.clock.Now()
	o := commission.DeskOptions{
		Dir: h.options.State, Units: h.cfg.Site.Units, Say: h.log.Error,
		Site:  knownSite(h.cfg.Analysis),
		About: func() commission.About { return h.aboutSite() },
	}
	if store != nil {
		o.Keep = store.Commissioning
	}
	desk := commission.NewDesk(o, now.Round(0), l.trusted(now))
	l.after = append(l.after, func(s *status.Status) {
		desk.Step(lookOf(s), s.Wall, s.ClockTrusted)
	})
	save := func() {
		if err := desk.Save(); err != nil {
			h.log.Error("the commissioning under way is not kept", "error", err)
		}
	}
	h.tasks = append(h.tasks, task{"commissioning", func(ctx context.Context) error {
		for {
			select {
			case <-ctx.Done():
				return nil
			case <-desk.Wake():
				save()
			}
		}
	}})
	h.ends = append(h.ends, func() error { save(); return nil })
	if h.options.Commission != nil {
		h.tasks = append(h.tasks, task{"conversation", func(ctx context.Context) error { return h.options.Commission(ctx, desk) }})
	}
	return desk
}

// lookOf returns a tick as the procedure sees it: readings with a number. What the analysis
// doubts is among them: a hose that is taken off on purpose looks like one that came off.
func lookOf(s *status.Status) commissioning.Look {
	l := commissioning.Look{At: s.Frame.At, Phase: s.Assessment.Phase}
	for c, in := range s.Frame.Inputs {
		l.Values[c] = math.NaN()
		if in.Usable() {
			l.Values[c] = in.Value
		}
	}
	if s.Assessment.PhaseHeld {
		l.Phase = 0 // nobody knows
	}
	return l
}

// aboutSite says what a report names beside the measurements.
func (h *house) aboutSite() commission.About {
	a := commission.About{Site: h.cfg.Site.Name, Software: h.options.Version, Units: h.cfg.Site.Units, Made: time.Now()}
	a.Demo = h.options.Notice != "" // which says that nothing is measured
	s := h.feed.Latest()
	if s == nil {
		return a
	}
	a.Made, a.ClockTrusted = s.Wall, s.ClockTrusted
	for _, in := range s.Sensors {
		var channels []string
		for _, c := range in.Channels {
			channels = append(channels, c.String())
		}
		i := commission.Instrument{Channels: strings.Join(channels, ", "), Chip: in.Chip, Serial: in.Serial}
		switch {
		case in.Refused != "":
			i.Note = "its calibration is not used: " + in.Refused
		case in.Calibration != nil:
			i.Note = fmt.Sprintf("calibrated %s", in.Calibration.Time.Format("2 Jan 2006"))
		}
		a.Instruments = append(a.Instruments, i)
	}
	return a
}

// knownSite is what the configuration knows of the site.
func knownSite(s analysis.Settings) commissioning.Site {
	site := commissioning.Site{
		DraftLow: s.DraftLow, DraftHigh: s.DraftHigh, Altitude: s.Altitude, Construction: commissioning.Insulated,
		AboveRoof: 1, AboveNear: 1,
		Regulator: commissioning.Regulator{Fitted: !s.Regulator.Unfitted},
	}
	c, k := s.Chimney.Chimney, s.Chimney.Connector
	site.Height, site.Diameter, site.Outside = c.Rise, c.Diameter, c.Exposed > 0.5
	switch {
	case c.Roughness == chimney.RoughBrick:
		site.Construction = commissioning.Masonry
	case c.Length > 0 && c.Resistance == 0:
		site.Construction = commissioning.SingleWall
	}
	site.ConnectorLength, site.ConnectorRise = k.Length, k.Rise
	if k.Diameter != c.Diameter {
		site.ConnectorDiameter = k.Diameter
	}
	return site
}
