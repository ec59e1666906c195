package commission

import (
	"fmt"

	"fluewright/analysis/commissioning"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/units"
)

// View is a procedure in words, for a page or a terminal: no decisions are left.
type View struct {
	First   string
	Verdict Verdict
	Steps   []StepView
	Now     commissioning.Step
	Task    commissioning.Task
	Title   string // of the step that is on
	Why     string
	Do      string
	Settled string
	// Asks says which entry the task takes: "ready", "give", "none".
	Asks string
	// Mark is what is asked for, where a mark is.
	Mark    float64
	Running bool
	Live    []Reading
	Gauge   Gauge
	// Pictures are those that there is something to see on, for the step that is on.
	Pictures []Picture
	Doing    string // how far the measurement has come; empty when nothing is measured
	// MaySkip and MayGoOn say which buttons there are; MayBeWithout that there may be no fans.
	MaySkip, MayGoOn, MayRepeat, MayBeWithout bool
}

// StepView is one step with what came of it.
type StepView struct {
	Step    commissioning.Step
	Title   string
	Outcome string
	Reason  string
	Lines   []Line
}

// Reading is a channel's latest value.
type Reading struct{ Name, Value string }

// Gauge is the draft against the band that the appliance asks for, Pa, to be drawn: only
// while a fire is judged by it, as a cold flue need not reach it.
type Gauge struct {
	Shown                    bool
	Draft, Low, High         float64
	Value, LowText, HighText string
}

// Picture is a diagram that a Desk draws; Points grows with what is on it.
type Picture struct {
	Name, Title string
	Points      int
}

// The names and titles of pictures.
const (
	FirePicture = "fire"
	FitPicture  = "fit"

	fireTitle = "First fire: flue and draft over the minutes since lighting"
	fitTitle  = "Draft over the regulator's mark"
)

// pictures lists those that belong to the step that is on.
func pictures(s *commissioning.State) (all []Picture) {
	if len(s.Numbers.Fire) >= fewest && s.Now == commissioning.FirstFire {
		all = append(all, Picture{FirePicture, fireTitle, len(s.Numbers.Fire)})
	}
	if s.Numbers.Fitted && (s.Now == commissioning.Setting || s.Now == commissioning.Proof) {
		all = append(all, Picture{FitPicture, fitTitle, len(s.Numbers.Readings)})
	}
	return all
}

// Look returns the procedure in words.
func Look(s *commissioning.State, u units.System) View {
	t := Task(s)
	v := View{
		First: First, Verdict: Judge(s), Now: s.Now, Task: s.Task, Title: Step(s.Now).Title, Why: Step(s.Now).Why,
		Do: t.Do, Settled: t.Settled, Running: s.Running, Asks: asks(s), Doing: doing(s, u),
		Pictures:     pictures(s),
		MayBeWithout: s.Task == commissioning.ReadFans && !s.Running,
	}
	if s.Task == commissioning.ReadMark {
		v.Mark = s.Wanted
	}
	stops, bad := false, false
	for _, f := range s.Results[s.Now].Findings {
		stops = stops || f.Grade == commissioning.Stop
		bad = bad || f.Grade >= commissioning.Bad
	}
	ends := s.Now == commissioning.SiteData || s.Now == commissioning.Closing
	v.MayRepeat = s.Task == commissioning.Failed
	v.MayGoOn = v.MayRepeat && !stops && !s.Now.Vital()
	v.MaySkip = !ends && !v.MayRepeat && !stops && !(bad && s.Now.Vital())
	for step := range commissioning.Steps {
		r := &s.Results[step]
		sv := StepView{Step: step, Title: Step(step).Title, Outcome: r.Outcome.String(), Reason: r.Reason}
		for _, f := range r.Findings {
			sv.Lines = append(sv.Lines, Finding(f, u))
		}
		v.Steps = append(v.Steps, sv)
	}
	if now, ok := s.Latest(); ok {
		for _, c := range []frame.Channel{frame.Flue, frame.Chamber, frame.Firebox, frame.Plenum, frame.Room, frame.Outdoor} {
			if now.Has(c) {
				v.Live = append(v.Live, Reading{c.String(), u.Temperature(now[c])})
			}
		}
		if now.Has(frame.Draft) {
			v.Live = append(v.Live, Reading{"draft", u.Pressure(now[frame.Draft])})
			if s.Now == commissioning.FirstFire || s.Now == commissioning.Setting || s.Now == commissioning.Proof {
				v.Gauge = Gauge{
					true, now[frame.Draft], s.Site.DraftLow, s.Site.DraftHigh,
					u.Pressure(now[frame.Draft]), u.Pressure(s.Site.DraftLow), u.Pressure(s.Site.DraftHigh),
				}
			}
		}
	}
	return v
}

func asks(s *commissioning.State) string {
	switch s.Task {
	case commissioning.EnterSite, commissioning.LookAround, commissioning.EnterLimits, commissioning.TestAlarm, commissioning.Sign:
		return "give"
	case commissioning.Done, commissioning.Failed:
		return "none"
	}
	if s.Running {
		return "none"
	}
	return "ready"
}

// doing says how far the measurement has come.
func doing(s *commissioning.State, u units.System) string {
	if !s.Running {
		return ""
	}
	p := s.Progress()
	since := fmt.Sprintf("%.0f s", p.Elapsed)
	if p.Elapsed >= 120 {
		since = fmt.Sprintf("%.0f min", p.Elapsed/60)
	}
	switch s.Task {
	case commissioning.ReadCold, commissioning.ReadFans, commissioning.ReadMark:
		if p.Draft.Over == 0 {
			return "Measuring for " + since + "; too early to tell whether it has settled."
		}
		still := "has settled"
		if !p.Settled {
			still = "moves still"
		}
		text := fmt.Sprintf("Measuring for %s: the draft %s, mean %s, trend %s.", since, still, u.Pressure(p.Draft.Value), u.Pressure(p.Draft.Trend))
		if s.Task == commissioning.ReadMark && !p.FlueStill {
			text += " The flue is not steady yet."
		}
		return text
	case commissioning.VerifyLow, commissioning.VerifyHigh:
		return fmt.Sprintf("Watching for %s: %d minutes in succession within the band.", since, p.Inside)
	case commissioning.LightFire:
		return "Burning for " + since + "."
	}
	return "Measuring for " + since + "."
}
