// Package message puts findings into words and into the JSON objects that replay, MQTT
// and pages share, in the units of the site. It decides nothing.
package message

import (
	"fmt"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/gate"
	"fluewright/sensors"
)

// Units writes quantities as the people at the site read them.
type Units interface {
	Temperature(celsius float64) string
	Pressure(pascals float64) string
}

// Alarm says what an alarm means now, with what stands behind it, and what to do first. The
// action of an alarm that asks for nobody is empty. wall turns the frames' clock into the
// time that is written.
func Alarm(s alarm.Status, a analysis.Account, wall func(time.Duration) time.Time, u Units) (message, action string) {
	d, ok := alarm.Declared(s.Key.Name)
	if !ok {
		return string(s.Key.Name), ""
	}
	what := d.Title
	if s.Key.Channel < frame.Count {
		what = s.Key.Channel.String() + ": " + what
	}
	switch {
	case s.State.Standing():
		return what + detail(s, a, wall, u), firstAction(s, a, d)
	case s.Silenced():
		return what + detail(s, a, wall, u) + aside(s), firstAction(s, a, d)
	case s.State == alarm.Shelved:
		return what + aside(s), ""
	default:
		return what + " (over)", ""
	}
}

// aside says why nobody is told.
func aside(s alarm.Status) string {
	if s.State == alarm.Suppressed {
		return fmt.Sprintf(" (not told while there is %s)", s.SuppressedBy)
	}
	return fmt.Sprintf(" (shelved by %s)", s.ShelvedBy)
}

// detail is the number or the fault behind a standing alarm.
func detail(s alarm.Status, a analysis.Account, wall func(time.Duration) time.Time, u Units) string {
	switch s.Key.Name {
	case alarm.Overheat, alarm.PlenumOverheat:
		return fmt.Sprintf(" (%s, limit %s)", u.Temperature(s.Value), u.Temperature(s.Limit))
	case alarm.Runaway:
		when := ""
		if a.Passes {
			when = ", expected at " + wall(a.ExpectedAt).Format("15:04")
		}
		return fmt.Sprintf(" (%s now, limit %s%s)", u.Temperature(s.Value), u.Temperature(s.Limit), when)
	case alarm.ChimneyFire:
		return fmt.Sprintf(" (%s at the collar)", u.Temperature(s.Value))
	case alarm.BlowerStopped:
		return fmt.Sprintf(" (%s in the plenum)", u.Temperature(s.Value))
	case alarm.Spillage:
		if s.Value > flutters {
			return fmt.Sprintf(" (it flutters: %s at the moment)", u.Pressure(s.Value))
		}
		return fmt.Sprintf(" (draft %s)", u.Pressure(s.Value))
	case alarm.DraftHigh, alarm.DraftLow:
		return fmt.Sprintf(" (%s, specified %s)", u.Pressure(s.Value), u.Pressure(s.Limit))
	case alarm.RegulatorStuck:
		return gateWords[a.Gate]
	case alarm.FlueRestricted:
		if a.Sudden {
			return ": it came at once, something may have fallen into it"
		}
		return ""
	case alarm.MonitorImpaired:
		if what := impairments[s.Fault].what; what != "" {
			return ": " + what
		}
		return ": " + s.Fault
	case alarm.SensorLost, alarm.SensorImplausible:
		if title := sensors.Code(s.Fault).Info().Title; title != "" {
			return ": " + title
		}
		return ": " + s.Fault
	default:
		return ""
	}
}

// gateWords say what a regulator does that it should not.
var gateWords = map[gate.State]string{
	gate.StuckShut:  ": it seems to hang shut, and the draft follows the fire",
	gate.StuckOpen:  ": it seems to hang open, and the draft stays low",
	gate.SetHigh:    ": it holds the draft above what is specified",
	gate.SetLow:     ": it holds the draft below what is specified",
	gate.Fluttering: ": it flutters",
}

// flutters is more draft than a turned one has for long, Pa.
const flutters = 0.3

// warmTheFlue is what helps a cold chimney to draw (common practice, no source).
const warmTheFlue = "The chimney is cold and does not draw yet: add no wood and keep the doors shut. " +
	"For the next start warm the flue first, as the appliance's manual allows: a twist of newspaper or a hot-air blower at the cleanout, a window open until it draws."

// urgent stands before the action of a flue that was blocked at once.
const urgent = "Take this as urgent: flue gas may soon find another way out; see that the carbon-monoxide alarm works."

// firstAction puts what the fault or the account itself asks for beside the alarm's own
// action: before it what is done at once, behind it what helps against the cause.
func firstAction(s alarm.Status, a analysis.Account, d alarm.Declaration) string {
	action := d.Action
	if hint := sensors.Code(s.Fault).Info().Hint; hint != "" {
		action = hint + " " + action
	}
	switch {
	case s.Key.Name == alarm.MonitorImpaired:
		if help := impairments[s.Fault].help; help != "" {
			action += " " + help
		}
	case s.Key.Name == alarm.Spillage && a.ColdFlue:
		action += " " + warmTheFlue
	case s.Key.Name == alarm.FlueRestricted && a.Sudden:
		action = urgent + " " + action
	}
	if analysis.Explains(s.Key.Name) {
		action += " " + Why(a.Causes)
		if len(a.Causes) > 0 {
			action += " " + CauseAdvice(a.Causes[0].Code)
		}
	}
	return action
}
