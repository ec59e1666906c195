package notify

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/units"
)

// Text is what an alarm means and what to do first, in the units of one system.
type Text struct {
	What   string `json:"what"`
	Action string `json:"action,omitempty"`
}

// Texts holds a text for each system of units.
type Texts [units.SI + 1]Text

// News is an alarm as it stands after it changed.
type News struct {
	Status alarm.Status
	// Wall is when the state was entered.
	Wall  time.Time
	Texts Texts
}

// stage is what an occurrence asks of people.
type stage uint8

const (
	asks  stage = iota // it stands, and nobody has taken it
	taken              // it stands, and somebody has
	aside              // shelved, or suppressed by one that says more
	over
)

var stages = [...]string{"asks", "taken", "aside", "over"}

func (s stage) String() string { return stages[s] }

// stageOf is the stage that a status belongs to; ok is false where it says nothing, which
// is never taken for an end.
func stageOf(s alarm.Status) (st stage, ok bool) {
	switch s.State {
	case alarm.Raised:
		return asks, true
	case alarm.Acknowledged:
		return taken, true
	case alarm.Shelved, alarm.Suppressed:
		return aside, true
	case alarm.Normal, alarm.Returned:
		return over, true
	}
	return 0, false
}

// occurrence is the latest occurrence of one alarm.
type occurrence struct {
	key      alarm.Key
	no       uint32
	priority alarm.Priority
	first    bool
	stage    stage
	raised   time.Duration
	ended    time.Duration
	// raisedWall and endedWall are what people are told.
	raisedWall, endedWall time.Time
	// guessed says that the clock was not known to be right when it was raised.
	guessed bool
	texts   Texts
	legs    []leg // a lane each
	// alerted says that an alertmanager was told of it, and alertOwes that it was not told of
	// the end since.
	alerted, alertOwes bool
}

// leg is what a lane has told of an occurrence.
type leg struct {
	told    bool // this occurrence was told
	refused bool // it was refused for good: the next reminder tries again
	// owes says that the person was told of it or of one before, and not yet of the end.
	owes  bool
	last  time.Duration // of telling, or of the refusal
	times int           // how often it was told, for the message's name
	lost  lost
}

// lost is what came and went while a lane could not deliver.
type lost struct {
	count    int
	from, to time.Time
	at       time.Duration
}

// miss keeps that the occurrence is over and was not told.
func (l *leg) miss(o *occurrence, now time.Duration) {
	if l.lost.count == 0 {
		l.lost.from, l.lost.at = o.raisedWall, now
	}
	l.lost.count++
	l.lost.to = o.endedWall
}

// begin starts another occurrence of the alarm.
func (o *occurrence) begin(no uint32, now Moment, wall time.Time) {
	o.no, o.raised, o.raisedWall, o.guessed = no, now.At, wall, !now.Trusted
	for i := range o.legs {
		l := &o.legs[i]
		l.told, l.refused, l.last, l.times = false, false, 0, 0
	}
}
