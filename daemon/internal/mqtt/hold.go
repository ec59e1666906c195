package mqtt

import (
	"context"
	"slices"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/status"
)

// announceWithin is how long an alarm waits for the storage. A person who is told in time
// goes before a record that is complete.
const announceWithin = 2 * time.Second

// hold shuts a gate before what is said of an alarm that has changed, until it is durable.
// p.mu is held.
func (p *Publisher) hold(s *status.Status) {
	changed := slices.ContainsFunc(s.Assessment.Events, func(e analysis.Event) bool {
		return e.Kind == analysis.AlarmChanged && e.Change != alarm.BecameKnown
	})
	if p.o.Durable == nil || !changed {
		return
	}
	p.gate++
	go p.release(p.gate)
}

// release opens a gate when everything before it is durable, or cannot be in time. It ends
// within announceWithin.
func (p *Publisher) release(gate uint64) {
	ctx, cancel := context.WithTimeout(context.Background(), announceWithin)
	defer cancel()
	err := p.o.Durable(ctx)
	p.mu.Lock()
	p.queue.open = max(p.queue.open, gate)
	tell := err != nil && !p.slow
	p.slow = err != nil
	p.mu.Unlock()
	p.rouse()
	if tell {
		p.o.Log.Warn("an alarm is announced before it is in the history", "error", err)
	}
}
