package burn

import (
	"math"
	"time"

	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
)

// Site is what is known of the furnace. Everything may be left at zero.
type Site struct {
	// DraftLow and DraftHigh are the appliance's band, Pa.
	DraftLow, DraftHigh float64
	// Limits are the temperatures of overheating, °C, zero where there is none.
	Limits [frame.Count]float64
	// Flue is the chimney; TypicalFlue where it is left out.
	Flue Flue
	// AirFlow is what the blower moves, m³/s at the plenum; zero where not known.
	AirFlow float64
}

func (s *Site) banded() bool { return s.DraftHigh > s.DraftLow && s.DraftLow > 0 }

// Inputs are the readings to judge by: those that may be trusted, NaN for the others.
type Inputs struct {
	At     time.Duration
	Values frame.Values
}

// Changes is what a frame changed.
type Changes struct {
	From, To Phase
	// Opened and Closed say that a door was: Tracker.Door has the times. Both are set for
	// one that was recognised after it was shut.
	Opened, Closed bool
	// Loaded says that wood was recognised, a cold start's too: Tracker.Load has it.
	Loaded bool
	// Ended says that a burn did: Tracker.Finished has it. After a load on coals the next
	// one has begun.
	Ended bool
}

// Tracker follows one furnace. The zero value knows nothing of the site and has seen
// nothing. It needs the flue; while that is missing, the last phase is held, since a fire
// does not end because a wire came off.
//
// Time that runs backwards counts as no time. A silence of up to resumeAfter is bridged;
// a longer one ends the burn where it was last seen.
type Tracker struct {
	Site Site

	Phase Phase
	Since time.Duration
	// Burn is the present burn, while Phase.Fire, and Finished the last one that ended.
	Burn, Finished Summary

	last    time.Duration
	started bool
	seen    bool // the flue was, at the last frame
	room    float64
	haveRm  bool
	blips   blips
	courses [frame.Count]course
	swing   swing // of the flue
	doors   doors
	visit   visit
	load    Load
	hasLoad bool
	levels  levels
	stir    stir
	wall    wall
	fan     fan

	// aside is the burn that will have begun with the visit, if it turns out to be a load
	// on coals, and before the one that will have ended with it.
	aside, before Summary
	began         time.Duration // when the cold flue last did not rise
}

// New returns a tracker of the site.
func New(s Site) *Tracker { return &Tracker{Site: s} }

const (
	assumedRoom = 20.0 // °C, where there was never a room reading
	// absurd is more than any channel can have in its unit: no reading.
	absurd = 1e6
	// resumeAfter is the longest silence after which a fire that is still seen is the same
	// burn: char alone glows for one to four hours (from memory).
	resumeAfter = 2 * time.Hour
)

// Load returns the latest wood laid on, false where none was seen.
func (t *Tracker) Load() (Load, bool) { return t.load, t.hasLoad }

// Door returns the door as far as the readings tell.
func (t *Tracker) Door() Door { return t.doors.door }

// DoorLikely reports whether a door seems to stand open that Door does not tell: the draft went
// to nothing at once, and not beyond, and the fire has felt it. It may as well have stopped.
func (t *Tracker) DoorLikely() bool { return t.doors.likely }

// Rise returns the way up that the flue is on, false where it is not.
func (t *Tracker) Rise() (Rise, bool) {
	if !t.swing.seen || !t.swing.up {
		return Rise{}, false
	}
	r := Rise{At: t.swing.lowAt, From: t.swing.low}
	d := t.doors.door
	r.Door = d.At != 0 && d.At <= r.At+riseAfter && (d.Open || r.At-d.Closed <= riseAfter)
	return r, true
}

// riseAfter is how far from a door's visit a low point may lie to come of it.
const riseAfter = 10 * time.Minute

// Wall returns the temperature in °C of the inner wall at the chimney's top, worked out
// from the flue gas, and how far it is from getting wet or sticky; false without fire or
// flue. A typical chimney is taken where the site's is not known.
func (t *Tracker) Wall() (celsius float64, m chimney.Margins, ok bool) {
	return t.wall.celsius, t.wall.margins, t.wall.known
}

// Step takes a frame.
func (t *Tracker) Step(in Inputs) Changes {
	ch := Changes{From: t.Phase, To: t.Phase}
	at, dt := t.clock(in.At)
	if dt > resumeAfter {
		ch.Ended = t.interrupt(at)
	}
	v := &in.Values
	for c := range v {
		if !(math.Abs(v[c]) <= absurd) {
			v[c] = math.NaN()
		}
	}
	t.blips.step(dt, v)
	if v.Has(frame.Room) {
		t.room, t.haveRm = v[frame.Room], true
	} else if !t.haveRm {
		t.room = assumedRoom
	}
	door := t.doors.step(at, dt, v, &t.courses, t.room, t.Phase)
	ch.Opened, ch.Closed = door.opened, door.closed
	for _, c := range fires {
		t.courses[c].step(dt, v[c])
	}
	if v.Has(frame.Flue) {
		t.swing.step(at, v[frame.Flue], t.room)
	}
	t.fan.step(at, v)
	t.wall.step(dt, &t.Site, v, t.draft(v), t.room, t.Phase.Fire())
	t.account(at, dt, v)
	if ch.Opened {
		t.open()
	}
	switch {
	case door.mistaken && t.visit.open:
		t.visit.open = false
		t.Burn.Doors--
	case ch.Closed:
		t.visit.closed = t.doors.door.Closed
		t.visit.sagged = t.visit.sagged || t.doors.plain
	}
	t.judge(at, dt, v, &ch)
	t.seen = v.Has(frame.Flue)
	return ch
}

// clock makes time that never runs backwards.
func (t *Tracker) clock(at time.Duration) (now, dt time.Duration) {
	switch {
	case !t.started:
		t.started, t.last = true, at
		return at, 0
	case at <= t.last:
		return t.last, 0
	}
	dt = at - t.last
	if dt < 0 { // overflow: longer than anything
		dt = math.MaxInt64
	}
	t.last = at
	return at, dt
}

// interrupt ends everything that was under way: nobody knows what happened since.
func (t *Tracker) interrupt(at time.Duration) (ended bool) {
	if t.Phase.Fire() {
		t.Finished, ended = t.Burn, true
	}
	*t = Tracker{
		Site: t.Site, Finished: t.Finished, last: at, started: true, room: t.room, haveRm: t.haveRm,
		load: t.load, hasLoad: t.hasLoad, wall: wall{site: t.wall.site, gas: t.wall.gas, ready: t.wall.ready, typical: t.wall.typical},
	}
	return ended
}

// draft is the draft averaged over seconds, NaN without one.
func (t *Tracker) draft(v *frame.Values) float64 {
	if !v.Has(frame.Draft) || !t.doors.draft {
		return math.NaN()
	}
	return t.doors.quick
}

// account adds the time since the frame before to the burn, in the phase that it was.
func (t *Tracker) account(at, dt time.Duration, v *frame.Values) {
	if !t.Phase.Fire() {
		return
	}
	m := moment{
		at: at, dt: dt, seen: dt <= maxGap && (t.seen || dt == 0) && v.Has(frame.Flue), phase: t.Phase,
		values: v, draft: t.draft(v), site: &t.Site, wall: &t.wall, fan: t.fan,
	}
	t.Burn.add(&m)
	if t.visit.open {
		t.aside.add(&m)
	}
}

// open begins a visit: whatever is laid on now is judged against what was before. Doors that
// follow upon each other are one visit, and a door soon after a load belongs to it.
func (t *Tracker) open() {
	d := &t.doors
	t.Burn.Doors++
	if w := &t.visit; w.open && w.load.Door && d.door.At-w.at <= together {
		w.closed, w.over = d.door.At, 0
		return
	}
	if t.hasLoad && d.door.At-t.load.At < anew {
		return
	}
	w := visit{open: true, at: d.door.At, closed: d.door.At, before: d.before, flames: t.levels.flames()}
	w.load = Load{
		At: d.door.At, Door: true,
		Flue: w.before[frame.Flue].level, Chamber: w.before[frame.Chamber].level, Firebox: w.before[frame.Firebox].level,
	}
	if t.Phase == Coals {
		w.load.Coals = max(0, d.door.At-t.Since)
	}
	if t.hasLoad {
		w.load.Age = max(0, d.door.At-t.load.At)
	}
	t.visit = w
	t.before, t.aside = t.Burn, nothing(OnCoals, t.last)
}
