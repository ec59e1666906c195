package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/notice"
	"fluewright/analysis/plausible"
)

// gustShare is how much of the hold time of a turned draft goes into averaging it: the
// average takes out flutter about zero, the hold takes out gusts. By a sixth, a draft of
// 20 Pa that falls to nothing is told within a minute.
const gustShare = 6

// Engine judges the frames of one furnace, in their order.
type Engine struct {
	settings     Settings
	judges       judges
	sitePressure float64 // Pa; 0 where the altitude is not known
	rules        plausible.Rules
	draft        average // against the wind, as the site sets it
	gust         average
	monitor      monitor
	view         view // of the frame in hand

	conds    []condition
	panel    *alarm.Annunciator
	findings []alarm.Finding // of the frame in hand, one a condition
	statuses []alarm.Status  // the panel's own
	accounts []Account
	ranking  []cause.Cause // of the account in hand
	events   []Event
}

// New returns an engine for a site. It refuses settings that cannot be judged by.
func New(s Settings) (*Engine, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	e := &Engine{
		settings: s,
		draft:    average{over: s.DraftAverage},
		gust:     average{over: timingOf(alarm.Spillage, &s).Hold / gustShare},
	}
	var err error
	if e.judges, err = newJudges(&s); err != nil {
		return nil, err
	}
	if s.Altitude != 0 { // a site that says nothing may lie anywhere
		e.sitePressure = gas.StandardAtmosphere(s.Altitude).Pressure
	}
	for _, d := range Alarms() {
		e.conds = append(e.conds, conditionsOf(d, &s)...)
	}
	points := make([]alarm.Point, 0, len(e.conds))
	for _, c := range e.conds {
		points = append(points, c.point)
	}
	if e.panel, err = alarm.NewAnnunciator(points); err != nil {
		return nil, err
	}
	e.findings = make([]alarm.Finding, len(points))
	e.statuses = e.panel.Statuses()
	e.accounts = make([]Account, len(points))
	e.ranking = make([]cause.Cause, 0, len(cause.Codes()))
	return e, nil
}

func (s Settings) check() error {
	var errs []error
	overheat, _ := alarm.Declared(alarm.Overheat)
	if !(s.DraftLow > 0 && s.DraftLow < s.DraftHigh) || math.IsInf(s.DraftHigh, 0) {
		errs = append(errs, fmt.Errorf("draft band %g to %g Pa: want 0 < low < high", s.DraftLow, s.DraftHigh))
	}
	if s.DraftAverage < 0 {
		errs = append(errs, fmt.Errorf("draft average %v is negative", s.DraftAverage))
	}
	for c, limit := range s.Limits {
		if limit != 0 && !slices.Contains(overheat.Each, frame.Channel(c)) {
			errs = append(errs, fmt.Errorf("%v cannot have a limit", frame.Channel(c)))
		}
		if math.IsNaN(limit) || math.IsInf(limit, 0) || limit < 0 {
			errs = append(errs, fmt.Errorf("limit of %v is %g", frame.Channel(c), limit))
		}
	}
	errs = append(errs, s.checkStack())
	return errors.Join(errs...)
}

// Step judges one frame. The slices of the assessment are the engine's own and valid
// until the next step.
func (e *Engine) Step(f frame.Frame) Assessment {
	e.events = e.events[:0]
	v := &e.view
	e.look(f)
	e.step(v)
	e.tellBurn(v)
	e.judge(f.At)
	j := &e.judges
	return Assessment{
		At:         f.At,
		Phase:      j.tracker.Phase,
		PhaseSince: j.tracker.Since,
		PhaseHeld:  math.IsNaN(v.trusted(frame.Flue)),
		Burning:    j.tracker.Phase.Fire(),
		Burn:       j.tracker.Burn,
		Door:       j.tracker.Door(),
		Draft:      v.draft,
		Forecasts:  v.forecasts,
		Plenum:     v.plenum,
		Regulator:  v.gate,
		Flue:       v.way,
		Doubts:     v.implausible,
		Alarms:     e.statuses,
		Accounts:   e.accounts,

		AlarmMetrics: e.panel.Metrics(),

		Events: e.events,
	}
}

// tellBurn says what changed about the burn, in the order in which it happens.
func (e *Engine) tellBurn(v *view) {
	tell := func(ev Event) {
		ev.At = v.At
		e.events = append(e.events, ev)
	}
	t, c := e.judges.tracker, v.changes
	if c.Opened {
		tell(Event{Kind: DoorOpened, Door: t.Door()})
	}
	if c.Closed {
		tell(Event{Kind: DoorClosed, Door: t.Door()})
	}
	if c.To != c.From {
		tell(Event{Kind: PhaseChanged, From: c.From, To: c.To})
	}
	if c.Ended {
		tell(Event{Kind: BurnEnded, Burn: t.Finished})
	}
	if c.Loaded && !v.load.Cold {
		tell(Event{Kind: Reloaded, Load: v.load})
	}
	for _, n := range e.judges.notices.Step(notice.Inputs{At: v.At, Values: v.values, Tracker: t, Changes: c}) {
		tell(Event{Kind: NoticeGiven, Notice: n})
	}
}

// judge puts what is found of each alarm on the panel.
func (e *Engine) judge(at time.Duration) {
	v := &e.view
	for i := range e.conds {
		c := &e.conds[i]
		if e.findings[i] = (alarm.Finding{}); v.hasAll(c.needs) {
			e.findings[i] = c.judge(e, v)
		}
		e.findings[i].Updated = e.account(i, e.panel.Status(i).State.Standing())
	}
	for _, t := range e.panel.Step(at, e.findings) {
		i := e.index(t.Status.Key)
		if t.Change == alarm.WasRaised {
			e.account(i, true)
		}
		e.events = append(e.events, Event{
			At: at, Kind: AlarmChanged, Alarm: t.Status, Change: t.Change, Account: e.accounts[i],
		})
	}
}

// index is where an alarm stands on the panel.
func (e *Engine) index(k alarm.Key) int {
	return slices.IndexFunc(e.conds, func(c condition) bool { return c.point.Key == k })
}

// view is a frame with what is derived from it.
type view struct {
	frame.Frame
	found
	values      frame.Values // those that may be trusted
	draft, gust frame.Input
	implausible plausible.Findings
}

// look takes impossible numbers for faults, whatever quality they came with, doubts what
// the furnace contradicts, and averages the draft.
func (e *Engine) look(f frame.Frame) {
	v := &e.view
	v.Frame = f
	for c := range v.Inputs {
		in := &v.Inputs[c]
		if in.Usable() && !possible(frame.Channel(c), in.Value) {
			*in = frame.Input{Quality: frame.Faulty, Fault: impossible}
		}
	}
	in := plausible.Inputs{At: f.At, Phase: e.judges.tracker.Phase, SitePressure: e.sitePressure, Height: e.settings.Chimney.Height()}
	for c := range in.Values {
		in.Values[c] = v.value(frame.Channel(c))
	}
	v.implausible = e.rules.Step(in)
	for c, code := range v.implausible {
		if in := &v.Inputs[c]; code != "" && in.Usable() {
			in.Quality, in.Fault = frame.Suspect, code
		}
	}
	v.draft = e.draft.step(f.At, v.Inputs[frame.Draft])
	v.gust = e.gust.step(f.At, v.Inputs[frame.Draft])
	for c := range v.values {
		v.values[c] = v.trusted(frame.Channel(c))
	}
}

// impossible is the fault of an input that no furnace and no weather can give.
const impossible = "impossible-value"

// possible reports whether the channel can have the value at all; bounds are far
// outside what any sensor in use can say, so that only nonsense fails.
func possible(c frame.Channel, v float64) bool {
	switch c {
	case frame.Draft:
		return math.Abs(v) <= 5000
	case frame.Ambient:
		return v >= 20e3 && v <= 120e3
	default:
		return v >= -100 && v <= 2500
	}
}

// hasAll reports whether there is a reading on each channel.
func (v *view) hasAll(channels []frame.Channel) bool {
	for _, c := range channels {
		if !v.Inputs[c].Usable() {
			return false
		}
	}
	return true
}

// value returns the channel's value, NaN where there is none to judge by.
func (v *view) value(c frame.Channel) float64 {
	if in := v.Inputs[c]; in.Usable() {
		return in.Value
	}
	return math.NaN()
}

// trusted is value for whoever judges the fire: a probe that lies in the room says nothing
// of it, least of all that it is out.
func (v *view) trusted(c frame.Channel) float64 {
	if plausible.Distrusts(v.implausible[c]) {
		return math.NaN()
	}
	return v.value(c)
}
