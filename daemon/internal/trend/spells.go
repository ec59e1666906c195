package trend

import (
	"context"
	"slices"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/history"
)

// Spell is one time that an alarm stood.
type Spell struct {
	Name       string // with its channel
	Occurrence int64
	Priority   alarm.Priority
	// From and To are when it was raised and when it was over; From is zero where that was
	// before the history, To where it was not over at its end.
	From, To time.Time
	// State is the last one told.
	State        string
	Acknowledged time.Time
	// Message and Action are those of its raising, Causes of the last time they were told.
	Message, Action string
	Causes          string // JSON

	raise *history.Event // nil where From is zero
}

// Spells returns the alarms that stood within a window, in the order of their raising.
func Spells(ctx context.Context, a Source, w Window) ([]Spell, error) {
	events, err := a.Events(ctx, "alarms", ever.From, ever.To)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(pair(events), func(s Spell) bool {
		return !s.From.Before(w.To) || !s.To.IsZero() && s.To.Before(w.From)
	}), nil
}

// pair makes spells of changes in the order of time.
func pair(events []history.Event) (all []Spell) {
	latest := map[string]int{} // by the alarm's name
	for i := range events {
		e := &events[i]
		f := fields(e.Fields)
		name, change := alarmName(f), f.text("change")
		at, known := latest[name]
		// What a person does with an alarm that is over belongs to it all the same.
		if change == "raised" || !known || all[at].Occurrence != f.whole("occurrence") {
			if known && all[at].To.IsZero() {
				all[at].To = e.At // nobody was told when
			}
			at = len(all)
			all = append(all, Spell{Name: name, Occurrence: f.whole("occurrence"), Priority: priorityCalled(f.text("priority")), Message: f.text("message"), Action: f.text("action")})
			latest[name] = at
		}
		s := &all[at]
		switch change {
		case "raised":
			s.From, s.raise = e.At, e
		case "acknowledged":
			s.Acknowledged = e.At
		}
		s.State = f.text("state")
		if over := s.State == alarm.Normal.String() || s.State == alarm.Returned.String(); over && s.To.IsZero() {
			s.To = e.At
		}
		if c := f.text("causes"); c != "" && s.To.IsZero() {
			s.Causes = c
		}
	}
	return all
}

func priorityCalled(word string) alarm.Priority {
	for _, p := range []alarm.Priority{alarm.High, alarm.Medium, alarm.Low} {
		if p.String() == word {
			return p
		}
	}
	return alarm.High // one that this version does not know is not played down
}
