package trendpage_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/api"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/web/layout"
	"fluewright/daemon/internal/web/trendpage"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// keep keeps a history from noon on, and hands out ticks until fill returns.
func keep(t testing.TB, cfg *config.Config, fill func(s *history.Store, offer func(at time.Duration, phase burn.Phase, values map[frame.Channel]float64, events ...analysis.Event))) *history.Store {
	t.Helper()
	s := history.New(history.Options{Dir: t.TempDir(), Software: "1.0", Configuration: "[site]\n", Units: cfg.Site.Units, Log: slog.New(slog.DiscardHandler)})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(<-ended, s.Close(context.Background())); err != nil {
			t.Error(err)
		}
	})
	committed := 0
	fill(s, func(at time.Duration, phase burn.Phase, values map[frame.Channel]float64, events ...analysis.Event) {
		st := &status.Status{Wall: noon.Add(at), ClockTrusted: true}
		st.Frame.At = at
		for c, v := range values {
			if !math.IsNaN(v) {
				st.Frame.Inputs[c] = frame.Input{Value: v, Quality: frame.Good}
			}
		}
		for i := range events {
			events[i].At = at
		}
		st.Assessment = analysis.Assessment{At: at, Phase: phase, Burning: phase.Fire(), Events: events}
		s.Offer(st)
		if committed++; committed == 10_000 { // before memory drops the oldest
			committed = 0
			if err := s.Commit(ctx); err != nil {
				t.Fatal(err)
			}
		}
	})
	if err := s.Commit(ctx); err != nil {
		t.Fatal(err)
	}
	return s
}

// site is an SI site with a flue, a chamber and a draft.
func site() *config.Config {
	cfg := config.Default()
	cfg.Analysis.Fitted = [frame.Count]bool{frame.Chamber: true, frame.Flue: true, frame.Plenum: true, frame.Room: true, frame.Draft: true, frame.Ambient: true}
	return cfg
}

// serve serves the page and the interface over a history, which may be none.
func serve(t testing.TB, cfg *config.Config, h trend.History) http.Handler {
	t.Helper()
	log := slog.New(slog.NewTextHandler(testWriter{t}, &slog.HandlerOptions{Level: slog.LevelError}))
	shell, err := layout.New(layout.Options{Site: cfg.Site.Name, Version: "v0", Log: log, Files: folders()})
	if err != nil {
		t.Fatal(err)
	}
	where := trend.Site{Config: cfg, Zone: time.UTC}
	mux := http.NewServeMux()
	var all []access.Route
	all = append(all, trendpage.New(trendpage.Options{Shell: shell, Feed: status.NewFeed(), History: h, Site: where, Log: log}).Routes()...)
	all = append(all, api.New(api.Options{History: h, Site: where, Version: "v0", Log: log}).Routes()...)
	for _, r := range all {
		if r.Needs != access.Read {
			t.Errorf("%s needs %v", r.Pattern, r.Needs)
		}
		mux.Handle(r.Pattern, r.Handler)
	}
	mux.HandleFunc("GET /static/{name}", shell.ServeFile)
	return mux
}

type testWriter struct{ t testing.TB }

func (w testWriter) Write(b []byte) (int, error) { w.t.Logf("%s", b); return len(b), nil }

var _ io.Writer = testWriter{}

func get(t testing.TB, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	return w
}

// season is a history of so many days with three burns a day; the last two hours are read
// every second, the rest every ten.
func season(t testing.TB, cfg *config.Config, days int) *history.Store {
	t.Helper()
	return keep(t, cfg, func(_ *history.Store, offer func(time.Duration, burn.Phase, map[frame.Channel]float64, ...analysis.Event)) {
		end := time.Duration(days) * 24 * time.Hour
		phase := burn.Cold
		var alarms uint32
		for at := time.Duration(0); at < end; {
			into := at % (8 * time.Hour)
			next := burn.Coals
			switch {
			case into < 10*time.Minute:
				next = burn.Lighting
			case into < 30*time.Minute:
				next = burn.WarmUp
			case into < 4*time.Hour:
				next = burn.CleanBurn
			}
			var events []analysis.Event
			if next != phase {
				events = append(events, analysis.Event{Kind: analysis.PhaseChanged, From: phase, To: next})
				key := alarm.Key{Name: alarm.DraftHigh, Channel: frame.Count}
				switch next {
				case burn.Lighting:
					events = append(events, analysis.Event{Kind: analysis.Reloaded, Load: burn.Load{At: at, Cold: true}})
					if at > 0 {
						events = append(events, analysis.Event{Kind: analysis.BurnEnded, Burn: burn.Summary{
							Start: at - 8*time.Hour, End: at, PeakFlue: 300, MeanDraft: 12, Loads: 1,
							In:    [len(burn.Summary{}.In)]time.Duration{burn.CleanBurn: 8 * time.Hour},
							Draft: burn.Drafts{Above: time.Hour},
						}})
					}
				case burn.WarmUp:
					alarms++
					events = append(events, analysis.Event{Kind: analysis.AlarmChanged, Change: alarm.WasRaised, Alarm: alarm.Status{Key: key, State: alarm.Raised, Priority: alarm.Medium, Occurrence: alarms}})
				case burn.CleanBurn:
					events = append(events, analysis.Event{Kind: analysis.AlarmChanged, Change: alarm.WasCleared, Alarm: alarm.Status{Key: key, State: alarm.Returned, Priority: alarm.Medium, Occurrence: alarms}})
				}
				phase = next
			}
			x := at.Seconds()
			offer(at, phase, map[frame.Channel]float64{
				frame.Chamber: 500 + 200*math.Sin(x/5000), frame.Flue: 220 + 60*math.Sin(x/4000), frame.Plenum: 50 + 9*math.Sin(x/9000),
				frame.Room: 20 + math.Sin(x/30000), frame.Draft: 12 + 2*math.Sin(x/700), frame.Ambient: 98000,
			}, events...)
			if at += 10 * time.Second; at >= end-2*time.Hour {
				at -= 9 * time.Second
			}
		}
	})
}
