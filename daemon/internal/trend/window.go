// Package trend makes what a technician far away looks at out of a history: burn logs,
// pictures, reports, tables of burns, files for analysts. It reads and shows; it judges
// nothing that the analysis did not judge when it happened.
package trend

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"strconv"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// Window is a stretch of time, To excluded.
type Window struct{ From, To time.Time }

// ever is all that any history can hold.
var ever = Window{time.UnixMilli(-1 << 45), time.UnixMilli(1 << 48)}

// Source is a history as far as choosing a window goes: one from outside, or the one that is
// being kept.
type Source interface {
	Span() (from, to time.Time)
	Events(ctx context.Context, kind string, from, to time.Time) ([]history.Event, error)
}

// History is what is shown: one from outside, [history.Archive], or the one that is being
// kept, [history.Store].
type History interface {
	Source
	Trend(ctx context.Context, w history.Window) (history.Trend, error)
	Rows(ctx context.Context, from, to time.Time) iter.Seq2[history.Row, error]
	Boots(ctx context.Context, from, to time.Time) ([]history.Boot, error)
	Channels(ctx context.Context, from, to time.Time) ([frame.Count]bool, error)
	ByMinuteOnly(ctx context.Context, from, to time.Time) (time.Duration, error)
	// Unreadable counts damaged pieces that were left out.
	Unreadable() uint64
}

var (
	_ History = (*history.Archive)(nil)
	_ History = (*history.Store)(nil)
)

// Pick says which window is wanted. Since counts back from the end of the history, not from
// now: the file may be old. Burn is "last" or a number as the table of burns gives them.
// The zero Pick is everything.
type Pick struct {
	Since    time.Duration
	From, To time.Time
	Burn     string
}

// around is how much is shown before and after a burn.
const around = 15 * time.Minute

// Window finds the window in a history.
func (p Pick) Window(ctx context.Context, a Source) (Window, error) {
	begin, end := a.Span()
	w := Window{begin, end}
	switch {
	case p.Burn != "":
		if p.Since != 0 || !p.From.IsZero() || !p.To.IsZero() {
			return w, errors.New("choose the window by a burn, by since, or by from and to")
		}
		b, err := Find(ctx, a, p.Burn)
		if err != nil {
			return w, err
		}
		w = Window{b.Start.Add(-around), b.End.Add(around)}
	case p.Since != 0:
		if !p.From.IsZero() {
			return w, errors.New("choose the window by since, or by from and to")
		}
		if !p.To.IsZero() {
			w.To = p.To
		}
		w.From = w.To.Add(-p.Since)
	default:
		if !p.From.IsZero() {
			w.From = p.From
		}
		if !p.To.IsZero() {
			w.To = p.To
		}
	}
	if !w.From.Before(w.To) || !w.From.Before(end) || !begin.Before(w.To) {
		return w, fmt.Errorf("nothing is kept from %s to %s: the history goes from %s to %s",
			stamp(w.From), stamp(w.To), stamp(begin), stamp(end))
	}
	if w.From.Before(begin) {
		w.From = begin
	}
	if w.To.After(end) {
		w.To = end
	}
	// What is written is in UTC, in whatever zone the window was asked for.
	w.From, w.To = w.From.UTC(), w.To.UTC()
	return w, nil
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }

// Find returns one burn: "last" or its number.
func Find(ctx context.Context, a Source, which string) (Burn, error) {
	all, err := Burns(ctx, a, Window{})
	if err != nil {
		return Burn{}, err
	}
	if len(all) == 0 {
		return Burn{}, errors.New("no burn has ended in this history")
	}
	if which == "last" {
		return all[len(all)-1], nil
	}
	n, err := strconv.Atoi(which)
	if err != nil || n < 1 || n > len(all) {
		return Burn{}, fmt.Errorf("there is no burn %q: want \"last\" or 1 to %d", which, len(all))
	}
	return all[n-1], nil
}
