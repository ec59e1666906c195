//go:build linux

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// pixels is how many columns the trends have.
const pixels = 1000

// looks is how often each trend is asked for; the median counts.
const looks = 15

// season fills a history with a season, all channels each second, and prints its size and how
// long its trends take; then the same of the peers that can take over a past.
func season(ctx context.Context, days int, out, talk io.Writer) (err error) {
	home, err := os.MkdirTemp("", "fluewright-wear-*")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(home)) }()
	rows := course(min(days, 30) * 86400)
	s := newStore(home, time.Second)
	running, stop := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- s.Run(running) }()
	defer func() {
		stop()
		closing, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		err = errors.Join(err, <-done, s.Close(closing))
	}()
	fmt.Fprintf(talk, "fill %d days\n", days)
	begun := time.Now()
	readings, err := fill(ctx, s, rows, days)
	if err != nil {
		return err
	}
	took := time.Since(begun)
	file, err := os.Stat(s.Health().Path)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%d days of simulated furnaces, %.1f channels in the mean at 1 Hz: %.1f MB, %.3f bytes a sample, filled in %.2f s a million samples.\n\n",
		days, float64(readings)/float64(days*86400), float64(file.Size())/1e6, float64(file.Size())/float64(readings), took.Seconds()*1e6/float64(readings))
	fmt.Fprintf(out, "| trend of %d columns, median of %d | 1 channel, ms | %d channels, ms |\n|---|---|---|\n", pixels, looks, frame.Count)
	end := origin.Add(time.Duration(days) * 24 * time.Hour)
	for _, span := range []time.Duration{24 * time.Hour, time.Duration(days) * 24 * time.Hour} {
		one, err := look(ctx, s, end, span, frame.Flue)
		if err != nil {
			return err
		}
		every, err := look(ctx, s, end, span, frame.All()...)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "| this history, %.0f h | %s | %s |\n", span.Hours(), one, every)
	}
	return peers(ctx, home, rows[:min(len(rows), 86400)], out, talk)
}

// origin is when the season begins.
var origin = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)

// fill offers rows over and over, as fast as they are taken, and returns how many readings
// there were.
func fill(ctx context.Context, s *history.Store, rows []frame.Values, days int) (readings int, err error) {
	for i := range days * 86400 {
		st := statusOf(time.Duration(i)*time.Second, origin, rows[i%len(rows)], burn.Cold)
		for _, in := range st.Frame.Inputs {
			if in.Usable() {
				readings++
			}
		}
		s.Offer(st)
		if i%600 == 599 {
			if err := s.Commit(ctx); err != nil {
				return 0, err
			}
		}
	}
	return readings, s.Commit(ctx)
}

// look asks for a trend and says how long that takes.
func look(ctx context.Context, s *history.Store, end time.Time, span time.Duration, channels ...frame.Channel) (string, error) {
	return median(func() error {
		t, err := s.Trend(ctx, history.Window{From: end.Add(-span), To: end, Columns: pixels, Channels: channels})
		if err == nil && t.Partial {
			err = errors.New("the file could not be read")
		}
		return err
	})
}

// median says how long do takes, in ms.
func median(do func() error) (string, error) {
	var all []time.Duration
	for range looks {
		begun := time.Now()
		if err := do(); err != nil {
			return "", err
		}
		all = append(all, time.Since(begun))
	}
	slices.Sort(all)
	return fmt.Sprintf("%.1f", float64(all[len(all)/2].Microseconds())/1000), nil
}
