package analysis

import (
	"slices"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/gate"
	"fluewright/analysis/plausible"
)

// Hysteresis: how far a condition must be gone to count as gone.
const (
	limitMargin = 10.0 // K below the limit
	bandMargin  = 0.5  // Pa inside the band
)

// judge says what is found of an alarm in the frame in hand. It is asked only while there
// are the readings that the alarm is declared to need.
type judge func(*Engine, *view) alarm.Finding

// rule is how one alarm is judged. on makes the judge for a channel, which is frame.Count
// for an alarm that has none; has, if there is one, says whether the site has the alarm
// there, beside the sensors that it is declared to need.
type rule struct {
	name alarm.Name
	on   func(frame.Channel) judge
	has  func(*Settings, frame.Channel) bool
}

// rules is every alarm that the analysis judges.
var rules = []rule{
	{alarm.Overheat, overheat, func(s *Settings, c frame.Channel) bool { return s.Limits[c] > 0 }},
	{alarm.Runaway, runaway, func(s *Settings, c frame.Channel) bool { return s.Limits[c] > 0 }},
	{alarm.ChimneyFire, whole(chimneyFire), nil},
	{alarm.Spillage, whole(spilling), nil},
	{alarm.PlenumOverheat, whole(plenumOverheat), nil},
	{alarm.BlowerStopped, whole(blowerStopped), nil},
	{alarm.RegulatorStuck, whole(regulatorStuck), func(s *Settings, _ frame.Channel) bool { return !s.Regulator.Unfitted }},
	{alarm.FlueRestricted, whole(flueRestricted), nil},
	{alarm.DraftHigh, whole(draftHigh), nil},
	{alarm.DraftLow, whole(draftLow), nil},
	{alarm.SensorLost, lost, nil},
	{alarm.MonitorImpaired, whole(impaired), func(s *Settings, _ frame.Channel) bool { return s.Monitored }},
	{alarm.SensorImplausible, implausible, func(_ *Settings, c frame.Channel) bool { return slices.Contains(plausible.Channels(), c) }},
}

// whole makes the judge of an alarm that has no channel.
func whole(j judge) func(frame.Channel) judge { return func(frame.Channel) judge { return j } }

// ruleOf returns the rule of an alarm, nil where nothing judges it.
func ruleOf(name alarm.Name) *rule {
	if i := slices.IndexFunc(rules, func(r rule) bool { return r.name == name }); i >= 0 {
		return &rules[i]
	}
	return nil
}

// Alarms lists the declarations of the alarms that the analysis judges, most urgent first.
func Alarms() []alarm.Declaration {
	return slices.DeleteFunc(alarm.Declarations(), func(d alarm.Declaration) bool { return ruleOf(d.Name) == nil })
}

// condition is one alarm of the site with what judges it.
type condition struct {
	point alarm.Point
	needs []frame.Channel
	judge judge
}

// conditionsOf returns the conditions that the alarm has at this site: one for each
// channel it concerns, none where the site lacks the sensors.
func conditionsOf(d alarm.Declaration, s *Settings) (conds []condition) {
	r, channels := ruleOf(d.Name), d.Each
	if len(channels) == 0 {
		channels = []frame.Channel{frame.Count}
	}
	for _, c := range channels {
		needs := d.Channels(c)
		fitted := slices.Concat(needs, d.Fitted)
		if c < frame.Count {
			fitted = append(fitted, c)
		}
		missing := slices.ContainsFunc(fitted, func(c frame.Channel) bool { return !s.Fitted[c] })
		if missing || r.has != nil && !r.has(s, c) {
			continue
		}
		key := alarm.Key{Name: d.Name, Channel: c}
		conds = append(conds, condition{alarm.Point{Key: key, Timing: timingOf(d.Name, s)}, needs, r.on(c)})
	}
	return conds
}

// timingOf is the site's timing of an alarm, or the declared one.
func timingOf(name alarm.Name, s *Settings) alarm.Timing {
	if t, ok := s.Timing[name]; ok {
		return t
	}
	d, _ := alarm.Declared(name)
	return d.Timing
}

// overheat judges suspect readings as well. Of a swapped pair each is held against the
// limit of the place where it is.
func overheat(c frame.Channel) judge {
	return func(e *Engine, v *view) alarm.Finding {
		at := c
		if v.implausible[c] == plausible.ChannelsSwapped {
			if at = e.rules.Place(c); !v.Inputs[at].Usable() {
				return alarm.Finding{}
			}
		}
		value, limit := v.Inputs[at].Value, e.settings.Limits[c]
		return alarm.Finding{Verdict: above(value, limit, limitMargin), Value: value, Limit: limit}
	}
}

func lost(c frame.Channel) judge {
	return func(_ *Engine, v *view) alarm.Finding {
		in := v.Inputs[c]
		if in.Usable() {
			return alarm.Finding{Verdict: alarm.Absent}
		}
		fault := in.Fault
		if fault == "" {
			fault = in.Quality.String()
		}
		return alarm.Finding{Verdict: alarm.Present, Fault: fault}
	}
}

// implausible: the furnace contradicts a reading.
func implausible(c frame.Channel) judge {
	return func(_ *Engine, v *view) alarm.Finding {
		f := alarm.Finding{Verdict: alarm.Absent, Value: v.Inputs[c].Value, Fault: v.implausible[c]}
		if f.Fault != "" {
			f.Verdict = alarm.Present
		}
		return f
	}
}

// runaway: a limit will be passed, and the rise does not limit itself.
func runaway(c frame.Channel) judge {
	return func(e *Engine, v *view) alarm.Finding {
		f := &v.forecasts[c]
		return alarm.Finding{Verdict: f.Verdict, Value: f.Level, Limit: e.settings.Limits[c]}
	}
}

func chimneyFire(e *Engine, v *view) alarm.Finding {
	return alarm.Finding{Verdict: v.fire.Verdict, Value: v.Inputs[frame.Flue].Value, Limit: e.settings.Limits[frame.Flue]}
}

// spilling: the draft has turned while something burns or glows. The number that is told
// is the draft itself.
func spilling(_ *Engine, v *view) alarm.Finding {
	return alarm.Finding{Verdict: v.spill.Verdict, Value: v.gust.Value}
}

func plenumOverheat(_ *Engine, v *view) alarm.Finding {
	return alarm.Finding{Verdict: v.plenum.Overheat, Value: v.plenum.Air, Limit: v.plenum.Limit}
}

func blowerStopped(_ *Engine, v *view) alarm.Finding {
	return alarm.Finding{Verdict: v.plenum.Stopped, Value: v.plenum.Air}
}

// regulatorStuck stands as long as nothing else was seen of the gate.
func regulatorStuck(_ *Engine, v *view) alarm.Finding {
	switch {
	case v.gate.State == gate.Unknown:
		return alarm.Finding{}
	case v.gate.State.Wrong():
		return alarm.Finding{Verdict: alarm.Present, Value: v.draft.Value}
	}
	return alarm.Finding{Verdict: alarm.Absent, Value: v.draft.Value}
}

func flueRestricted(_ *Engine, v *view) alarm.Finding {
	switch {
	case !v.way.Known:
		return alarm.Finding{}
	case v.way.Restricted:
		return alarm.Finding{Verdict: alarm.Present, Value: v.draft.Value}
	}
	return alarm.Finding{Verdict: alarm.Absent, Value: v.draft.Value}
}

func draftHigh(e *Engine, v *view) alarm.Finding {
	f, ok := draftFinding(v, v.draft, burn.Phase.Fire)
	if ok {
		f.Limit = e.settings.DraftHigh
		f.Verdict = above(f.Value, f.Limit, bandMargin)
	}
	return f
}

// nearlyNone is the share of the band's lower end below which a draft is no ordinary one over
// coals either: what stood under flames is not over (judgement).
const nearlyNone = 0.3

// draftLow: little draft is usual while lighting, over coals and in a cold chimney.
func draftLow(e *Engine, v *view) alarm.Finding {
	f, ok := draftFinding(v, v.draft, func(p burn.Phase) bool {
		return p == burn.WarmUp || p == burn.CleanBurn || p == burn.Smoulder
	})
	if ok {
		f.Limit = e.settings.DraftLow
		f.Verdict = above(-f.Value, -f.Limit, bandMargin)
	} else if v.phase == burn.Coals && v.draft.Usable() && f.Value < float64(nearlyNone*e.settings.DraftLow) {
		f.Limit, f.Verdict = e.settings.DraftLow, alarm.Between
	}
	return f
}

// draftFinding is what the rules on the draft share: they are blind without a known
// phase, and have nothing to say outside the phases that they concern. ok means that the
// value is to be judged.
func draftFinding(v *view, draft frame.Input, concerns func(burn.Phase) bool) (f alarm.Finding, ok bool) {
	if v.phase == burn.Unknown {
		return alarm.Finding{}, false
	}
	if !concerns(v.phase) {
		return alarm.Finding{Verdict: alarm.Absent, Value: draft.Value}, false
	}
	return alarm.Finding{Value: draft.Value}, true
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
