// Package score holds what a judge said of a night against what was true.
package score

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// Said is one change of an alarm, as a judge told it.
type Said struct {
	At      time.Duration
	Alarm   alarm.Name
	Channel frame.Channel // frame.Count where the alarm has none
	// State is a word of the life cycle: "raised", "acknowledged", "updated", "cleared"…
	State    string
	Priority string
	Causes   []string // codes, best first
}

// stands says for a state whether the alarm is there for the owner to see.
func stands(state string) bool {
	switch state {
	case "raised", "acknowledged", "updated", "shelved":
		return true
	default:
		return false
	}
}

// span is one standing of an alarm.
type span struct {
	Said               // as it was raised
	to   time.Duration // when it stopped to stand; end where it did not
	told []Said        // itself and what was added
}

// covers reports whether the alarm, raised before at, stands then.
func (s span) covers(at time.Duration) bool { return s.At < at && s.to >= at }

// causes are the account that stood at the moment.
func (s span) causes(at time.Duration) []string {
	var causes []string
	for _, t := range s.told {
		if t.At <= at && len(t.Causes) > 0 {
			causes = t.Causes
		}
	}
	return causes
}

const never = time.Duration(1<<63 - 1)

// spans joins what was said to the times at which each alarm stood, in the order in
// which they were raised.
func spans(said []Said) []span {
	type key struct {
		alarm.Name
		frame.Channel
	}
	open := map[key]int{} // 1 + index
	var all []span
	for _, s := range said {
		k := key{s.Alarm, s.Channel}
		i := open[k]
		switch {
		case stands(s.State) && i == 0:
			all = append(all, span{Said: s, to: never, told: []Said{s}})
			open[k] = len(all)
		case stands(s.State):
			all[i-1].told = append(all[i-1].told, s)
		case i > 0:
			all[i-1].to = s.At
			open[k] = 0
		}
	}
	return all
}
