package now

import (
	"time"

	"fluewright/analysis/alarm"
)

// watchedView is one line of all that is watched.
type watchedView struct{ Name, State string }

// watched says how an alarm stands, so that "normal" is never said of one that cannot
// be judged.
func watched(a alarm.Status, silence time.Duration) string {
	blind := a.Blind || silence > 0
	switch {
	case a.State == alarm.Unjudged:
		return "not judged yet"
	case a.State.Standing() && blind:
		return "standing; cannot be judged now"
	case a.State == alarm.Acknowledged:
		return "standing, acknowledged"
	case a.State == alarm.Shelved && a.Condition == alarm.Holds:
		return "standing, shelved by " + a.ShelvedBy
	case a.State == alarm.Shelved && !blind:
		return "shelved by " + a.ShelvedBy
	case a.State == alarm.Suppressed:
		return "not told while there is " + string(a.SuppressedBy)
	case a.State == alarm.Returned && !blind:
		return "over, not acknowledged"
	case a.State.Standing():
		return "standing"
	case blind:
		return "cannot be judged"
	default:
		return "normal"
	}
}
