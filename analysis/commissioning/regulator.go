package commissioning

import (
	"math"

	"fluewright/analysis/frame"
	"fluewright/analysis/setting"
	"fluewright/analysis/settle"
)

const (
	mostReadings = 6
	// More than that much of spread between averages over ten seconds is wind, which may have
	// held the draft up all the while: Pa, and of the specified draft.
	gustyPascals = 0.4
	gustyShare   = 0.05
	sure         = 0.8  // probability
	near         = 0.26 // marks: set already
	verifyTime   = 10   // minutes in succession
	verifyTries  = 30   // minutes
	outsideBy    = 0.25 // Pa beyond the band that a minute may be: a gauge's resolution
)

// problem is what the readings so far pose.
func (s *State) problem() setting.Problem {
	p := setting.Problem{
		Readings: s.Numbers.Readings, Specified: s.Site.Specified(),
		Scale: s.Site.Regulator.Scale, Height: s.Site.Height,
	}
	shut := s.Site.Predict(s.air(), s.Numbers.Flue).Shut
	if shut.Value > 1 {
		p.Ceiling = shut.Value
		p.CeilingError = max(0.2, (shut.High-shut.Low)/(2*z90)/shut.Value)
	}
	return p
}

// Fit returns what the readings at the marks say so far, false before the first.
func (s *State) Fit() (setting.Fit, bool) { return s.Numbers.Fit, s.Numbers.Fitted }

// read waits until flue and draft have settled at the mark that is set.
func (s *State) read(l *Look, dt float64) {
	w := &s.Watch
	w.Draft.Add(l.At, l.Values[frame.Draft])
	d := s.drive(&l.Values)
	w.Drive.Add(l.At, d)
	w.Flue.add(l.Values[frame.Flue], dt)
	draft, still := w.Draft.Steady(s.tolerance())
	drove, even := w.Drive.Steady(float64(driveTolerance * max(d, 1)))
	if !still || !even {
		return
	}
	s.take(draft, drove)
}

// take keeps a settled reading and decides what is next.
func (s *State) take(draft, drove settle.Mean) {
	n := &s.Numbers
	n.Readings = append(n.Readings, setting.Reading{Mark: s.Mark, Draft: draft.Value, Error: draft.Error, Drive: drove.Value})
	n.Flue = s.Watch.Flue.Value
	if draft.Spread > max(gustyPascals, float64(gustyShare*s.Site.Specified())) {
		s.add(found("gusty", Caution).value(Pascals, draft.Spread))
	}
	if !s.Site.Regulator.Fitted {
		s.add(found("draft-unregulated", Noted).value(Pascals, draft.Value).within90(draft.Error).band(s.Site.DraftLow, s.Site.DraftHigh))
		s.onward()
		return
	}
	if s.Season {
		s.add(found("draft-at-mark", Noted).value(Pascals, draft.Value).within90(draft.Error).band(s.Site.DraftLow, s.Site.DraftHigh))
		s.onward()
		return
	}
	p := s.problem()
	f, ok := p.Solve()
	if !ok { // cannot be: site and readings are checked
		s.add(found("no-fit", Bad))
		s.conclude()
		return
	}
	n.Fit, n.Fitted = f, true
	short, over := f.Short > sure && f.Marks >= 2, f.Over > sure && f.Marks >= 2
	done := f.Certain() || short || over || len(n.Readings) >= mostReadings
	next := p.Next(f)
	if done {
		next = p.Recommended(f)
		if short {
			next = s.Mark // no mark makes a difference
		}
	}
	if done && (math.Abs(next-s.Mark) <= near || len(n.Readings) >= mostReadings+2) {
		s.recommend(f, next, short, over)
		return
	}
	s.ask(ReadMark)
	s.Wanted = next
}

// recommend writes down the mark and goes on to prove it.
func (s *State) recommend(f setting.Fit, mark float64, short, over bool) {
	want, scale := s.Site.Specified(), s.Site.Regulator.Scale
	s.Wanted = mark
	set := found("mark", Good).value(Marks, s.Mark).against(s.Site.Regulator.Mark)
	best := found("mark-best", Noted).value(Marks, f.Mark).interval(f.Low, f.High)
	bounded := true
	switch {
	case short:
		g := Caution
		if f.Ceiling < s.Site.DraftLow {
			g = Bad
		}
		s.add(found("not-reached", g).value(Pascals, f.Ceiling).against(want).band(s.Site.DraftLow, s.Site.DraftHigh))
		bounded = false
	case over:
		s.add(found("not-tamed", Bad).value(Pascals, s.Numbers.Readings[len(s.Numbers.Readings)-1].Draft).against(want).
			band(s.Site.DraftLow, s.Site.DraftHigh))
		bounded = false
	case f.Mark < scale.Low-near || f.Mark > scale.High+near:
		s.add(found("scale-ends", Caution).value(Marks, f.Mark).interval(f.Low, f.High))
	case !f.Certain():
		best.Code, best.Grade = "mark-unsure", Caution
	}
	if !bounded {
		set.Grade = Noted
	}
	s.add(set)
	if bounded {
		s.add(best)
		s.add(found("slope", Noted).value(PascalsPerMark, f.Slope).interval(f.SlopeLow, f.SlopeHigh))
	}
	last := s.Numbers.Readings[len(s.Numbers.Readings)-1]
	s.add(found("draft-set", Noted).value(Pascals, last.Draft).within90(last.Error).band(s.Site.DraftLow, s.Site.DraftHigh))
	s.ask(VerifyLow)
}

// verify waits for ten minutes in succession within the band.
func (s *State) verify(l *Look, dt float64) {
	w := &s.Watch
	if s.fire == NoFire {
		s.ask(s.Task)
		return
	}
	w.Mean.add(l.Values[frame.Draft], dt)
	if w.Mean.Held < 60 {
		if w.Elapsed > float64(60*2*verifyTries) { // hardly any readings
			s.add(found("draft-lost", Bad))
			s.onward()
		}
		return
	}
	v := w.Mean.Value
	w.Mean = Mean{}
	w.Minutes++
	if v >= s.Site.DraftLow-outsideBy && v <= s.Site.DraftHigh+outsideBy {
		w.Inside++
		w.Sum.add(v, 1)
	} else {
		w.Inside, w.Sum = 0, Mean{}
		w.Base.add(v, 1)
	}
	code := Code("held-low-fire")
	if s.Task == VerifyHigh {
		code = "held-high-fire"
	}
	switch {
	case w.Inside >= verifyTime:
		s.verified(w.Sum.Value)
		s.add(found(code, Good).value(Pascals, w.Sum.Value).within90(w.Sum.spread()).band(s.Site.DraftLow, s.Site.DraftHigh))
		s.onward()
	case w.Minutes >= verifyTries:
		s.verified(w.Base.Value)
		g := Bad
		if s.Task == VerifyLow && w.Base.Value < s.Site.DraftLow && w.Base.Value > float64(0.7*s.Site.DraftLow) {
			g = Caution // a low fire in a cool chimney draws a little less
		}
		s.add(found("not-"+code, g).value(Pascals, w.Base.Value).within90(w.Base.spread()).band(s.Site.DraftLow, s.Site.DraftHigh))
		s.onward()
	}
}

func (s *State) verified(v float64) {
	if s.Task == VerifyLow {
		s.Numbers.Low = v
	} else {
		s.Numbers.High = v
	}
}

// Proof of the regulator and of the door. Times in s, judgement.
const (
	handTime   = 20.0 // until the gas column has followed
	holdTime   = 40.0 // long enough to average gusts, short enough for the fire
	leastRise  = 1.0  // Pa
	returnTime = 180.0
	stillTime  = 15.0
	doorTime   = 60.0
	doorFall   = 0.05 // of the draft
)

// hold reads the draft with the gate free, and then held shut.
func (s *State) hold(l *Look, dt float64) {
	w := &s.Watch
	if w.Elapsed <= handTime {
		return
	}
	w.Mean.add(l.Values[frame.Draft], dt)
	w.Flue.add(l.Values[frame.Flue], dt)
	w.Base.add(s.drive(&l.Values), dt)
	if w.Elapsed < handTime+holdTime {
		return
	}
	if w.Mean.Held < holdTime/2 {
		s.add(found("draft-lost", Bad))
		s.onward()
		return
	}
	if s.Task == ReadFree {
		s.Numbers.Free = w.Mean.Value
		s.onward()
		return
	}
	n := &s.Numbers
	n.Held = w.Mean.Value
	if w.Base.Value > 0 {
		n.Reach = n.Held / w.Base.Value
	}
	shut := s.Site.Predict(s.air(), w.Flue.Value).Shut
	rise, from, to := n.Held-n.Free, shut.Low-n.Free, shut.High-n.Free
	f := found("gate-proof", Good).value(Pascals, rise).within90(w.Mean.spread()/math.Sqrt(holdTime/gustWidth)).against(shut.Value-n.Free).band(max(0, from), max(0, to))
	switch {
	case rise < leastRise && from < leastRise:
		f.Code, f.Grade = "gate-idle", Caution // the chimney has nothing to spare, so that nothing is proved
	case rise < leastRise:
		f.Code, f.Grade = "gate-no-effect", Bad
	case rise < from:
		f.Code, f.Grade = "gate-less", Caution
	case rise > to:
		f.Code, f.Grade = "gate-more", Noted
	}
	s.add(f)
	s.onward()
}

// returns waits until the draft is what it was before.
func (s *State) returns(l *Look, dt float64) {
	w, v := &s.Watch, l.Values[frame.Draft]
	if math.IsNaN(v) {
		return
	}
	if w.Mean.Held == 0 {
		w.Mean.Value, w.Mean.Held = v, 1
	}
	w.Mean.Value += float64((v - w.Mean.Value) * min(1, dt/gustWidth))
	if math.Abs(w.Mean.Value-s.Numbers.Free) <= max(1, float64(0.15*s.Numbers.Free)) {
		w.Calm += dt
	} else {
		w.Calm = 0
	}
	good, bad := Code("gate-returns"), Code("gate-stays")
	if s.Task == ShutDoor {
		good, bad = "door-returns", "door-stays"
	}
	switch {
	case w.Calm >= stillTime:
		s.add(found(good, Good).value(Seconds, w.Elapsed))
		s.onward()
	case w.Elapsed > returnTime:
		s.add(found(bad, Bad).value(Pascals, w.Mean.Value).against(s.Numbers.Free))
		s.onward()
	}
}

// door waits for the draft to show the open door.
func (s *State) door(l *Look, dt float64) {
	w, v := &s.Watch, l.Values[frame.Draft]
	if !math.IsNaN(v) {
		if w.Mean.Held == 0 {
			w.Mean.Value, w.Mean.Held = s.Numbers.Free, 1
		}
		w.Mean.Value += float64((v - w.Mean.Value) * min(1, dt/gustWidth))
	}
	fall := s.Numbers.Free - w.Mean.Value
	switch {
	case w.Mean.Held > 0 && w.Mean.Value < turned:
		s.add(found("door-spills", Bad).value(Pascals, w.Mean.Value))
		s.onward()
	case fall >= max(0.5, float64(doorFall*s.Numbers.Free)) && w.Elapsed >= gustWidth:
		s.add(found("door-seen", Good).value(Pascals, fall))
		s.onward()
	case w.Elapsed > doorTime:
		s.add(found("door-unseen", Noted).value(Pascals, fall))
		s.onward()
	}
}
