package notify

import (
	"slices"
	"time"

	"fluewright/analysis/alarm"
)

// Desk decides who is told what and when. It is pure: time comes in. It keeps one
// occurrence an alarm, so that it is no larger than the site's list of alarms.
type Desk struct {
	site        string
	policy      Policy
	lanes       []lane
	occurrences []*occurrence // in the order in which they were first seen
}

// lane is the way to one person through one transport.
type lane struct {
	person, route int
	transport     string

	sending   bool
	inFlight  []sent
	notBefore time.Duration // after a failure
	failures  int           // in a row
	failed    time.Duration // the first of them
	lastTry   time.Duration
	alarmed   bool          // a high alarm was ever told here
	lastHigh  time.Duration // when
}

// sent is an item that is on its way.
type sent struct {
	key  alarm.Key
	no   uint32
	what what
}

// NewDesk returns a desk that was told of nothing.
func NewDesk(site string, p Policy) *Desk {
	d := &Desk{site: site, policy: p}
	for i, person := range p.People {
		for r, via := range person.Via {
			d.lanes = append(d.lanes, lane{person: i, route: r, transport: via})
		}
	}
	return d
}

// Take takes what became of an alarm. To take the same twice changes nothing, so that after
// a restart all alarms can be taken again.
func (d *Desk) Take(now Moment, n News) {
	s := n.Status
	d.correct(now)
	st, ok := stageOf(s)
	o := d.find(s.Key)
	switch {
	case !ok:
		return
	case s.Occurrence == 0: // never raised, as far as whoever judges remembers
		if st == over && o != nil && o.stage != over {
			d.end(o, now, n.Wall)
		}
		return
	case o == nil && st == over:
		return // nobody was told
	case o == nil:
		o = &occurrence{key: s.Key, priority: s.Priority, legs: make([]leg, len(d.lanes))}
		d.occurrences = append(d.occurrences, o)
		o.begin(s.Occurrence, now, n.Wall)
	case o.no != s.Occurrence && st != over:
		if o.stage != over {
			d.end(o, now, n.Wall) // its end was not seen
		}
		o.begin(s.Occurrence, now, n.Wall)
	case o.no != s.Occurrence && o.stage == over:
		o.no = s.Occurrence // came and went unseen
		return
	}
	o.first, o.priority, o.no = s.First, s.Priority, s.Occurrence
	if st == over {
		if o.stage != over {
			d.end(o, now, n.Wall)
		}
		return
	}
	o.stage, o.texts = st, n.Texts
}

// correct puts times right that were taken before the clock was known to be right.
func (d *Desk) correct(now Moment) {
	if !now.Trusted {
		return
	}
	for _, o := range d.occurrences {
		if o.guessed {
			o.raisedWall, o.guessed = now.Wall.Add(o.raised-now.At), false
			if o.stage == over {
				o.endedWall = now.Wall.Add(o.ended - now.At)
			}
		}
	}
}

// Keep forgets alarms that the site does not have any more.
func (d *Desk) Keep(has func(alarm.Key) bool) {
	d.occurrences = slices.DeleteFunc(d.occurrences, func(o *occurrence) bool { return !has(o.key) })
}

// end takes that an occurrence is over.
func (d *Desk) end(o *occurrence, now Moment, wall time.Time) {
	o.endedWall = wall
	for i := range d.lanes {
		l := &o.legs[i]
		at, asked := d.firstTold(i, o, now)
		if asked && now.At >= at && d.lanes[i].failures > 0 && !d.hushed(i, o.priority, now) {
			l.miss(o, now.At)
		}
	}
	o.stage, o.ended = over, now.At
}

func (d *Desk) find(k alarm.Key) *occurrence {
	for _, o := range d.occurrences {
		if o.key == k {
			return o
		}
	}
	return nil
}

// hushed reports whether a lane's person is not disturbed now by an alarm of a priority.
func (d *Desk) hushed(i int, p alarm.Priority, now Moment) bool {
	return p < alarm.High && d.policy.People[d.lanes[i].person].Quiet.at(now)
}

// firstTold is when a lane tells of an occurrence that asks and that it has not told; ok is
// false if it does not. Where whoever comes before cannot be reached, nobody waits for them.
func (d *Desk) firstTold(i int, o *occurrence, now Moment) (at time.Duration, ok bool) {
	ln, leg := &d.lanes[i], &o.legs[i]
	wait, takes := d.policy.wait(ln.person, o.priority)
	if !takes || o.stage != asks || leg.told || leg.refused || o.priority == alarm.Low && ln.route > 0 && !d.deaf(i, o, now) {
		return 0, false
	}
	if d.deaf(i, o, now) {
		wait = 0
	} else {
		wait += time.Duration(ln.route) * d.policy.Second
	}
	return o.raised + wait, true
}

// deaf reports whether all that comes before lane i fails: for a person's first transport
// those of the people who are told before, for a while already, since a router that starts
// anew is no reason to call the neighbours; for the others the person's own.
func (d *Desk) deaf(i int, o *occurrence, now Moment) bool {
	me := &d.lanes[i]
	mine, _ := d.policy.wait(me.person, o.priority)
	before := 0
	for j := range d.lanes {
		ln := &d.lanes[j]
		wait, takes := d.policy.wait(ln.person, o.priority)
		earlier := ln.person == me.person && ln.route < me.route || ln.person != me.person && takes && wait < mine && me.route == 0
		if !earlier {
			continue
		}
		before++
		if ln.failures == 0 || ln.person != me.person && now.At-ln.failed < outage {
			return false
		}
	}
	return before > 0
}

// what says why an item is in a message.
type what uint8

const (
	raise  what = iota // the first telling
	remind             // of a high one that nobody has taken
	ending             // to who was told of it
	missed             // it came and went while the lane could not deliver
)

var whats = [...]string{"raised", "reminder", "over", "missed"}

// item is something that a lane is to tell.
type item struct {
	o    *occurrence
	what what
	due  time.Duration
}

// items returns what a lane is to tell now, and when there will be more; later is false if
// time alone brings nothing.
func (d *Desk) items(i int, now Moment) (due []item, next time.Duration, later bool) {
	soon := func(at time.Duration) {
		if !later || at < next {
			next, later = at, true
		}
	}
	for _, o := range d.occurrences {
		l := &o.legs[i]
		var all [2]item
		n := 0
		switch at, ok := d.firstTold(i, o, now); {
		case ok:
			all[n], n = item{o, raise, at}, n+1
		case o.stage == asks && o.priority == alarm.High && (l.told || l.refused):
			all[n], n = item{o, remind, l.last + d.policy.Repeat}, n+1
		case o.stage == over && l.owes:
			all[n], n = item{o, ending, o.ended}, n+1
		}
		if l.lost.count > 0 {
			all[n], n = item{o, missed, l.lost.at}, n+1
		}
		for _, it := range all[:n] {
			switch {
			case now.At < it.due:
				soon(it.due)
			case d.hushed(i, o.priority, now):
				soon(now.At + quietLook)
			default:
				due = append(due, it)
			}
		}
	}
	return due, next, later
}

// ready is when a lane sends what is due: at once if it is urgent.
func (ln *lane) ready(due []item) time.Duration {
	at := due[0].due + burst
	for _, it := range due {
		at = min(at, it.due+burst)
	}
	for _, it := range due {
		switch {
		case it.o.priority < alarm.High || it.what == ending || it.what == missed:
		case ln.alarmed:
			at = min(at, max(it.due, ln.lastHigh+burst))
		default:
			at = min(at, it.due)
		}
	}
	return max(at, ln.notBefore)
}

// Due returns the messages that are to be sent now. Each has to be answered with Done; until
// then its lane sends no other.
func (d *Desk) Due(now Moment) []Message {
	d.correct(now)
	var all []Message
	for i := range d.lanes {
		ln := &d.lanes[i]
		if ln.sending {
			continue
		}
		due, _, _ := d.items(i, now)
		if len(due) == 0 || now.At < ln.ready(due) {
			continue
		}
		ln.sending, ln.lastTry = true, now.At
		ln.inFlight = ln.inFlight[:0]
		for _, it := range due {
			ln.inFlight = append(ln.inFlight, sent{it.o.key, it.o.no, it.what})
		}
		all = append(all, d.compose(i, due, now))
	}
	return all
}

// Wake returns when Due is to be asked again if nothing happens before; ok is false if
// there is nothing to wait for.
func (d *Desk) Wake(now Moment) (at time.Duration, ok bool) {
	soon := func(t time.Duration) {
		if !ok || t < at {
			at, ok = t, true
		}
	}
	asked := slices.ContainsFunc(d.occurrences, func(o *occurrence) bool { return o.stage == asks })
	for i := range d.lanes {
		ln := &d.lanes[i]
		if asked && ln.failures > 0 && now.At-ln.failed < outage {
			soon(ln.failed + outage) // then others may be told instead
		}
		if ln.sending {
			continue
		}
		due, next, later := d.items(i, now)
		if later {
			soon(next)
		}
		if len(due) > 0 {
			soon(ln.ready(due))
		}
	}
	return at, ok
}

// Result is what became of a message.
type Result uint8

// The results.
const (
	Delivered Result = iota // the next station has taken it
	Failed                  // it may be taken later
	Refused                 // it will not be taken, however often it is sent
)

// Done takes what became of the message of a lane; pause is how long the lane rests after a
// failure.
func (d *Desk) Done(now Moment, lane int, r Result, pause time.Duration) {
	if lane < 0 || lane >= len(d.lanes) || !d.lanes[lane].sending {
		return
	}
	ln := &d.lanes[lane]
	ln.sending = false
	if r != Delivered {
		if ln.failures == 0 {
			ln.failed = now.At
		}
		ln.failures++
		ln.notBefore = now.At + max(pause, 0)
	} else {
		ln.failures, ln.notBefore = 0, 0
	}
	if r == Failed {
		return
	}
	for _, s := range ln.inFlight {
		if o := d.find(s.key); o != nil {
			d.settle(ln, &o.legs[lane], o, s, now.At, r)
		}
	}
}

// settle takes what became of one item that is not sent again.
func (d *Desk) settle(ln *lane, l *leg, o *occurrence, s sent, now time.Duration, r Result) {
	same := o.no == s.no
	switch s.what {
	case raise, remind:
		if r == Delivered {
			l.owes = true
			if o.priority == alarm.High {
				ln.alarmed, ln.lastHigh = true, now
			}
		}
		if !same {
			return
		}
		l.told, l.refused = l.told || r == Delivered, r == Refused
		l.last = now
		l.times++
		if r == Delivered && o.stage == over {
			l.lost = lost{} // it was told after all
		}
	case ending:
		// Where the alarm has come again meanwhile, its end is told with that one's.
		if o.stage == over && same {
			l.owes = false
		}
	case missed:
		l.lost = lost{}
	}
}

// Trouble lists the transports that have not delivered for so long that somebody has to
// look.
func (d *Desk) Trouble(now Moment) []string {
	var all []string
	for i := range d.lanes {
		ln := &d.lanes[i]
		if ln.failures == 0 || now.At-ln.failed < troubled {
			continue
		}
		due, _, _ := d.items(i, now)
		if len(due) > 0 || ln.sending || now.At-ln.lastTry < forgiven {
			all = append(all, ln.transport)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// Pending counts the lanes in which something waits or is on its way.
func (d *Desk) Pending(now Moment) (n int) {
	for i := range d.lanes {
		if due, _, _ := d.items(i, now); len(due) > 0 || d.lanes[i].sending {
			n++
		}
	}
	return n
}
