package alarm

import (
	"fmt"
	"time"
)

// Point is one alarm that a site has.
type Point struct {
	Key    Key
	Timing Timing
}

// Annunciator is the panel of a site's alarms: it takes what is found of each in a frame,
// and what people do about them, and says what changed. Its order is that of its points.
type Annunciator struct {
	points []point
	// statuses are those of the points, side by side, so that looking at all copies nothing.
	statuses []Status
	clock    clock
	changes  []Transition
	told     bool // changes were handed out: the next one begins anew
	counts   counter
	// episode says, for the furnace and for the monitor, that an alarm stands.
	episode [2]bool
}

// NewAnnunciator returns a panel on which nothing has been judged. It refuses a point of
// an alarm that is not declared, one that is there twice, and a time below zero.
func NewAnnunciator(points []Point) (*Annunciator, error) {
	a := &Annunciator{
		changes:  make([]Transition, 0, 2*len(points)),
		statuses: make([]Status, len(points)),
	}
	for i, pt := range points {
		d, ok := Declared(pt.Key.Name)
		switch {
		case !ok:
			return nil, fmt.Errorf("alarm %s is not declared", pt.Key)
		case a.find(pt.Key) >= 0:
			return nil, fmt.Errorf("alarm %s is there twice", pt.Key)
		case pt.Timing.Hold < 0 || pt.Timing.ClearAfter < 0:
			return nil, fmt.Errorf("alarm %s: a time below zero", pt.Key)
		}
		a.statuses[i] = Status{Key: pt.Key, Priority: d.Priority, Blind: true}
		a.points = append(a.points, point{status: &a.statuses[i], timing: pt.Timing, monitor: d.Monitor})
	}
	for i := range a.points {
		p := &a.points[i]
		d, _ := Declared(p.status.Key.Name)
		for _, rule := range d.Suppressed {
			by := rule.By
			if rule.SameChannel {
				by.Channel = p.status.Key.Channel
			}
			if j := a.find(by); j >= 0 {
				p.by = append(p.by, j)
			}
		}
	}
	return a, nil
}

// Len is the number of points.
func (a *Annunciator) Len() int { return len(a.points) }

// Status returns the i-th alarm as it stands.
func (a *Annunciator) Status(i int) Status { return a.statuses[i] }

// Statuses returns all alarms as they stand, in their order. The slice is the panel's own:
// it is not to be changed, and shows what the next step or command makes of them.
func (a *Annunciator) Statuses() []Status { return a.statuses }

// Step takes what is found in the frame at time at, one finding a point, in their order,
// and returns what changed, commands since the last step first. Time that runs backwards
// counts as no time. The slice is valid until the next step or command.
func (a *Annunciator) Step(at time.Duration, findings []Finding) []Transition {
	a.fresh()
	a.clock.advance(at)
	a.counts.advance(a.clock.now)
	for i := range a.points {
		var f Finding // blind
		if i < len(findings) {
			f = findings[i]
		}
		a.points[i].sense(a.clock.now, f)
	}
	for again := true; again; { // what is released may release another
		again = false
		for i := range a.points {
			again = a.release(&a.points[i]) || again
		}
	}
	for i := range a.points {
		a.settle(&a.points[i])
	}
	a.closeEpisodes()
	a.counts.settle()
	a.told = true
	return a.changes
}

// release ends what has ended of an alarm's silence. What is already going away then need
// not be raised for it: its condition is gone, which release reports.
func (a *Annunciator) release(p *point) bool {
	if p.shelved && a.clock.now >= p.end {
		p.shelved = false
	}
	if !p.status.Silenced() || p.shelved || p.finding.Verdict != Absent || a.suppressor(p) != "" {
		return false
	}
	p.turn(Gone)
	return true
}

// settle puts an alarm into the state that its condition, its shelf and its suppressors
// ask for.
func (a *Annunciator) settle(p *point) {
	s := p.status
	var by Name
	if s.Condition == Holds { // nothing else is suppressed
		by = a.suppressor(p)
	}
	s.SuppressedBy = ""
	switch want := p.target(by); {
	case want == Suppressed:
		s.SuppressedBy = by
		if s.State != want {
			a.enter(p, want, WasSuppressed)
		}
	case want == Shelved:
		s.ShelvedUntil = a.clock.frames(p.end)
	case want != s.State:
		a.enter(p, want, changeTo(want, s.State))
	case s.State.Standing() && p.finding.Updated && !s.Blind:
		p.show()
		a.tell(p, WasUpdated)
	case p.finding.Fault != "" && s.State.Standing():
		s.Fault = p.finding.Fault
	}
}

// target is the state that the alarm belongs into, by being the name of what suppresses it.
func (p *point) target(by Name) State {
	s := p.status
	switch {
	case p.shelved:
		return Shelved
	case s.Condition == NotKnown:
		return Unjudged
	case s.Condition == Gone && s.Occurrence > 0 && !s.Acknowledged:
		return Returned
	case s.Condition == Gone:
		return Normal
	case by != "":
		return Suppressed
	case s.State.Standing():
		return s.State
	default:
		return Raised
	}
}

func changeTo(want, was State) Change {
	switch {
	case want == Raised:
		return WasRaised
	case was == Shelved:
		return WasUnshelved
	case was == Unjudged:
		return BecameKnown
	default:
		return WasCleared
	}
}

// suppressor returns the name of an alarm that suppresses p now. One that is itself
// suppressed does, since something stands above it; one that a person has shelved does
// not: silencing one alarm must not silence others.
func (a *Annunciator) suppressor(p *point) Name {
	for _, j := range p.by {
		if q := &a.points[j]; q.status.Condition == Holds && !q.shelved {
			return q.status.Key.Name
		}
	}
	return ""
}

// enter puts the alarm into a state and tells of it.
func (a *Annunciator) enter(p *point, s State, c Change) {
	now := a.clock.now
	if p.status.State.Standing() && !s.Standing() && p.status.Condition == Gone {
		p.cleared, p.fell = now, true
	}
	if s != Shelved {
		p.status.ShelvedUntil, p.status.ShelvedBy = 0, ""
	}
	p.status.State, p.since, p.status.Since = s, now, a.clock.at
	switch c {
	case WasRaised:
		p.raise(now)
		a.counts.raised(p.status.Priority)
		a.firstOut(p)
		p.show()
	case BecameKnown, WasCleared, WasSuppressed:
		p.show()
	}
	a.tell(p, c)
}

// show takes the numbers of this step over into the status.
func (p *point) show() {
	f := &p.finding
	if f.Verdict == Blind {
		return
	}
	p.status.Value, p.status.Limit, p.status.Fault = f.Value, f.Limit, f.Fault
}

// firstOut marks p if it begins an episode.
func (a *Annunciator) firstOut(p *point) {
	open := &a.episode[group(p.monitor)]
	if *open {
		return
	}
	*open = true
	for i := range a.points {
		if q := &a.points[i]; q.monitor == p.monitor {
			q.status.First = q == p
		}
	}
}

func (a *Annunciator) closeEpisodes() {
	a.episode = [2]bool{}
	for i := range a.points {
		if p := &a.points[i]; p.status.State.Standing() {
			a.episode[group(p.monitor)] = true
		}
	}
}

func group(monitor bool) int {
	if monitor {
		return 1
	}
	return 0
}

func (a *Annunciator) tell(p *point, c Change) {
	a.fresh()
	a.changes = append(a.changes, Transition{*p.status, c})
}

// fresh drops the changes that were handed out.
func (a *Annunciator) fresh() {
	if a.told {
		a.changes, a.told = a.changes[:0], false
	}
}

func (a *Annunciator) find(k Key) int {
	for i := range a.points {
		if a.points[i].status.Key == k {
			return i
		}
	}
	return -1
}
