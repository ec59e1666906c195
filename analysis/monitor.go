package analysis

import "fluewright/analysis/alarm"

// monitor is what the engine was told of the monitor that it works in.
type monitor struct {
	told   bool
	reason string
}

// Impaired tells the engine how the monitor itself does, from the next step on: reason says
// what keeps it from warning in time, in a code that becomes the alarm's fault, and is empty
// while nothing does. The engine sees frames alone, so whoever runs it has to say this;
// until then the alarm is blind. It exists only with Settings.Monitored.
func (e *Engine) Impaired(reason string) { e.monitor = monitor{true, reason} }

// impaired judges what the engine was told.
func impaired(e *Engine, _ *view) alarm.Finding {
	switch m := &e.monitor; {
	case !m.told:
		return alarm.Finding{}
	case m.reason != "":
		return alarm.Finding{Verdict: alarm.Present, Fault: m.reason}
	}
	return alarm.Finding{Verdict: alarm.Absent}
}

// worsened reports whether the monitor fails in another way than people were told.
func (e *Engine) worsened(i int) bool {
	f := &e.findings[i]
	return f.Verdict == alarm.Present && f.Fault != e.panel.Status(i).Fault
}
