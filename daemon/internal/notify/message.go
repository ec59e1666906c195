package notify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/units"
)

// Kind says what a message is about.
type Kind string

// The kinds.
const (
	Alarm    Kind = "alarm"    // something stands that was not told yet
	Reminder Kind = "reminder" // a high alarm that nobody has taken
	Over     Kind = "over"     // what was told is over
	Summary  Kind = "summary"  // it could not be delivered in time
	Test     Kind = "test"
)

// Message is what one person is told through one transport.
type Message struct {
	// ID is the same when the same is sent again: a receiver knows a repeat by it.
	ID        string
	Lane      int
	Kind      Kind
	Site      string
	Person    string
	Transport string
	Units     units.System
	// Priority is the highest of the lines that are news; Low for an end.
	Priority alarm.Priority
	At       time.Time // when it was made, by the site's clock
	Trusted  bool      // whether that clock is known to be right
	// Lines are what is told: the most urgent first, among them the one that came first.
	Lines []Line
	// Standing is what stands beside, and was told before.
	Standing []Line
}

// Line is one alarm in a message.
type Line struct {
	Key        alarm.Key
	Occurrence uint32
	Priority   alarm.Priority
	First      bool
	State      string // "raised", "acknowledged", "set-aside", "over", "came-and-went"
	// Since is when it was raised; Until when it was over, zero where it is not.
	Since, Until time.Time
	Times        int // of what came and went
	Text         Text
}

// compose makes the message of a lane from what is due.
func (d *Desk) compose(i int, due []item, now Moment) Message {
	ln := &d.lanes[i]
	p := &d.policy.People[ln.person]
	slices.SortStableFunc(due, func(a, b item) int {
		urgent := func(x item) int {
			if x.what == raise || x.what == remind {
				return int(x.o.priority)
			}
			return -int(x.what)
		}
		return cmp.Or(
			cmp.Compare(urgent(b), urgent(a)),
			cmp.Compare(flag(b.o.first), flag(a.o.first)),
			cmp.Compare(a.o.raised, b.o.raised),
		)
	})
	m := Message{
		Lane: i, Site: d.site, Person: p.Name, Transport: ln.transport, Units: p.Units,
		Priority: alarm.Low, At: now.Wall, Trusted: now.Trusted, Kind: Over,
	}
	late := false
	told := map[*occurrence]bool{}
	for _, it := range due {
		line := lineOf(it.o, p.Units)
		switch it.what {
		case raise:
			m.Kind = Alarm
		case remind:
			if m.Kind != Alarm {
				m.Kind = Reminder
			}
		case missed:
			l := it.o.legs[i].lost
			line.State, line.Since, line.Until, line.Times = "came-and-went", l.from, l.to, l.count
		}
		if it.what == raise || it.what == remind {
			m.Priority = max(m.Priority, it.o.priority)
		}
		late = late || it.what == missed || ln.failures > 0 && now.At-it.due >= outage
		if it.what != missed {
			told[it.o] = true
		}
		m.Lines = append(m.Lines, line)
	}
	if late {
		m.Kind = Summary
	}
	for _, o := range d.occurrences {
		if o.stage != over && !told[o] && d.policy.takes(ln.person, o.priority) {
			m.Standing = append(m.Standing, lineOf(o, p.Units))
		}
	}
	lead := due[0]
	m.ID = name(d.site, lead.o.key.String(), fmt.Sprint(lead.o.no), whats[lead.what], fmt.Sprint(lead.o.legs[i].times), p.Name, ln.transport)
	return m
}

func lineOf(o *occurrence, u units.System) Line {
	l := Line{
		Key: o.key, Occurrence: o.no, Priority: o.priority, First: o.first,
		Since: o.raisedWall, Text: o.texts[u], Times: 1,
	}
	switch o.stage {
	case asks:
		l.State = "raised"
	case taken:
		l.State = "acknowledged"
	case aside:
		l.State = "set-aside"
	default:
		l.State, l.Until = "over", o.endedWall
	}
	return l
}

// Asked lists the lines that a person can acknowledge by this message.
func (m *Message) Asked() []Line {
	var all []Line
	for _, l := range slices.Concat(m.Lines, m.Standing) {
		if l.State == "raised" {
			all = append(all, l)
		}
	}
	return all
}

// name joins parts into a name of a-z, 0-9 and '-'.
func name(parts ...string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(strings.Join(parts, "-")))
}

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}
