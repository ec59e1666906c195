package app

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/golang/snappy"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/metrics"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
)

// A receiver is told of an alarm at once, of the readings up to it from the history, and by
// the names that a scrape shows.
func TestAnAlarmGoesOutByRemoteWriteAtOnce(t *testing.T) {
	var mu sync.Mutex
	var got []string
	desk := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		text, err := snappy.Decode(nil, body)
		if err != nil {
			t.Error(err)
		}
		mu.Lock()
		defer mu.Unlock()
		got = append(got, string(text))
		w.WriteHeader(http.StatusNoContent)
	}))
	defer desk.Close()

	cfg := config.Default()
	cfg.RemoteWrite = []config.RemoteWrite{{Name: "desk", URL: desk.URL, Interval: time.Second, Every: 3 * time.Minute, BackFill: 24 * time.Hour}}
	h := &house{
		cfg: cfg, feed: status.NewFeed(), log: slog.New(slog.DiscardHandler), boot: "run",
		options: Options{State: t.TempDir(), Clock: sensors.SystemClock{}, Version: "1.0"},
	}
	l := &loop{clock: h.options.Clock, frames: &assembler{}}
	store := h.keepHistory(l)
	r := &receivers{}
	exposition := metrics.New(metrics.Options{
		Site: "furnace", Feed: h.feed, Fitted: cfg.Analysis.Fitted, StaleAfter: time.Minute,
		MQTT: func() mqtt.Stats { return mqtt.Stats{} }, Loop: func() metrics.Loop { return metrics.Loop{} }, RemoteWrite: r.stats,
	})
	if err := r.build(h, l, store, exposition.Gather); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var tasks sync.WaitGroup
	start := func() {
		for _, task := range h.tasks {
			tasks.Go(func() { _ = task.run(ctx) })
		}
	}
	defer func() {
		cancel()
		tasks.Wait()
		if err := h.close(); err != nil {
			t.Error(err)
		}
	}()
	tick := func(at time.Duration, events ...analysis.Event) {
		s := &status.Status{Wall: time.Now().Add(at), ClockTrusted: true}
		s.Frame.At = at
		s.Frame.Inputs[frame.Flue] = frame.Input{Value: 300, Quality: frame.Good}
		key := alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}
		s.Assessment.Alarms = []alarm.Status{{Key: key, Priority: alarm.High, State: alarm.Raised}}
		s.Assessment.Events = events
		h.feed.Publish(s)
		for _, do := range l.after {
			do(s)
		}
	}
	for at := range 5 {
		tick(time.Duration(at) * time.Second)
	}
	waiting, done := context.WithTimeout(ctx, 20*time.Second)
	defer done()
	start()
	if err := store.Commit(waiting); err != nil {
		t.Fatal(err)
	}
	time.Sleep(500 * time.Millisecond) // the first round is over, and the next is in 3 min
	tick(5*time.Second, analysis.Event{
		Kind: analysis.AlarmChanged, Change: alarm.WasRaised,
		Alarm: alarm.Status{Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, State: alarm.Raised, Priority: alarm.High},
	})
	began := time.Now()
	for {
		mu.Lock()
		all := strings.Join(got, "\n")
		mu.Unlock()
		told := true
		for _, name := range []string{"fluewright_temperature_celsius", "fluewright_channel_quality", "fluewright_alarm_active", "fluewright_remote_write_rows_pending", "overheat"} {
			told = told && strings.Contains(all, name)
		}
		if told {
			break
		}
		if time.Since(began) > 20*time.Second {
			t.Fatalf("%d requests and not all in them", len(got))
		}
		time.Sleep(20 * time.Millisecond)
	}
	mu.Lock()
	defer mu.Unlock()
	if i := slices.IndexFunc(got, func(s string) bool { return bytes.Contains([]byte(s), []byte("go_goroutines")) }); i >= 0 {
		t.Error("the program's own innards are sent")
	}
	if st := r.stats(); len(st) != 1 || st[0].Destination != "desk" || st[0].Sent == 0 {
		t.Errorf("%+v", st)
	}
}

// Where no history is kept nothing can be sent, and that is said.
func TestRemoteWriteWithoutHistory(t *testing.T) {
	var said strings.Builder
	cfg := config.Default()
	cfg.RemoteWrite = []config.RemoteWrite{{Name: "desk"}}
	h := &house{cfg: cfg, log: slog.New(slog.NewTextHandler(&said, nil))}
	var none *history.Store
	if err := (&receivers{}).build(h, &loop{}, none, nil); err != nil || len(h.tasks) > 0 || !strings.Contains(said.String(), "state directory") {
		t.Errorf("%v, %d tasks, %s", err, len(h.tasks), said.String())
	}
}
