package trend

import (
	"context"
	"slices"
)

// MostDuring bounds what During returns: more nobody reads.
const MostDuring = 400

// During lists in words what happened in a window, such as one burn, in the order of time:
// phases, loads, doors, what became of alarms, notices and notes; the first MostDuring of it.
func During(ctx context.Context, a Source, w Window) ([]Done, error) {
	all := []Done{}
	for _, kind := range []struct {
		table string
		words func(fields) string
	}{
		{"phases", func(f fields) string { return "phase: " + f.text("phase") }},
		{"loads", func(f fields) string {
			if f.whole("cold") != 0 {
				return "lit"
			}
			return "wood laid on"
		}},
		{"doors", func(f fields) string {
			if f.whole("open") != 0 {
				return "a door opened, as far as the readings tell"
			}
			return "the door shut, as far as the readings tell"
		}},
		{"alarms", func(f fields) string {
			if f.text("change") == "updated" {
				return "" // the account of it changed, and it stands as before
			}
			what := "alarm " + alarmName(f) + " " + f.text("change")
			if f.text("change") == "raised" {
				what += ": " + f.text("message")
			}
			return what
		}},
		{"notices", func(f fields) string { return "notice: " + f.text("message") }},
		{"notes", func(f fields) string {
			if IsTaken(f.text("note")) {
				return ""
			}
			return "note by " + f.text("author") + ": " + f.text("note")
		}},
		{"fuel", func(f fields) string { return "fuel, by " + f.text("author") + ": " + f.text("wood") }},
	} {
		events, err := a.Events(ctx, kind.table, w.From, w.To)
		if err != nil {
			return nil, err
		}
		for i := range events {
			if what := kind.words(events[i].Fields); what != "" {
				all = append(all, Done{events[i].At, what})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Done) int { return a.Time.Compare(b.Time) })
	return all[:min(len(all), MostDuring)], nil
}
