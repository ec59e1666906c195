//go:build linux

package main

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"os"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
	"fluewright/sensors/bench/nights"
)

// series is how many the peers get each second.
const series = 12

// period makes nine channels as many samples a second.
const period = time.Second * time.Duration(frame.Count) / series

// course is what the monitors of simulated furnaces read, one row a second, whatever the
// period at which a site samples: between two readings the last one holds, as on a board. The
// nights follow each other, by kind and seed.
func course(rows int) []frame.Values {
	kinds := nights.Kinds()
	var all []frame.Values
	for seed := uint64(1); len(all) < rows; seed++ {
		n := kinds[seed%uint64(len(kinds))].Night(seed)
		var row nights.Row
		begun := len(all)
		for n.Next(&row) {
			for len(all)-begun <= int(row.At/time.Second) {
				all = append(all, frame.Values(row.Values))
			}
		}
	}
	return all[:rows]
}

// gauge is the value of one of the peers' series: the nine channels, and three of an hour
// later. What a furnace does not have is 20: a peer is not to have less to do.
func gauge(all []frame.Values, i, which int) float64 {
	v := all[(i+which/int(frame.Count)*3600)%len(all)][which%int(frame.Count)]
	if math.IsNaN(v) {
		return 20
	}
	return v
}

// statusOf is what the loop would hand to the history.
func statusOf(at time.Duration, start time.Time, v frame.Values, phase burn.Phase) *status.Status {
	s := &status.Status{Wall: start.Add(at), ClockTrusted: true}
	s.Frame.At = at
	for c, x := range v {
		if !math.IsNaN(x) {
			s.Frame.Inputs[c] = frame.Input{Value: x, Quality: frame.Good}
		}
	}
	s.Assessment = analysis.Assessment{At: at, Phase: phase}
	return s
}

func newStore(dir string, period time.Duration) *history.Store {
	return history.New(history.Options{
		Dir: dir, Period: period, Software: "wear", Configuration: "[site]\n", Units: units.SI,
		Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
}

// feed fills a history in real time until ctx ends.
func feed(ctx context.Context, dir string, burning bool) error {
	phase := burn.Cold
	if burning {
		phase = burn.CleanBurn
	}
	rows := full(course(8 * 3600))
	s := newStore(dir, period)
	running := make(chan error, 1)
	go func() { running <- s.Run(ctx) }()
	start := time.Now()
	ticker := time.NewTicker(period)
	defer ticker.Stop()
	for i := 0; ; i++ {
		s.Offer(statusOf(time.Duration(i)*period, start, rows[i%len(rows)], phase))
		select {
		case <-ticker.C:
			continue
		case <-ctx.Done():
		}
		closing, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		return errors.Join(<-running, s.Close(closing))
	}
}

// full gives the rows what the peers get.
func full(rows []frame.Values) []frame.Values {
	for i := range rows {
		for c := range rows[i] {
			rows[i][c] = gauge(rows, i, c)
		}
	}
	return rows
}
