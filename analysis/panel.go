package analysis

import (
	"time"

	"fluewright/analysis/alarm"
)

// Alarms lists every alarm that the site can have, as it stands.
func (e *Engine) Alarms() []alarm.Status {
	all := make([]alarm.Status, e.panel.Len())
	for i := range all {
		all[i] = e.panel.Status(i)
	}
	return all
}

// Acknowledge, Shelve and Unshelve are what people do about an alarm; see
// alarm.Annunciator. They belong between two steps, in the goroutine that steps. What they
// change is among the events of the next step.
func (e *Engine) Acknowledge(k alarm.Key, occurrence uint32) error {
	return e.panel.Acknowledge(k, occurrence)
}

// Shelve puts an alarm aside for a time, in the name of by; see Acknowledge.
func (e *Engine) Shelve(k alarm.Key, d time.Duration, by string) error {
	return e.panel.Shelve(k, d, by)
}

// Unshelve ends that; see Acknowledge.
func (e *Engine) Unshelve(k alarm.Key) error { return e.panel.Unshelve(k) }
