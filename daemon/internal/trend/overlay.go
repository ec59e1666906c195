package trend

import (
	"context"
	"fmt"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/panel"
)

// Overlay draws two burns over each other, from the start of each, a panel for each channel.
// What is behind the end of a burn is not drawn.
func Overlay(ctx context.Context, a History, s Site, first, second Burn, channels [frame.Count]bool, width int) (panel.Picture, error) {
	cfg := s.Config
	long := max(first.End.Sub(first.Start), second.End.Sub(second.Start), time.Minute)
	begin := time.Unix(0, 0)
	p := panel.Picture{
		Title: fmt.Sprintf("Burn %d and burn %d", first.No, second.No), Prefix: "overlay", From: begin, To: begin.Add(long),
		Width: width, Units: cfg.Site.Units, Elapsed: true,
	}
	var which []frame.Channel
	for _, stack := range stacks {
		for _, ch := range stack.channels {
			if channels[ch] && stack.quantity != panel.Absolute {
				which = append(which, ch)
			}
		}
	}
	if len(which) == 0 {
		return p, nil
	}
	var both [2]history.Trend
	var hold time.Duration
	for i, b := range []Burn{first, second} {
		t, err := a.Trend(ctx, history.Window{From: b.Start, To: b.Start.Add(long), Columns: width, Channels: which})
		if err != nil {
			return p, err
		}
		coarse, err := fill(ctx, a, &t)
		if err != nil {
			return p, err
		}
		c := Course{From: b.Start, To: b.Start.Add(long), Columns: width, ResolutionSeconds: t.Resolution.Seconds(), coarse: coarse}
		hold = max(hold, c.Hold(cfg.Sampling.Period))
		both[i] = t
	}
	for k, ch := range which {
		part := panel.Panel{Title: ch.String()}
		if ch == frame.Draft {
			part.Quantity = panel.Pressure
			part.Band = &panel.Specified{Low: cfg.Analysis.DraftLow, High: cfg.Analysis.DraftHigh, Label: "specified"}
		}
		if limit := cfg.Analysis.Limits[ch]; limit > 0 {
			part.Limits = []panel.Limit{{Value: limit, Label: ch.String() + " limit"}}
		}
		for i, b := range []Burn{first, second} {
			columns := both[i].Series[k]
			ended := int(b.End.Sub(b.Start)*time.Duration(width)/long) + 1
			s := Series{columns: columns[:min(ended, width)]}
			part.Traces = append(part.Traces, panel.Trace{
				Name: fmt.Sprintf("burn %d", b.No), Hold: hold, Columns: append(s.drawn(), make([]panel.Column, width-len(s.columns))...),
			})
		}
		p.Panels = append(p.Panels, part)
	}
	return p, nil
}
