package trend

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/message"
)

// AlarmEntry is one time that an alarm stood, as the log of alarms tells it.
type AlarmEntry struct {
	Alarm      string `json:"alarm"`
	Channel    string `json:"channel,omitempty"`
	Occurrence int64  `json:"occurrence"`
	Priority   string `json:"priority"`
	// State is the last one told: "cleared" once it is over.
	State string `json:"state"`
	// Raised is null where that was before the history, Cleared where it is not over.
	Raised  *time.Time `json:"raised_at"`
	Cleared *time.Time `json:"cleared_at"`
	// Sure says that the times are tied to a synchronised clock.
	Sure         bool       `json:"time_sure"`
	Lasted       *float64   `json:"lasted_seconds"`
	Acknowledged *time.Time `json:"acknowledged_at"`
	// By is who acknowledged it, as far as the log of notes says.
	By    string `json:"acknowledged_by,omitempty"`
	First bool   `json:"first,omitempty"` // it began the episode
	// Message and Action are those of its raising; Causes are as they were last told.
	Message string              `json:"message"`
	Action  string              `json:"action,omitempty"`
	Causes  []message.CauseLine `json:"causes,omitempty"`
}

// AlarmPage is part of the log of alarms, the newest raising first.
type AlarmPage struct {
	Alarms []AlarmEntry `json:"alarms"`
	// Older is where the next page begins; zero where there is none.
	Older int64 `json:"older,omitempty"`
}

const (
	// mostChanges bounds what is read to find a page of raisings: an alarm that stands long
	// is told anew each time that its account changes.
	mostChanges = 2000
	// mostSearched bounds what is read behind a page to find how its alarms ended.
	mostSearched = 4000
)

// AlarmLog returns the alarms raised before the event with the ID before, zero for the
// newest: at most so many.
func AlarmLog(ctx context.Context, l Log, before int64, most int) (AlarmPage, error) {
	page := AlarmPage{Alarms: []AlarmEntry{}}
	changes, older, err := raisings(ctx, l, before, most)
	if err != nil || len(changes) == 0 {
		return page, err
	}
	if older {
		page.Older = changes[0].ID()
	}
	mine := changes[len(changes)-1].ID()
	if before > 0 {
		if changes, err = ends(ctx, l, changes); err != nil {
			return page, err
		}
	}
	spells := slices.DeleteFunc(pair(changes), func(s Spell) bool {
		// One that was raised before this page is on a later one, if its raising is kept.
		return s.raise == nil && older || s.raise != nil && s.raise.ID() > mine
	})
	slices.Reverse(spells)
	takers, err := takers(ctx, l, changes)
	if err != nil {
		return page, err
	}
	for i := range spells {
		page.Alarms = append(page.Alarms, entryOf(&spells[i], takers))
	}
	return page, nil
}

// raisings reads changes from the newest back until they hold so many raisings; older says
// that there are more. They are returned in the order of time.
func raisings(ctx context.Context, l Log, before int64, most int) (changes []history.Event, older bool, err error) {
	raised := 0
	for len(changes) < mostChanges {
		some, err := l.Newest(ctx, "alarms", before, piece)
		if err != nil {
			return nil, false, err
		}
		for i := range some {
			changes = append(changes, some[i])
			if fields(some[i].Fields).text("change") != "raised" {
				continue
			}
			if raised++; raised == most {
				before, err := l.Newest(ctx, "alarms", some[i].ID(), 1)
				slices.Reverse(changes)
				return changes, len(before) > 0, err
			}
		}
		if len(some) < piece {
			slices.Reverse(changes)
			return changes, false, nil
		}
		before = some[len(some)-1].ID()
	}
	slices.Reverse(changes)
	return changes, true, nil
}

// ends reads on behind the changes until every alarm in them is over.
func ends(ctx context.Context, l Log, changes []history.Event) ([]history.Event, error) {
	mine := changes[len(changes)-1].ID()
	for range mostSearched / piece {
		open := false
		for _, s := range pair(changes) {
			open = open || s.To.IsZero() && s.raise != nil && s.raise.ID() <= mine
		}
		if !open {
			break
		}
		more, err := l.Following(ctx, "alarms", changes[len(changes)-1].ID(), piece)
		if err != nil {
			return nil, err
		}
		changes = append(changes, more...)
		if len(more) < piece {
			break
		}
	}
	return changes, nil
}

// Taken words that a person has taken an occurrence, as the log of notes keeps it.
func Taken(alarm string, occurrence uint32) string {
	return fmt.Sprintf("acknowledged %s, occurrence %d", alarm, occurrence)
}

// IsTaken reports whether a note is such a one.
func IsTaken(note string) bool {
	return strings.HasPrefix(note, "acknowledged ") && strings.Contains(note, ", occurrence ")
}

// takers finds who acknowledged, by the words of the note.
func takers(ctx context.Context, l Log, changes []history.Event) (map[string]string, error) {
	who := map[string]string{}
	after := changes[0].ID()
	for range mostSearched / piece {
		notes, err := l.Following(ctx, "notes", after, piece)
		if err != nil {
			return nil, err
		}
		for i := range notes {
			f := fields(notes[i].Fields)
			if text := f.text("note"); IsTaken(text) {
				who[text] = f.text("author")
			}
		}
		if len(notes) < piece {
			break
		}
		after = notes[len(notes)-1].ID()
	}
	return who, nil
}

func entryOf(s *Spell, takers map[string]string) AlarmEntry {
	name, channel, _ := strings.Cut(s.Name, "/")
	w := AlarmEntry{
		Alarm: name, Channel: channel, Occurrence: s.Occurrence, Priority: s.Priority.String(), State: s.State,
		Raised: moment(s.From), Cleared: moment(s.To), Acknowledged: moment(s.Acknowledged),
		Message: s.Message, Action: s.Action,
	}
	if s.raise != nil {
		w.Sure, w.First = s.raise.Sure, fields(s.raise.Fields).whole("first") != 0
	}
	if w.Cleared != nil {
		w.State = "cleared"
		if w.Raised != nil {
			d := max(s.To.Sub(s.From).Seconds(), 0)
			w.Lasted = &d
		}
	}
	if w.Acknowledged != nil {
		w.By = takers[Taken(s.Name, uint32(s.Occurrence))] //nolint:gosec // it counts raisings
	}
	if s.Causes != "" {
		// What this version cannot read is left out: the alarm itself is not.
		_ = json.Unmarshal([]byte(s.Causes), &w.Causes)
	}
	return w
}

// moment is nil for the zero time.
func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
