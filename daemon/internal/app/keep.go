package app

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/memory"
	"fluewright/daemon/internal/status"
)

// keepEvery is how often the alarms are kept though nothing changed, while there is
// something whose age matters.
const keepEvery = 10 * time.Minute

// keeper keeps the alarms over restarts. The loop hands it snapshots and never waits: the
// disk may take its time, and the newest snapshot is all that matters.
type keeper struct {
	dir  string
	take func(wall time.Time, trusted bool) analysis.Snapshot
	save func(dir string, s analysis.Snapshot) error
	say  func(msg string, args ...any)

	// upkeep is the count of hours; nil where nobody looks at it.
	upkeep func() notice.Upkeep

	wake  chan struct{} // holds one token while there is something to save
	burnt notice.Upkeep // at the tick before
	last  time.Duration // when a snapshot was last taken, on the frames' clock

	mu      sync.Mutex
	waiting *analysis.Snapshot
	failing bool
	taken   uint64        // counts snapshots
	saved   uint64        // the newest that is on the disk
	tried   chan struct{} // closed at the next attempt; nil while nobody waits
}

// keepAlarms restores what an earlier run has kept and keeps the alarms of this one. It
// returns nil where nothing is kept.
func (h *house) keepAlarms(l *loop) *keeper {
	if h.options.State == "" {
		return nil
	}
	h.restoreAlarms(l)
	k := &keeper{
		dir: h.options.State, take: l.engine.Snapshot, upkeep: l.engine.Upkeep, save: memory.Save, say: h.log.Error,
		wake: make(chan struct{}, 1), last: -keepEvery,
	}
	l.after = append(l.after, k.tick)
	l.last = append(l.last, k.snap)
	h.tasks = append(h.tasks, task{"alarms", k.run})
	h.ends = append(h.ends, func() error { k.flush(); return nil })
	return k
}

// restoreAlarms never fails: a monitor without its memory still watches.
func (h *house) restoreAlarms(l *loop) {
	s, found, err := memory.Load(h.options.State)
	if err != nil {
		h.log.Error("the alarms of the last run are lost; the file is set aside", "error", err)
		if err := memory.SetAside(h.options.State); err != nil {
			h.log.Error("it could not be", "error", err)
		}
		return
	}
	if !found {
		return
	}
	now := l.clock.Now()
	if err := l.engine.Restore(s, now, l.trusted(now)); err != nil {
		h.log.Warn("not all of the last run's alarms could be taken over", "error", err)
	}
	for _, a := range l.engine.Alarms() {
		if a.State.Standing() || a.State == alarm.Shelved {
			h.log.Warn("alarm of the last run", "alarm", a.Key.String(), "state", a.Word(), "occurrence", a.Occurrence)
		}
	}
}

// tick takes a snapshot when an alarm has changed or a job of upkeep was done, and now and then while there is a fire
// or something that stands or is shelved.
func (k *keeper) tick(s *status.Status) {
	changed := slices.ContainsFunc(s.Assessment.Events, func(e analysis.Event) bool { return e.Kind == analysis.AlarmChanged })
	ages := s.Assessment.Burning || slices.ContainsFunc(s.Assessment.Alarms, func(a alarm.Status) bool {
		return a.State.Standing() || a.State == alarm.Shelved
	})
	if !k.jobDone() && !changed && !(ages && s.Frame.At-k.last >= keepEvery) {
		return
	}
	k.snap(s)
}

// snap takes a snapshot. At the end of the program that is so that what stands is as old
// after a restart as it is, and not as it was when last something changed.
func (k *keeper) snap(s *status.Status) {
	k.last = s.Frame.At
	snapshot := k.take(s.Wall, s.ClockTrusted)
	k.mu.Lock()
	k.waiting = &snapshot
	k.taken++
	k.mu.Unlock()
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

// jobDone reports whether hours count anew since the tick before.
func (k *keeper) jobDone() (done bool) {
	if k.upkeep == nil {
		return false
	}
	now := k.upkeep()
	for j := range now.Burnt {
		done = done || now.Burnt[j] < k.burnt.Burnt[j]
	}
	k.burnt = now
	return done
}

func (k *keeper) run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil // flush does the rest, when the loop has ended too
		case <-k.wake:
			k.flush()
		}
	}
}

// flush saves the newest snapshot, if it is not saved yet. That it cannot be is said once.
func (k *keeper) flush() {
	k.mu.Lock()
	s, no := k.waiting, k.taken
	k.waiting = nil
	k.mu.Unlock()
	if s == nil {
		return
	}
	err := k.save(k.dir, *s)
	k.mu.Lock()
	defer k.mu.Unlock()
	if err != nil && !k.failing {
		k.say("alarms would be forgotten at a restart", "error", err)
	}
	k.failing = err != nil
	if err == nil {
		k.saved = no
	} else if k.waiting == nil {
		k.waiting = s
	}
	if k.tried != nil {
		close(k.tried)
		k.tried = nil
	}
}

var errUnsaved = errors.New("the alarms cannot be saved")

// wait returns when what was taken before is saved, or cannot be: then with an error at
// once. It returns the context's error if that ends first.
func (k *keeper) wait(ctx context.Context) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	for want := k.taken; k.saved < want; {
		if k.failing {
			return errUnsaved
		}
		if k.tried == nil {
			k.tried = make(chan struct{})
		}
		tried := k.tried
		k.mu.Unlock()
		select {
		case <-tried:
		case <-ctx.Done():
		}
		k.mu.Lock()
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return nil
}

// forgets reports whether the alarms would be forgotten at a restart.
func (k *keeper) forgets() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.failing
}
