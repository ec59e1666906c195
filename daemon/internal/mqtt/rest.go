package mqtt

import (
	"context"
	"math/rand/v2"
	"slices"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/status"
)

// rest is how long is waited between two connections: a moment drawn over a window, which
// doubles with each attempt that brought nothing.
type rest struct{ first, longest time.Duration }

// A broker that ends is left by all its monitors in the same second, and must not be knocked
// at by all in the same second. Spread over 40 s a thousand of them are 25 a second on
// average, and 50 in the one second in a million; the windows only grow, so that is so
// however long the broker is away. It costs a house whose line blinked 20 s on average, in
// which nothing is lost and nobody waits: whoever does is in a hurry, and few are at a time.
// Should many be (a storm), the longest window keeps a thousand below 34 a second.
var (
	calm    = rest{40 * time.Second, 5 * time.Minute}
	inHurry = rest{5 * time.Second, 30 * time.Second}
)

// shortest is the least pause, so that a broker that turns everybody away is not asked without end.
const shortest = 100 * time.Millisecond

// waitedFor is how long after a command somebody is taken to wait for an answer.
const waitedFor = 2 * time.Minute

// wait returns how long to wait before the next attempt. u is uniform over [0, 1).
func (r rest) wait(attempt int, u float64) time.Duration {
	window := r.longest
	if attempt < 9 {
		window = min(r.first<<attempt, r.longest)
	}
	return max(shortest, time.Duration(u*float64(window)))
}

// pauses are those between the connections of one publisher.
type pauses struct {
	attempts, hurried int // since something was last taken, and those in a hurry of them
}

// again begins anew: a broker has taken something.
func (w *pauses) again() { *w = pauses{} }

// pause waits until the next connection should be tried, and reports whether ctx goes on. What
// cannot wait cuts a long pause short.
func (p *Publisher) pause(ctx context.Context, w *pauses) bool {
	urgent := p.urgent()
	next := p.calm.wait(w.attempts, rand.Float64())
	w.attempts++
	if urgent {
		next = p.inHurry.wait(w.hurried, rand.Float64())
		w.hurried++
	} else {
		w.hurried = 0
	}
	until := time.Now().Add(next)
	for {
		timer := time.NewTimer(time.Until(until))
		select {
		case <-ctx.Done():
			timer.Stop()
			return false
		case <-timer.C:
			return true
		case <-p.hurry:
			timer.Stop()
			if urgent || !p.urgent() {
				continue
			}
			urgent, w.hurried = true, 1
			if soon := time.Now().Add(p.inHurry.wait(0, rand.Float64())); soon.Before(until) {
				until = soon
			}
		}
	}
}

// urgent reports whether the broker is wanted at once: it lacks the change of an alarm, an
// alarm of high priority stands, which may get worse or end, or somebody has just asked
// something.
func (p *Publisher) urgent() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.untold || time.Since(p.asked) < waitedFor {
		return true
	}
	return p.latest != nil && slices.ContainsFunc(p.latest.Assessment.Alarms, func(a alarm.Status) bool {
		return a.Priority == alarm.High && a.State.Standing()
	})
}

// press notes that an alarm has changed, and ends a pause for it. That the monitor itself is
// impaired is no hurry: an absent broker impairs all of them. p.mu is held.
func (p *Publisher) press(s *status.Status) {
	if !slices.ContainsFunc(s.Assessment.Events, func(e analysis.Event) bool {
		return e.Kind == analysis.AlarmChanged && e.Change != alarm.BecameKnown && e.Alarm.Key.Name != alarm.MonitorImpaired
	}) {
		return
	}
	p.untold = true
	select {
	case p.hurry <- struct{}{}:
	default:
	}
}

// relieve notes that all that was to be said of alarms is with the broker, if it is. p.mu is held.
func (p *Publisher) relieve() {
	if len(p.queue.lists[alarms]) == 0 && len(p.queue.lists[events]) == 0 {
		p.untold = false
	}
}
