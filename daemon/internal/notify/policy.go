package notify

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/units"
)

// Policy says who is told, and how long one waits for whom.
type Policy struct {
	// Second is how long a person has before the next of their transports is tried too.
	Second time.Duration
	// Repeat is the pause between reminders of a high alarm that nobody has taken.
	Repeat time.Duration
	// Units are those of the site, for receivers that are no persons.
	Units  units.System
	People []Person
}

// Person is somebody who is told.
type Person struct {
	Name string
	// Takes says which priorities the person is told of.
	Takes [alarm.High + 1]bool
	// After is how long an alarm goes unacknowledged before the person is told.
	After time.Duration
	Quiet Quiet
	Units units.System
	// Via names the transports, the first to be tried first.
	Via []string
}

// Quiet is a time of the day at which low and medium alarms wait; a high one never does.
// From and To are minutes of the site's day, and may go over midnight. If they are equal
// there is none.
type Quiet struct{ From, To int }

// at reports whether it is quiet. A clock that is not known to be right silences nobody.
func (q Quiet) at(now Moment) bool {
	if q.From == q.To || !now.Trusted {
		return false
	}
	m := now.Wall.Hour()*60 + now.Wall.Minute()
	if q.From < q.To {
		return q.From <= m && m < q.To
	}
	return m >= q.From || m < q.To
}

// Moment is a time. At never runs backwards, and all pauses are counted on it; Wall is what
// people read, and Trusted whether it is known to be right.
type Moment struct {
	At      time.Duration
	Wall    time.Time
	Trusted bool
}

// All of these are judgement.
const (
	// burst is how long a lane collects, so that alarms that come together are one message.
	// A high alarm waits only if the person was alarmed by a high one within this time.
	burst = 10 * time.Second
	// outage is how late a message is when it becomes a summary with the times of all.
	outage = 2 * time.Minute
	// troubled is how long a lane fails before the monitor counts as impaired.
	troubled = 10 * time.Minute
	// forgiven is how long a refusal that nothing is waiting behind still counts.
	forgiven = time.Hour
	// quietLook is how often one looks whether quiet hours have ended.
	quietLook = time.Minute
	// longestStep is the most time that a restart can add.
	longestStep = 400 * 24 * time.Hour
)

// wait is how long a person waits for an alarm of a priority. The first who takes it does
// not; one of low priority is for them alone, and ok is false for the others.
func (p *Policy) wait(who int, pr alarm.Priority) (d time.Duration, ok bool) {
	if !p.takes(who, pr) {
		return 0, false
	}
	least := p.People[who].After
	for i := range p.People {
		if p.takes(i, pr) {
			least = min(least, p.People[i].After)
		}
	}
	d = p.People[who].After - least
	return d, pr > alarm.Low || d == 0
}

func (p *Policy) takes(who int, pr alarm.Priority) bool {
	return int(pr) < len(p.People[who].Takes) && p.People[who].Takes[pr]
}
