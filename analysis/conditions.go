package analysis

import (
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
)

// Hysteresis: how far a condition must be gone to count as gone.
const (
	limitMargin    = 10.0 // K below the limit
	spillageMargin = 1.0  // Pa above turned
	bandMargin     = 0.5  // Pa inside the band
)

// turnedDraft is the draft below which the chimney does not draw, Pa: zero, and what a
// pressure sensor's zero may be off.
const turnedDraft = 0.25

// limited are the channels that may have a limit.
var limited = []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}

// judgement is what a rule says of one frame.
type judgement struct {
	verdict      alarm.Verdict
	value, limit float64
	fault        string
}

// conditionsOf returns the conditions that the alarm has at this site: one for each
// channel it concerns, none where the site lacks the sensors.
func conditionsOf(d alarm.Declaration, s Settings) []condition {
	timing := timingOf(d.Name, s)
	on := func(c frame.Channel, judge func(*Engine, *view) judgement) condition {
		return condition{alarm.NewMachine(alarm.Key{Name: d.Name, Channel: c}, d.Priority, timing), judge}
	}
	var conds []condition
	switch d.Name {
	case alarm.Overheat:
		for _, c := range limited {
			if s.Fitted[c] && s.Limits[c] > 0 {
				conds = append(conds, on(c, overheat(c)))
			}
		}
	case alarm.SensorLost:
		for _, c := range frame.All() {
			if s.Fitted[c] {
				conds = append(conds, on(c, lost(c)))
			}
		}
	case alarm.SensorImplausible:
		for _, c := range plausible.Channels() {
			if s.Fitted[c] {
				conds = append(conds, on(c, implausible(c)))
			}
		}
	case alarm.Spillage, alarm.DraftHigh, alarm.DraftLow:
		// Whether a draft is wrong depends on the fire, which the flue tells.
		if s.Fitted[frame.Draft] && s.Fitted[frame.Flue] {
			conds = append(conds, on(frame.Count, draftRules[d.Name]))
		}
	}
	return conds
}

// timingOf is the site's timing of an alarm, or the declared one.
func timingOf(name alarm.Name, s Settings) alarm.Timing {
	if t, ok := s.Timing[name]; ok {
		return t
	}
	d, _ := alarm.Declared(name)
	return d.Timing
}

// draftRules judge the draft as a whole.
var draftRules = map[alarm.Name]func(*Engine, *view) judgement{
	alarm.Spillage:  spillage,
	alarm.DraftHigh: draftHigh,
	alarm.DraftLow:  draftLow,
}

func overheat(c frame.Channel) func(*Engine, *view) judgement {
	return func(e *Engine, v *view) judgement {
		in, limit := v.Inputs[c], e.settings.Limits[c]
		if !in.Usable() {
			return judgement{}
		}
		return judgement{verdict: above(in.Value, limit, limitMargin), value: in.Value, limit: limit}
	}
}

func lost(c frame.Channel) func(*Engine, *view) judgement {
	return func(_ *Engine, v *view) judgement {
		in := v.Inputs[c]
		if in.Usable() {
			return judgement{verdict: alarm.Absent}
		}
		fault := in.Fault
		if fault == "" {
			fault = in.Quality.String()
		}
		return judgement{verdict: alarm.Present, fault: fault}
	}
}

// implausible: the furnace contradicts a reading. One that is missing is lost and not
// implausible.
func implausible(c frame.Channel) func(*Engine, *view) judgement {
	return func(_ *Engine, v *view) judgement {
		in, code := v.Inputs[c], v.implausible[c]
		switch {
		case !in.Usable():
			return judgement{}
		case code == "":
			return judgement{verdict: alarm.Absent, value: in.Value}
		}
		return judgement{verdict: alarm.Present, value: in.Value, fault: code}
	}
}

// spillage: the draft has turned while something burns or glows.
func spillage(_ *Engine, v *view) judgement {
	j, ok := draftJudgement(v, v.gust, burn.Phase.Fire)
	if ok {
		j.limit = turnedDraft
		j.verdict = above(-j.value, -j.limit, spillageMargin)
	}
	return j
}

func draftHigh(e *Engine, v *view) judgement {
	j, ok := draftJudgement(v, v.draft, burn.Phase.Fire)
	if ok {
		j.limit = e.settings.DraftHigh
		j.verdict = above(j.value, j.limit, bandMargin)
	}
	return j
}

// draftLow: little draft is usual while lighting, over coals and in a cold chimney.
func draftLow(e *Engine, v *view) judgement {
	j, ok := draftJudgement(v, v.draft, func(p burn.Phase) bool {
		return p == burn.WarmUp || p == burn.CleanBurn || p == burn.Smoulder
	})
	if ok {
		j.limit = e.settings.DraftLow
		j.verdict = above(-j.value, -j.limit, bandMargin)
	}
	return j
}

// draftJudgement is what the rules on the draft share: they are blind without a draft
// or a known phase, and have nothing to say outside the phases that they concern. ok
// means that the value is to be judged.
func draftJudgement(v *view, draft frame.Input, concerns func(burn.Phase) bool) (j judgement, ok bool) {
	if !draft.Usable() || v.phase == burn.Unknown {
		return judgement{}, false
	}
	if !concerns(v.phase) {
		return judgement{verdict: alarm.Absent, value: draft.Value}, false
	}
	return judgement{value: draft.Value}, true
}

// above compares a value with a limit that it should not exceed.
func above(value, limit, margin float64) alarm.Verdict {
	switch {
	case value > limit:
		return alarm.Present
	case value > limit-margin:
		return alarm.Between
	default:
		return alarm.Absent
	}
}
