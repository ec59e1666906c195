// Package sites tells how many monitors are, from what they keep at a broker: who is there,
// which alarms stand, when each last said something. It is pure; who listens is elsewhere.
//
// What a monitor keeps at the broker outlives the monitor. So nothing here is normal because it
// says so: the monitor must be connected, its word must be fresh, of the run that is connected,
// and every alarm must agree. Only then it is said what [verdict] has said on the spot.
package sites

import (
	"cmp"
	"slices"
	"time"
)

// Level is how a site stands. Its zero value is Unclear, so that nothing is well by omission.
type Level uint8

// The levels.
const (
	Unclear  Level = iota // what is kept is not whole, or contradicts itself
	Hazard                // an alarm of high priority stands, or stood when it was last heard
	Gone                  // it is not there, or says nothing any more: nobody watches
	Alarmed               // another alarm stands
	Blind                 // it cannot tell
	Checking              // it cannot tell yet
	Old                   // it was well, and that is a while ago
	Well                  // no alarm, and it has just said so
)

// worstFirst is the order in which a person looks at them.
var worstFirst = []Level{Hazard, Gone, Alarmed, Blind, Unclear, Checking, Old, Well}

// String returns the level's name, as programs read it.
func (l Level) String() string {
	return [...]string{"unclear", "hazard", "gone", "alarm", "blind", "checking", "old", "well"}[min(l, Well)]
}

// MarshalText writes the name.
func (l Level) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

const (
	// fresh is how old a word may be and still be the present: a state comes each minute.
	fresh = 3 * time.Minute
	// silence is how old it may be at all: on a metered line a state comes each hour.
	silence = 70 * time.Minute
	// ahead is how far a site's clock may be before ours.
	ahead = 2 * time.Minute
)

// Alarm is one that stands, or stood when it was last heard.
type Alarm struct {
	Alarm    string `json:"alarm"`
	Channel  string `json:"channel,omitempty"`
	Priority string `json:"priority"`
	// State is "raised", "acknowledged" or "shelved".
	State        string    `json:"state"`
	Acknowledged bool      `json:"acknowledged"`
	Since        time.Time `json:"since"`
	Message      string    `json:"message,omitempty"`
	// Doubtful says that it is what was last known: the site is not there, an earlier run of it
	// left it, or it cannot be judged now.
	Doubtful bool `json:"doubtful"`
}

// Site is one monitor.
type Site struct {
	Name  string `json:"site"`
	Level Level  `json:"level"`
	// How says the level in words.
	How string `json:"how"`
	// Availability is "online", "offline" (ended on purpose), "lost", or empty where nothing is
	// kept.
	Availability string `json:"availability"`
	// Since is when its program began, by its own clock; zero where that is not known.
	Since time.Time `json:"since,omitzero"`
	// LastWord is the time of its last state by its own clock; zero where there is none.
	LastWord time.Time `json:"last_word,omitzero"`
	// Heard says that it has spoken while we listened.
	Heard bool `json:"heard"`
	// ClockTrusted says whether its clock was synchronised; nil where that is not known.
	ClockTrusted *bool   `json:"clock_trusted"`
	Software     string  `json:"software"`
	Phase        string  `json:"phase,omitempty"`
	Headline     string  `json:"headline,omitempty"`
	Action       string  `json:"action,omitempty"`
	Alarms       []Alarm `json:"alarms"`
}

// sort puts the worst first: by level, then by what stands, then by name.
func sort(all []Site) {
	slices.SortFunc(all, func(a, b Site) int {
		return cmp.Or(
			cmp.Compare(slices.Index(worstFirst, a.Level), slices.Index(worstFirst, b.Level)),
			cmp.Compare(urgency(&b), urgency(&a)),
			cmp.Compare(a.Name, b.Name),
		)
	})
}

// urgency is greater for alarms that matter more: an untaken one before one that somebody has
// taken.
func urgency(s *Site) (most int) {
	for i := range s.Alarms {
		a := &s.Alarms[i]
		n := 2 * weight(a.Priority)
		if !a.Acknowledged && a.State == raised {
			n++
		}
		most = max(most, n)
	}
	return most
}

func weight(priority string) int { return slices.Index([]string{"low", "medium", high}, priority) + 1 }
