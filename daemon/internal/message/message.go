// Package message puts findings into words and into the JSON objects that replay, MQTT
// and pages share, in the units of the site. It decides nothing.
package message

import (
	"fmt"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/sensors"
)

// Units writes quantities as the people at the site read them.
type Units interface {
	Temperature(celsius float64) string
	Pressure(pascals float64) string
}

// Alarm says what an alarm means now and what to do first. The action of an alarm whose
// condition is gone is empty.
func Alarm(s alarm.Status, u Units) (message, action string) {
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
		return what + detail(s, u), firstAction(s, d)
	case s.Silenced():
		return what + detail(s, u) + aside(s), firstAction(s, d)
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
func detail(s alarm.Status, u Units) string {
	switch s.Key.Name {
	case alarm.Overheat, alarm.PlenumOverheat:
		return fmt.Sprintf(" (%s, limit %s)", u.Temperature(s.Value), u.Temperature(s.Limit))
	case alarm.Runaway:
		return fmt.Sprintf(" (%s now, limit %s)", u.Temperature(s.Value), u.Temperature(s.Limit))
	case alarm.Spillage:
		return fmt.Sprintf(" (draft %s)", u.Pressure(s.Value))
	case alarm.DraftHigh, alarm.DraftLow:
		return fmt.Sprintf(" (%s, specified %s)", u.Pressure(s.Value), u.Pressure(s.Limit))
	case alarm.SensorLost, alarm.SensorImplausible:
		if title := sensors.Code(s.Fault).Info().Title; title != "" {
			return ": " + title
		}
		return ": " + s.Fault
	default:
		return ""
	}
}

// firstAction puts what the fault itself asks for before the alarm's own action.
func firstAction(s alarm.Status, d alarm.Declaration) string {
	if hint := sensors.Code(s.Fault).Info().Hint; hint != "" {
		return hint + " " + d.Action
	}
	return d.Action
}
