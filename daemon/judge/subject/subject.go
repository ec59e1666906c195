// Package subject holds who is judged: the engine itself, a program that reads burn
// logs, and a fixed threshold to hold both against.
package subject

import (
	"fmt"
	"math"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/score"
)

// Judge is told a night frame by frame and says what changed. What it returns is valid
// until the next step.
type Judge interface {
	Step(frame.Frame) []score.Said
}

// Frame makes a frame of a row, as a burn log would.
func Frame(r *night.Row) frame.Frame {
	f := frame.Frame{At: r.At}
	for c, v := range r.Values {
		if !math.IsNaN(v) {
			f.Inputs[c] = frame.Input{Value: v, Quality: frame.Good}
		}
	}
	return f
}

// Engine is the analysis as replay uses it.
type Engine struct {
	engine *analysis.Engine
	said   []score.Said
}

// draftAverage is the default of the configuration.
const draftAverage = 30 * time.Second

// NewEngine returns the analysis of a site.
func NewEngine(s night.Site) (*Engine, error) {
	e, err := analysis.New(settings(s))
	if err != nil {
		return nil, fmt.Errorf("set up analysis: %w", err)
	}
	return &Engine{engine: e}, nil
}

// settings is what a configuration file of the site would say.
func settings(s night.Site) analysis.Settings {
	return analysis.Settings{
		Fitted:   s.Fitted,
		Limits:   s.Limits,
		DraftLow: s.DraftLow, DraftHigh: s.DraftHigh,
		DraftAverage: draftAverage,
	}
}

// Step implements Judge.
func (e *Engine) Step(f frame.Frame) []score.Said {
	e.said = e.said[:0]
	for _, ev := range e.engine.Step(f).Events {
		if ev.Kind != analysis.AlarmChanged || ev.Change == alarm.BecameKnown {
			continue
		}
		e.said = append(e.said, score.Said{
			At:       ev.At,
			Alarm:    ev.Alarm.Key.Name,
			Channel:  ev.Alarm.Key.Channel,
			State:    ev.Alarm.Word(),
			Priority: ev.Alarm.Priority.String(),
			Causes:   causes(ev.Alarm),
		})
	}
	return e.said
}

// causes are the codes of the account that the alarm gives; the engine gives none yet.
func causes(alarm.Status) []string { return nil }

// margin is how far under its limit the fixed threshold stands, K.
const margin = 30

// Threshold is what an owner has otherwise: an alarm at the limit minus 30 K, by the
// median of three readings so that a single absurd one is no alarm. It calls that a
// runaway, so that it is scored alike.
type Threshold struct {
	limits [frame.Count]float64
	on     [frame.Count]bool
	last   [frame.Count][2]float64
	said   []score.Said
}

// NewThreshold returns the threshold of a site.
func NewThreshold(s night.Site) *Threshold {
	t := &Threshold{}
	for c, limit := range s.Limits {
		if s.Fitted[c] {
			t.limits[c] = limit
		}
	}
	return t
}

// Step implements Judge.
func (t *Threshold) Step(f frame.Frame) []score.Said {
	t.said = t.said[:0]
	for c, limit := range t.limits {
		in := f.Inputs[c]
		if limit == 0 || !in.Usable() {
			continue
		}
		l := &t.last[c]
		value := max(min(l[0], l[1]), min(max(l[0], l[1]), in.Value))
		l[0], l[1] = l[1], in.Value
		state := ""
		switch {
		case !t.on[c] && value > limit-margin:
			t.on[c], state = true, "raised"
		case t.on[c] && value < limit-margin-10:
			t.on[c], state = false, "cleared"
		default:
			continue
		}
		t.said = append(t.said, score.Said{
			At: f.At, Alarm: alarm.Runaway, Channel: frame.Channel(c), State: state, Priority: "high",
		})
	}
	return t.said
}
