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
	// From and To are when it was raised and when it was over, or raised anew; From is zero
	// where that was before the history, To where it was not over at its end.
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
	standing, over, untold := map[string]int{}, map[string]int{}, map[string]bool{}
	for i := range events {
		e := &events[i]
		f := fields(e.Fields)
		name := alarmName(f)
		change := f.text("change")
		at, known := standing[name]
		switch {
		case change == "raised" && known:
			all[at].To = e.At // it is told anew, after it was suppressed or over a restart
		case change == "raised":
			delete(untold, name)
		case !known && (change == "suppressed" || change == "shelved"):
			untold[name] = true // it was not told, and may come to be
			continue
		case untold[name]:
			if change == "cleared" || change == "unshelved" {
				delete(untold, name)
			}
			continue
		case !known && change == "acknowledged" && f.text("state") == alarm.Normal.String():
			if last, ok := over[name]; ok {
				all[last].Acknowledged, all[last].State = e.At, f.text("state")
			}
			continue // it was over already
		}
		if change == "raised" || !known {
			at = len(all)
			all = append(all, Spell{Name: name, Occurrence: f.whole("occurrence"), Priority: priorityCalled(f.text("priority")), Message: f.text("message"), Action: f.text("action")})
			standing[name] = at
		}
		s := &all[at]
		s.State = f.text("state")
		switch change {
		case "raised":
			s.From, s.raise = e.At, e
		case "acknowledged":
			s.Acknowledged = e.At
		case "cleared", "unshelved":
			s.To = e.At
			delete(standing, name)
			over[name] = at
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
