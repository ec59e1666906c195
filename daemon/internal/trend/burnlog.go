package trend

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/internal/history"
)

// Channels returns those that the window has rows of, or of these the ones that are asked
// for.
func Channels(ctx context.Context, a History, w Window, wanted []frame.Channel) (some [frame.Count]bool, err error) {
	there, err := a.Channels(ctx, w.From, w.To)
	if err != nil {
		return some, err
	}
	if len(wanted) == 0 {
		some = there
	}
	for _, c := range wanted {
		some[c] = there[c]
		if !there[c] {
			return some, fmt.Errorf("the history has nothing of %v in this window", c)
		}
	}
	if some == ([frame.Count]bool{}) {
		return some, errors.New("the history has no readings in this window")
	}
	return some, nil
}

// WriteLog writes a window as a burn log: every row, or the means over every so long.
func WriteLog(ctx context.Context, out io.Writer, a History, w Window, channels [frame.Count]bool, every time.Duration) error {
	log, err := burnlog.NewWriter(out, channels)
	if err != nil {
		return err
	}
	for row, err := range Rows(ctx, a, w, channels, every) {
		if err != nil {
			return err
		}
		var f frame.Frame
		for c := range f.Inputs {
			if row.Quality[c] >= frame.Suspect {
				f.Inputs[c] = frame.Input{Value: row.Values[c], Quality: row.Quality[c]}
			}
		}
		if err := log.Write(row.At, f); err != nil {
			return err
		}
	}
	return log.Flush()
}

// Rows goes through every row of a window, or through the means over every so long, each at
// its beginning. A stretch without a reading gives no mean.
func Rows(ctx context.Context, a History, w Window, channels [frame.Count]bool, every time.Duration) iter.Seq2[history.Row, error] {
	if every <= 0 {
		return a.Rows(ctx, w.From, w.To)
	}
	return func(yield func(history.Row, error) bool) {
		var which []frame.Channel
		for _, c := range frame.All() {
			if channels[c] {
				which = append(which, c)
			}
		}
		from := w.From.Truncate(every)
		for from.Before(w.To) {
			n := min((w.To.Sub(from)+every-1)/every, history.MostColumns)
			to := from.Add(n * every)
			t, err := a.Trend(ctx, history.Window{From: from, To: to, Columns: int(n), Channels: which})
			if err != nil {
				yield(history.Row{}, err)
				return
			}
			for i := range int(n) {
				if row, ok := mean(&t, which, i); ok {
					row.At = from.Add(time.Duration(i) * every)
					if !yield(row, nil) {
						return
					}
				}
			}
			from = to
		}
	}
}

// mean makes a row of one column of a trend.
func mean(t *history.Trend, which []frame.Channel, i int) (row history.Row, some bool) {
	for k, c := range which {
		col := t.Series[k][i]
		if col.N == 0 {
			continue
		}
		row.Values[c], row.Quality[c], some = col.Mean, frame.Suspect, true
		if 2*col.Good >= col.N {
			row.Quality[c] = frame.Good
		}
	}
	return row, some
}
