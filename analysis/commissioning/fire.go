package commissioning

import (
	"math"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// Judgement of the cold draft.
const (
	restless = 900.0 // s after which what has not settled is taken as it is
	tells    = 1.0   // Pa that a prediction must promise at least for its absence to mean something
	deadPart = 0.3   // of what is predicted at least
	fansTake = 3.0   // Pa that fans may take from the house before it is worth a caution
)

// cold reads the draft without a fire, and again with the fans on.
func (s *State) cold(l *Look) {
	w := &s.Watch
	w.Draft.Add(l.At, l.Values[frame.Draft])
	m, settled := w.Draft.Steady(s.tolerance())
	if !settled && w.Elapsed < restless {
		return
	}
	if m.Over == 0 {
		s.add(found("draft-lost", Bad))
		s.onward()
		return
	}
	if !settled {
		s.add(found("restless", Caution).value(Pascals, m.Spread))
	}
	if s.Task == ReadFans {
		s.Numbers.Fans = m
		took := s.Numbers.Cold.Value - m.Value
		err := both(m.Error, s.Numbers.Cold.Error)
		f := found("fans", Good).value(Pascals, took).within90(err)
		switch {
		case m.Value <= turned:
			f.Code, f.Grade = "fans-reverse", Stop
		case took > fansTake:
			f.Grade = Caution
		}
		s.add(f)
		s.onward()
		return
	}
	air := s.air()
	s.Numbers.Cold, s.Numbers.ColdAt = m, air.Room-air.Outdoor
	s.Expect = s.Site.Predict(air, 0)
	p := s.Expect.Cold
	f := found("cold-draft", Good).value(Pascals, m.Value).within90(m.Error).against(p.Value).band(p.Low, p.High)
	switch {
	case m.Value <= turned:
		f.Code, f.Grade = "reversed", Stop
	case p.Low >= tells && m.Value < float64(deadPart*p.Low):
		f.Code, f.Grade = "dead-flue", Stop
	case p.Low < tells:
		f.Code, f.Grade = "mild-day", Caution
		if m.Value >= tells { // it draws, whatever was predicted
			f.Grade = Noted
		}
	case m.Value < p.Low:
		f.Code, f.Grade = "cold-draft-low", Caution
	case m.Value > p.High:
		f.Code, f.Grade = "cold-draft-high", Noted
	}
	s.add(f)
	s.onward()
}

// Common practice, no source: the fan comes on about 45 min after a cold start, the stack
// is clear after 60 to 75 min, and after 90 min one looks for a fault.
const (
	usualFanOn   = 41.0 // °C of plenum air
	fanBy        = 60 * 60.0
	clearBy      = 75 * 60.0
	lookForFault = 90 * 60.0
	mostMinutes  = 120
	gustWidth    = 5.0 // s over which the draft is averaged here
)

// light follows the first fire until it burns clean and the fan runs.
func (s *State) light(l *Look, dt float64) {
	w, m, v := &s.Watch, &s.Moments, &l.Values
	if d := v[frame.Draft]; !math.IsNaN(d) {
		w.Mean.Value += float64((d - w.Mean.Value) * min(1, dt/gustWidth))
		if m.DraftUp == 0 && w.Mean.Value >= s.Site.DraftLow {
			m.DraftUp = w.Elapsed
		}
	}
	s.trace(v, dt)
	on := usualFanOn
	if s.Given.Limits.FanOn > 0 {
		on = s.Given.Limits.FanOn
	}
	if m.FanOn == 0 && v[frame.Plenum] >= on { // false without a reading
		m.FanOn = w.Elapsed
	}
	if m.Clean == 0 && l.Phase == burn.CleanBurn {
		m.Clean = w.Elapsed
	}
	fanned := m.FanOn > 0 || !v.Has(frame.Plenum)
	if m.Clean > 0 && fanned || w.Elapsed >= lookForFault {
		s.judgeLighting(v)
	}
}

// trace keeps the minutes of the fire for the report, as far as flue and draft are read.
func (s *State) trace(v *frame.Values, dt float64) {
	w := &s.Watch
	if !v.Has(frame.Flue) || !v.Has(frame.Draft) {
		return
	}
	w.Flue.add(v[frame.Flue], dt)
	w.Base.add(v[frame.Draft], dt)
	if w.Flue.Held < 60 {
		return
	}
	if n := &s.Numbers; len(n.Fire) < mostMinutes {
		n.Fire = append(n.Fire, Minute{w.Elapsed, w.Flue.Value, w.Base.Value})
	}
	w.Flue, w.Base = Mean{}, Mean{}
}

func (s *State) judgeLighting(v *frame.Values) {
	m := s.Moments
	switch {
	case m.DraftUp > 0:
		s.add(found("draft-up", Good).value(Seconds, m.DraftUp))
	case s.Site.Regulator.Fitted && s.Watch.Mean.Value > s.Site.DraftLow/2: // it may be set too tight, which the next step finds
		s.add(found("draft-below", Noted).value(Pascals, s.Watch.Mean.Value).against(s.Site.DraftLow))
	default:
		s.add(found("draft-never", Caution).value(Pascals, s.Watch.Mean.Value).against(s.Site.DraftLow))
	}
	timed := func(code, slow, never Code, at, by float64) {
		switch {
		case at == 0:
			s.add(found(never, Caution).value(Seconds, s.Watch.Elapsed).against(by))
		case at > by:
			s.add(found(slow, Caution).value(Seconds, at).against(by))
		default:
			s.add(found(code, Good).value(Seconds, at).against(by))
		}
	}
	timed("clean", "clean-slow", "clean-never", m.Clean, clearBy)
	if m.FanOn > 0 || v.Has(frame.Plenum) {
		timed("fan", "fan-slow", "fan-never", m.FanOn, fanBy)
	} else {
		s.add(found("fan-not-read", Noted))
	}
	if m.Reversed > 0 {
		s.add(found("draft-wavered", Caution).value(Seconds, m.Reversed))
	}
	s.onward()
}
