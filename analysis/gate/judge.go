package gate

import (
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/drive"
	"fluewright/analysis/frame"
)

// State is what the gate does. The zero value says that it is not known.
type State uint8

// The states.
const (
	Unknown    State = iota
	Holding          // the draft is held, within the band
	StuckShut        // or clamped, or too small for this chimney: the draft follows the fire
	StuckOpen        // the draft follows the fire and is far below what the chimney gives
	SetHigh          // held above the band, or above what it was set to
	SetLow           // held below
	Fluttering       // the gate swings
)

// low is the answer that the draft is far too low and that it is not the gate.
const low = Fluttering + 1

var states = [...]string{"unknown", "holding", "stuck-shut", "stuck-open", "set-high", "set-low", "fluttering"}

// String returns the state's name as every output writes it.
func (s State) String() string {
	if int(s) < len(states) {
		return states[s]
	}
	return states[Unknown]
}

// Wrong reports whether the regulator needs a person.
func (s State) Wrong() bool { return s >= StuckShut }

// Stuck reports whether the gate does not move.
func (s State) Stuck() bool { return s == StuckShut || s == StuckOpen }

// Finding is what is known of the regulator, with its evidence.
type Finding struct {
	State State
	// At is when the state was last confirmed; zero while Unknown.
	At time.Duration
	// Exponent is the answer of the draft to the drive that the state rests on.
	Exponent drive.Exponent
	// Candidate is what the latest minutes say, and Now the exponent that they say it by;
	// Now has no points where nothing can be fitted.
	Candidate State
	Now       drive.Exponent
	// Expected is the draft in Pa that the chimney would have by itself at the hot end, 0
	// where that is not known.
	Expected float64
	// Swing is the gate's movement; judged at 2 Hz of sampling and more.
	Swing Swing
}

// Inputs are the readings of one frame; NaN where there is none.
type Inputs struct {
	At     time.Duration
	Values frame.Values
	Phase  burn.Phase
	// Spoilt says that the draft depends on something else now: a door stands open, the
	// chimney burns.
	Spoilt bool
}

// Memory is what outlives a restart.
type Memory struct {
	// Reach is the largest draft over drive that a burn with a working gate had, m; 0: none.
	Reach float64
	// Held is the draft that the gate was last seen to hold, Pa; 0: none.
	Held float64
}

// Judge follows one regulator. Make it with New.
type Judge struct {
	settings Settings
	gather   drive.Gather
	course   drive.Course
	flutter  flutter
	fitter   drive.Fitter
	finding  Finding
	memory   Memory

	minute drive.Minute // that the last step filled
	full   bool

	candidate State
	minutes   int // for which the candidate was the answer
}

// New returns a judge who has seen nothing.
func New(s Settings) *Judge { return &Judge{settings: s} }

// Memory returns what to keep over a restart.
func (j *Judge) Memory() Memory { return j.memory }

// Restore takes what was kept. Nonsense counts as nothing.
func (j *Judge) Restore(m Memory) {
	if !(m.Reach >= 0 && m.Reach < 100 && m.Held >= 0 && m.Held < 100) {
		m = Memory{}
	}
	j.memory = m
}

// Course returns the draft against the drive as the judge sees it; valid until Step.
func (j *Judge) Course() *drive.Course { return &j.course }

// Minute returns the calm minute of fire that the last step filled, false if it did not.
func (j *Judge) Minute() (drive.Minute, bool) { return j.minute, j.full }

// settled is for how many minutes an answer must stay the same to count: longer where the
// level decides, which a chimney that is still warming up or a windy hour can fake.
var settled = [...]int{Holding: 5, StuckShut: 5, StuckOpen: 20, SetHigh: 15, SetLow: 30, Fluttering: 2, low: 20}

// Step takes a frame. The finding stands until another burn shows something else.
func (j *Judge) Step(in Inputs) Finding {
	fire := in.Phase.Fire()
	if fire && !in.Spoilt {
		j.finding.Swing = j.flutter.step(in.At, in.Values[frame.Draft])
	} else {
		j.flutter.reset()
		j.finding.Swing = Swing{}
	}
	m, full := j.gather.Step(in.At, &in.Values, j.settings.Air, in.Spoilt || !fire)
	j.minute, j.full = m, full && m.Calm()
	if j.full {
		j.course.Add(m)
	}
	if full && !j.settings.Unfitted {
		j.answer(in.At, m.Calm())
	}
	return j.finding
}

// answer counts for how long the answer has been the same and makes it a finding.
func (j *Judge) answer(at time.Duration, calm bool) {
	state, e := Fluttering, j.finding.Exponent
	if !j.finding.Swing.Fluttering {
		if !calm {
			return
		}
		state, e = j.judge()
	}
	if state != j.candidate {
		j.candidate, j.minutes = state, 0
	}
	j.finding.Candidate, j.finding.Now = state, e
	if state == low {
		j.finding.Candidate = Unknown
	}
	j.minutes++
	if state == Unknown || j.minutes < settled[state] {
		return
	}
	if state == low {
		if j.finding.State == StuckOpen {
			f := &j.finding
			f.State, f.At, f.Exponent, f.Expected = Unknown, 0, drive.Exponent{}, 0
		}
		return
	}
	j.finding.State, j.finding.At, j.finding.Exponent = state, at, e
	j.finding.Expected = float64(j.reach() * e.To)
	if state == Holding {
		j.memory.Reach = max(j.memory.Reach, j.course.Now.Reach(half))
	}
	if e.Value <= clampAt && state != Fluttering {
		j.memory.Held = e.Draft
	}
}

// reach returns the reach of the chimney with the gate shut, 0 where it is not known.
func (j *Judge) reach() float64 {
	if j.memory.Reach > 0 {
		return j.memory.Reach
	}
	return j.settings.Reach
}

// Exponents, from package regulator's network: see package drive. Between the two nothing
// is said. Wind at the cap and an outdoor temperature that nobody measured add to the draft
// or the drive what the fire does not move, which makes an exponent smaller and leaves the
// slope, in m: a chimney of 4 m has 2.4 and more of it with its gate shut, a gate that
// holds leaves 0.3 to 1.3.
const (
	clampAt, clampHigh, clampSlope   = 0.4, 0.55, 1.6
	followAt, followLow, followSlope = 0.6, 0.4, 2.2
	// openAt: room air through a gate that stands open cools the column less the hotter the
	// flue, so that the draft rises with the drive or faster; in a blocked flue it rises
	// slower, since hotter gas takes more room. openBlind holds where the outdoor
	// temperature is not measured.
	openAt, openBlind = 0.9, 1.0
)

// The parts of the curve that are looked at: of a flue of 250 °C at 0 °C outdoors, down to
// 115 °C, and to 160 °C. The narrow one helps where the gate opens late.
var spans = [...]float64{1.75, 1.4}

// Where a level is off. openReach is the share of the chimney's own draft below which it is
// a gate that stands open: 35 % of its area leave 40 to 65 % of the draft.
const (
	offShare  = 0.05
	offPa     = 0.5
	gateBand  = 4.0 // Pa above its set draft at which a gate is wide open (common practice)
	setMargin = 2.0 // Pa
	openReach = 0.7
	// lowestReach is the draft over drive in m that a chimney has at the least with its gate
	// shut: 4 m of it lose a third. Below, a level that is held is a blocked flue, where
	// more heat only makes more loss.
	lowestReach = 2.2
	// Shares of the largest drive: reach is learnt above half, where weather and warm walls
	// count little; a gate that was set low shows above a quarter that the chimney is free.
	half, quarter = 0.5, 0.25
)

// judge answers for the curve of now, with the exponent that it goes by.
func (j *Judge) judge() (State, drive.Exponent) {
	var wide drive.Exponent
	for i, span := range spans {
		e, ok := j.fitter.Exponent(&j.course.Now, span)
		if i == 0 {
			wide = e
		}
		switch {
		case !ok:
			continue
		case e.Value <= clampAt && e.High <= clampHigh && e.Slope < clampSlope:
			return j.held(e), e
		case i > 0:
		case e.Value >= followAt && e.Low >= followLow, e.Slope >= followSlope && e.Low > clampAt/2:
			return j.following(e), e
		}
	}
	return Unknown, wide
}

// held judges the level of a draft that is held.
func (j *Judge) held(e drive.Exponent) State {
	least, most := j.limits()
	switch {
	case e.Draft > most:
		return SetHigh
	case e.Draft >= least:
		return Holding
	case j.course.Now.Reach(quarter) >= max(lowestReach, float64(openReach*j.reach())):
		return SetLow
	}
	return Unknown
}

// limits returns within which drafts a gate should hold, Pa.
func (j *Judge) limits() (least, most float64) {
	s := &j.settings
	least = s.DraftLow - max(offPa, float64(offShare*s.DraftLow))
	most = s.DraftHigh + max(offPa, float64(offShare*s.DraftHigh))
	if s.Set > 0 {
		least = max(least, s.Set-setMargin)
		most = min(most, s.Set+gateBand+setMargin)
	}
	return least, most
}

// following judges a draft that nothing holds. One that is not above what the gate was seen
// to hold says nothing: the gate hangs shut.
func (j *Judge) following(e drive.Exponent) State {
	least, high := j.limits()
	hot, _ := j.course.Now.Hottest()
	reach := j.reach()
	switch {
	case reach > 0 && hot.Reach() < float64(openReach*reach) && hot.Draft < least:
		at := openAt
		if !j.minute.Measured {
			at = openBlind
		}
		if e.Value < at || j.fell() {
			return low
		}
		return StuckOpen
	case hot.Draft > max(high+offPa, float64(1.15*j.memory.Held)+offPa):
		return StuckShut
	}
	return Unknown
}

// fell reports whether the draft fell at once, which no gate makes it.
func (j *Judge) fell() bool { return j.course.Change.Ratio > 0 && j.course.Change.Ratio < 1 }
