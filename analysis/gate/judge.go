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
	// Swing is the gate's movement; judged at 1 Hz of sampling and more.
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
	// Reach is the largest draft over drive of the last burn with a working gate, m; 0: none.
	// The last one, so that creosote, which grows slowly, is not taken for a gate.
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
var settled = [...]int{Holding: 5, StuckShut: 5, StuckOpen: 20, SetHigh: 15, SetLow: 30, Fluttering: 2}

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
	j.minutes++
	if state == Unknown || j.minutes < settled[state] {
		return
	}
	if tooOpen(state) && tooOpen(j.finding.State) {
		state = j.finding.State // the two look alike: the first name stays
	}
	j.finding.State, j.finding.At, j.finding.Exponent = state, at, e
	j.finding.Expected = float64(j.reach() * e.To)
	if state == Holding {
		j.memory.Reach = j.course.Now.Reach(half)
	}
	if e.Value <= clampAt && state != Fluttering {
		j.memory.Held = e.Draft
	}
}

// tooOpen reports whether the gate lets in too much.
func tooOpen(s State) bool { return s == StuckOpen || s == SetLow }

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
	openReach = 0.6
	// shutShare: what a gate lets in is at most what the flue can carry, so that some draft
	// is left; below it the flue is shut.
	shutShare = 0.1
	// openSet is the share of its set draft below which a gate that works cannot be open.
	openSet = 0.7
	// openDrive is the drive in Pa/m that a fire must reach to say so: a flue of 110 °C at
	// 0 °C outdoors.
	openDrive = 3.5
	// freeReach is the share of the reach that a chimney shows in spite of a gate that was
	// set low.
	freeReach = 0.33
	// lowestReach stands in where the reach is not known: half that of a chimney of 4 m. Below,
	// a level that is held is a blocked flue, where more heat only makes more loss.
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
			return j.following(), e
		}
	}
	return j.low(), wide
}

// held judges the level of a draft that is held.
func (j *Judge) held(e drive.Exponent) State {
	least, most := j.limits()
	switch {
	case e.Draft > most:
		return SetHigh
	case e.Draft >= least:
		return Holding
	case j.course.Now.Reach(quarter) >= j.free():
		return SetLow
	}
	return j.low()
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

// free returns the reach in m from which a chimney counts as free.
func (j *Judge) free() float64 {
	if reach := j.reach(); reach > 0 {
		return float64(freeReach * reach)
	}
	return lowestReach
}

// following judges a draft that nothing holds. One that is not above what the gate was seen
// to hold says nothing: the gate hangs shut.
func (j *Judge) following() State {
	_, most := j.limits()
	hot, _ := j.course.Now.Hottest()
	if s := j.low(); s != Unknown {
		return s
	}
	if hot.Draft > max(most+offPa, float64(1.15*j.memory.Held)+offPa) {
		return StuckShut
	}
	return Unknown
}

// low looks for a draft that is far below what the chimney gives by itself, or fell at
// once; unless there is none at all.
func (j *Judge) low() State {
	level, _ := j.limits()
	if j.settings.Set > 0 {
		level = min(level, float64(openSet*j.settings.Set))
	}
	hot, ok := j.course.Now.Hottest()
	if !ok || hot.Draft >= level {
		return Unknown
	}
	fell, reach := j.course.Change.Ratio, j.reach()
	switch {
	case fell > shutShare && fell < 1,
		hot.Drive >= openDrive && hot.Reach() < float64(openReach*reach) && hot.Reach() > float64(shutShare*reach):
		return StuckOpen
	}
	return Unknown
}
