package cause

import (
	"math"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// maxBack is how far time may run backwards for a frame to be merely out of order; one
// from further back begins a new history.
const maxBack = 10 * time.Minute

// visit is how long a visit to the door is taken for a load that may yet be told.
const visit = 8 * time.Minute

// Inputs are what the tracker must know of one frame. Temperatures in °C, drafts in Pa.
type Inputs struct {
	At     time.Duration
	Values frame.Values // trusted readings, NaN where there is none
	Phase  burn.Phase
	Load   burn.Load // the latest; the zero value if none is known
	Door   bool      // a door is open, as far as the readings tell
	// DraftLow and DraftHigh are the band that the appliance's maker specifies, Limits
	// the temperatures that it must not pass; zero where there is none.
	DraftLow, DraftHigh float64
	Limits              [frame.Count]float64
	BlowerStopped       bool // the air stands still although the plenum is hot
	ChimneyFire         bool // the deposit in the flue is found to burn
}

// Tracker follows a furnace, frame by frame, so that it can say at any time why it is too
// hot. The zero value has seen nothing.
type Tracker struct {
	course course
	now    Inputs
	seen   bool

	door, stopped time.Duration // since when, while Inputs says so
	visited       bool          // a door was opened, at door, and shut again
	coals         time.Duration // since when, while the phase is coals
	bedded        time.Duration // how long it had been coals when the door was opened
	unseen        bool          // the latest load was told by its fire alone, without a door
	moisture      float64
	noted         time.Duration
	hasNote       bool

	leaps        leaps
	pace, before paces // of the present load and the one before

	rankings [nFollowed + 1]ranking // what Rank found since the last slot, a channel each
}

// ranking is a remembered answer.
type ranking struct {
	subject alarm.Name
	list    [nCauses]Cause
	n       int
	valid   bool
}

// absurd is beyond what any channel of a furnace can have, °C or Pa.
const absurd = 1e5

// sane takes numbers that mean nothing for no reading, and for no setting.
func (in *Inputs) sane() {
	for i, v := range in.Values {
		if !(v >= -absurd && v <= absurd) {
			in.Values[i] = math.NaN()
		}
	}
	for _, v := range [...]*float64{&in.Load.Flue, &in.Load.Chamber, &in.Load.Firebox} {
		if !(*v >= -absurd && *v <= absurd) {
			*v = math.NaN()
		}
	}
	for i, v := range in.Limits {
		if !(v > 0 && v <= absurd) {
			in.Limits[i] = 0
		}
	}
	for _, v := range [...]*float64{&in.DraftLow, &in.DraftHigh} {
		if !(*v > 0 && *v <= absurd) {
			*v = 0
		}
	}
}

// Step takes a frame. One that is out of order is left out.
func (t *Tracker) Step(in Inputs) {
	in.sane()
	if t.seen && in.At <= t.now.At {
		if in.At > t.now.At-maxBack {
			return
		}
		t.course, t.seen, t.visited = course{}, false, false
		t.leaps, t.pace, t.before = leaps{}, paces{}, paces{}
	}
	if in.Phase != burn.Coals || !t.seen || t.now.Phase != burn.Coals {
		t.coals = in.At
	}
	switch {
	case in.Door && !(t.seen && t.now.Door):
		t.door, t.visited, t.bedded = in.At, false, in.At-t.coals
	case !in.Door && t.seen && t.now.Door:
		t.visited = true
	}
	if !in.BlowerStopped || !t.seen || !t.now.BlowerStopped {
		t.stopped = in.At
	}
	changed := !t.seen || in.Door != t.now.Door || in.BlowerStopped != t.now.BlowerStopped ||
		in.ChimneyFire != t.now.ChimneyFire ||
		in.Load.Known != t.now.Load.Known || in.Load.At != t.now.Load.At
	if in.Load.Known != t.now.Load.Known || in.Load.At != t.now.Load.At {
		t.before, t.pace = t.pace, paces{}
		t.unseen = (in.Load.At - t.door).Abs() > 3*time.Minute
	}
	finished := t.course.add(in.At, &in.Values)
	t.now, t.seen = in, true
	if finished {
		t.watch()
		t.follow()
	}
	if finished || changed {
		t.forget()
	}
}

// Fuel notes the moisture of the wood as somebody logged it at time at: wet basis, 0 to
// 1. The note holds until the next one; an impossible one takes it back.
func (t *Tracker) Fuel(moisture float64, at time.Duration) {
	t.moisture, t.noted, t.hasNote = moisture, at, moisture >= 0 && moisture < 1
	t.forget()
}

// Moisture returns the note that holds, and whether there is one.
func (t *Tracker) Moisture() (wet float64, noted bool) { return t.moisture, t.hasNote }

func (t *Tracker) forget() {
	for i := range t.rankings {
		t.rankings[i].valid = false
	}
}

// Rank appends to dst, best first, why the present state that the alarm is about came to
// be: Overheat or Runaway of a channel, ChimneyFire, PlenumOverheat. Nothing is appended
// when nothing stands out. With room in dst it does not allocate, and within 10 s of
// frames it gives the same answer again without looking.
func (t *Tracker) Rank(subject alarm.Key, dst []Cause) []Cause {
	c := subject.Channel
	switch {
	case subject.Name == alarm.PlenumOverheat:
		c = frame.Plenum
	case subject.Name == alarm.ChimneyFire || c >= frame.Count:
		c = frame.Flue
	}
	r, ok := row(c)
	if !ok || c == frame.Draft || !t.seen {
		return dst
	}
	if subject.Name == alarm.ChimneyFire {
		r = nFollowed // beside a flue that is too hot
	}
	m := &t.rankings[r]
	if !m.valid || m.subject != subject.Name {
		m.subject, m.valid = subject.Name, true
		m.n = t.judge(subject.Name, c, &m.list)
	}
	return append(dst, m.list[:m.n]...)
}

// room is the temperature that the furnace would have without a fire, °C.
func (t *Tracker) room() float64 { return t.now.Values.Or(frame.Room, 20) }

// span is the way from the room to the channel's limit, K; without a limit, to the highest
// reading that is remembered.
func (t *Tracker) span(c frame.Channel) float64 {
	top := t.now.Limits[c]
	if top == 0 {
		r, _ := row(c)
		top = t.course.top(r)
	}
	return max(top-t.room(), leastSpan)
}

// leastSpan is what a span is at the least, K.
const leastSpan = 50.0

// load returns the latest load, and false if there is none to speak of. Whether wood was
// laid on is told minutes after the door was shut; a fire with the wrong wood does not
// wait, and until then a visit to the door counts as a load.
func (t *Tracker) load() (burn.Load, bool) {
	l := t.now.Load
	known := (l.At != 0 || l.Known != 0 || l.Cold) && l.At <= t.now.At
	if !t.visited || t.now.At-t.door > visit || known && l.At > t.door-time.Minute {
		return l, known
	}
	c, just := &t.course, t.door-time.Minute
	return burn.Load{
		At: t.door, Known: t.now.At, Coals: t.bedded, Age: t.door - l.At,
		Flue: c.near(rowFlue, just), Chamber: c.near(rowChamber, just), Firebox: c.near(rowFirebox, just),
	}, true
}
