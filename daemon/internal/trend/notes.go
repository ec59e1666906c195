package trend

import (
	"cmp"
	"context"
	"slices"
	"time"

	"fluewright/daemon/internal/history"
)

// NoteEntry is what a person wrote or did, as the log of notes tells it.
type NoteEntry struct {
	Time time.Time `json:"time"`
	Sure bool      `json:"time_sure"`
	// Kind is "note", "fuel", "calibration" or "commissioning".
	Kind string `json:"kind"`
	By   string `json:"by,omitempty"`
	Text string `json:"text,omitempty"`
	// Of fuel: the wood, how much of it, and its moisture as a share of the wet mass.
	Wood      string   `json:"wood,omitempty"`
	Kilograms *float64 `json:"kilograms,omitempty"`
	Moisture  *float64 `json:"moisture_ratio,omitempty"`

	id int64
}

// NotePage is part of the log of notes, the newest first.
type NotePage struct {
	Notes []NoteEntry `json:"notes"`
	// Older is where the next page begins; zero where there is none.
	Older int64 `json:"older,omitempty"`
}

var noteKinds = []struct {
	table string
	of    func(f fields) NoteEntry
}{
	{"notes", func(f fields) NoteEntry { return NoteEntry{Kind: "note", By: f.text("author"), Text: f.text("note")} }},
	{"fuel", func(f fields) NoteEntry {
		return NoteEntry{
			Kind: "fuel", By: f.text("author"), Text: f.text("note"),
			Wood: f.text("wood"), Kilograms: f.number("kilograms"), Moisture: f.number("moisture"),
		}
	}},
	{"calibrations", func(f fields) NoteEntry {
		return NoteEntry{Kind: "calibration", Text: f.text("channel") + ": " + f.text("method")}
	}},
	{"commissionings", func(fields) NoteEntry { return NoteEntry{Kind: "commissioning"} }},
}

// NoteLog returns what was written before the event with the ID before, zero for the newest:
// at most so many. That somebody took an alarm is in the log of alarms and not here.
func NoteLog(ctx context.Context, l Log, before int64, most int) (NotePage, error) {
	page := NotePage{Notes: []NoteEntry{}}
	floor := int64(0) // below it not all kinds were read
	for _, kind := range noteKinds {
		n := 0
		end, err := eachNewest(ctx, l, kind.table, before, func(e *history.Event) bool {
			w := kind.of(e.Fields)
			if w.Kind == "note" && IsTaken(w.Text) {
				return true
			}
			w.Time, w.Sure, w.id = e.At, e.Sure, e.ID()
			page.Notes = append(page.Notes, w)
			n++
			return n <= most // one more, to know whether there are more
		})
		if err != nil {
			return page, err
		}
		floor = max(floor, end)
	}
	page.Notes = slices.DeleteFunc(page.Notes, func(w NoteEntry) bool { return w.id < floor })
	slices.SortFunc(page.Notes, func(a, b NoteEntry) int { return cmp.Compare(b.id, a.id) })
	switch {
	case len(page.Notes) > most:
		page.Notes = page.Notes[:most]
		page.Older = page.Notes[most-1].id
	case floor > 0:
		page.Older = floor
	}
	return page, nil
}

// eachNewest goes through events from the newest back while do says so. It returns the last
// one's ID where it ended before the log did, and zero where there are no more.
func eachNewest(ctx context.Context, l Log, kind string, before int64, do func(*history.Event) bool) (end int64, err error) {
	for read := 0; read < mostSearched; read += piece {
		some, err := l.Newest(ctx, kind, before, piece)
		if err != nil {
			return 0, err
		}
		for i := range some {
			if before = some[i].ID(); !do(&some[i]) {
				return before, nil
			}
		}
		if len(some) < piece {
			return 0, nil
		}
	}
	return before, nil
}

// EachNote goes through the notes of people from the newest back while do says so, some
// thousands at most.
func EachNote(ctx context.Context, l Log, do func(at time.Time, by, text string) bool) error {
	_, err := eachNewest(ctx, l, "notes", 0, func(e *history.Event) bool {
		f := fields(e.Fields)
		return do(e.At, f.text("author"), f.text("note"))
	})
	return err
}

// FireSince returns the seconds with fire in burns that ended after a moment: some thousands
// at most.
func FireSince(ctx context.Context, l Log, since time.Time) (seconds float64, err error) {
	_, err = eachNewest(ctx, l, "burns", 0, func(e *history.Event) bool {
		b := burnOf(e)
		if !b.End.After(since) {
			return false
		}
		part := 1.0
		if whole := b.End.Sub(b.Start); b.Start.Before(since) && whole > 0 {
			part = b.End.Sub(since).Seconds() / whole.Seconds()
		}
		seconds += part * (b.Lighting + b.WarmUp + b.CleanBurn + b.Smoulder + b.Coals)
		return true
	})
	return seconds, err
}
