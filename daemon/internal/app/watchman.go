package app

import (
	"cmp"
	"sync/atomic"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/notify"
)

// All of these are judgement, except where noted.
const (
	// undelivered is how long the broker may take nothing while something waits: where no
	// history is kept telemetry begins to be lost then.
	undelivered = 30 * time.Minute
	// unheard is how long our own word may take to come back from the broker, which sends it on
	// before everything else.
	unheard = 5 * time.Minute
	// lossTold is how long the loss of a message is worth an alarm.
	lossTold = 10 * time.Minute
	// slowTold is how long a storage that has stalled counts as one that does.
	slowTold = 10 * time.Minute
	// clockUnset is how long the clock may be without synchronisation: the time services
	// in use try every few minutes to hours.
	clockUnset = 24 * time.Hour
	// clockStep is more than a leap second and less than whatever makes two records seem
	// to be in the other order.
	clockStep = 2 * time.Second
	// jumpsWithin is the time in which the third step makes a clock one that jumps. One
	// may be a person, and two are that person's mistake.
	jumpsWithin = time.Hour
)

// watchman judges once a tick whether the monitor itself does as it should. The loop alone
// calls it.
type watchman struct {
	history  func() history.Health // nil where none is kept
	forgets  func() bool           // whether alarms cannot be saved; nil where they are not kept
	delivery func() mqtt.Stats
	people   func() notify.Stats // nil where nobody is told
	// refused says that the state directory is of a newer program.
	refused bool
	// uncalibrated says that there are calibrations and they cannot be read.
	uncalibrated bool
	// ownClock says that the wall clock is this computer's: a bench's time is nobody's.
	ownClock bool
	// late is set by whoever waited in vain for the storage.
	late atomic.Bool
	// found is what the last tick found; nil before the first.
	found atomic.Pointer[shortfalls]

	begun     bool
	slow      moment // the storage last stalled
	published uint64
	progress  time.Duration // the broker last took something, or nothing waited
	dropped   uint64
	loss      moment // a message was last given up
	mute      moment // since when our own word has not come back
	trusted   bool
	set       time.Duration // the clock was last known to be right
	offset    time.Duration // of the wall clock from the frames'
	steps     [3]moment     // the latest, oldest first
}

// moment is a time on the frames' clock; its zero value is never.
type moment struct {
	at   time.Duration
	some bool
}

func (m moment) within(d, now time.Duration) bool { return m.some && now-m.at < d }

// step returns what is wrong at the tick at, most urgent first, empty if nothing is.
func (w *watchman) step(at time.Duration, wall time.Time, trusted bool) string {
	if !w.begun {
		w.begun = true
		w.progress, w.set, w.offset, w.trusted = at, at, since1970(wall)-at, trusted
	}
	found := shortfalls{
		delivery: w.judgeDelivery(at), history: w.judgeHistory(at), clock: w.judgeClock(at, wall, trusted),
		certificate: w.judgeCertificate(wall, trusted),
	}
	if w.uncalibrated {
		found.readings = message.CalibrationUnread
	}
	if w.people != nil && len(w.people().Trouble) > 0 {
		found.people = message.NotificationDown
	}
	switch {
	case w.forgets != nil && w.forgets():
		found.memory = message.AlarmsUnsaved
	case w.refused:
		found.memory = message.StateNewer
	}
	if old := w.found.Load(); old == nil || *old != found {
		w.found.Store(&found)
	}
	return found.worst()
}

// shortfalls is what is wrong with each part of the monitor, by its code; empty where
// nothing is.
type shortfalls struct{ readings, delivery, people, history, memory, clock, certificate string }

// worst returns the most urgent.
func (s *shortfalls) worst() string {
	if s.delivery == message.DeliveryDown || s.delivery == message.DeliveryUnheard {
		return s.delivery
	}
	return cmp.Or(s.readings, s.people, s.history, s.memory, s.delivery, s.certificate, s.clock)
}

func (w *watchman) judgeDelivery(at time.Duration) string {
	s := w.delivery()
	if s.Pending == 0 || s.Published != w.published {
		w.progress, w.published = at, s.Published
	}
	if s.Dropped != w.dropped {
		w.loss, w.dropped = moment{at, true}, s.Dropped
	}
	switch {
	case !s.Unheard:
		w.mute = moment{}
	case !w.mute.some:
		w.mute = moment{at, true}
	}
	switch {
	case at-w.progress >= undelivered:
		return message.DeliveryDown
	case w.mute.some && at-w.mute.at >= unheard:
		return message.DeliveryUnheard
	case w.loss.within(lossTold, at):
		return message.DeliveryLosing
	}
	return ""
}

func (w *watchman) judgeHistory(at time.Duration) string {
	if w.history == nil {
		return ""
	}
	h := w.history()
	if w.late.Swap(false) || h.State == history.Slow {
		w.slow = moment{at, true}
	}
	switch h.State {
	case history.Full:
		return message.HistoryFull
	case history.ReadOnly:
		return message.HistoryReadOnly
	case history.Failing:
		return message.HistoryFailing
	case history.Damaged:
		return message.HistoryDamaged
	case history.Newer:
		return message.HistoryNewer
	}
	switch {
	case w.slow.within(slowTold, at):
		return message.HistorySlow
	case !h.Impaired():
		return ""
	case h.SetAside != "" && h.Dropped == 0 && h.Lost == 0:
		return message.HistoryDamaged
	}
	return message.HistoryLost
}

func (w *watchman) judgeClock(at time.Duration, wall time.Time, trusted bool) string {
	if !w.ownClock {
		return ""
	}
	offset := since1970(wall) - at
	// A clock that is set right for the first time is none that jumps.
	if (offset-w.offset).Abs() > clockStep && (w.trusted || !trusted) {
		w.steps = [3]moment{w.steps[1], w.steps[2], {at, true}}
	}
	w.offset, w.trusted = offset, trusted
	if trusted {
		w.set = at
	}
	switch {
	case w.steps[0].within(jumpsWithin, at):
		return message.ClockJumping
	case at-w.set >= clockUnset:
		return message.ClockUnset
	}
	return ""
}

func since1970(t time.Time) time.Duration { return time.Duration(t.UnixNano()) }
