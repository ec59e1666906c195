package main_test

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/mqtt/mqtttest"
	"fluewright/daemon/internal/porttest"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/units"
)

// told is a change of the flue's overheat as a broker hears of it.
type told struct {
	id, boot, state string
	occurrence      int
}

func (o told) String() string { return fmt.Sprintf("%s %d", o.state, o.occurrence) }

// overheats are the changes that came, each once.
func overheats(t *testing.T, all []mqtttest.Heard) (changes []told) {
	t.Helper()
	known := map[string]bool{}
	for _, h := range all {
		if h.Topic != "event" || known[h.ID] {
			continue
		}
		var e struct {
			Type string
			Data struct {
				Boot, Alarm, Channel, State string
				Occurrence                  int
			}
		}
		if err := json.Unmarshal(h.Payload, &e); err != nil {
			t.Fatalf("%s: %v", h.Payload, err)
		}
		if d := e.Data; e.Type == "fluewright.alarm" && d.Alarm == "overheat" && d.Channel == "flue" && (d.State == "raised" || d.State == "cleared") {
			known[h.ID] = true
			if n := len(changes); n > 0 && changes[n-1].String() == fmt.Sprintf("%s %d", d.State, d.Occurrence) {
				continue // the account of it changed
			}
			changes = append(changes, told{h.ID, d.Boot, d.State, d.Occurrence})
		}
	}
	return changes
}

// The built program is killed at each step of the delivery of an alarm: before it is in the
// history, when it is there and not sent, when it is sent and not acknowledged, and when it is
// acknowledged and that is not kept. Each change arrives, in order, and what arrives twice has
// the same id. The telemetry is whole as far as the history is.
func TestAKillAtEachStepOfDelivery(t *testing.T) {
	if testing.Short() {
		t.Skip("it burns for a minute")
	}
	needRealParts(t)
	t.Parallel()
	dir := t.TempDir()
	bench := startBench(t, dir, "--dev-offset", "85")
	broker := mqtttest.Start(t)
	file, state := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state")
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, file, fmt.Sprintf(`
[site]
name = "cellar"
[alarms.overheat]
hold = "1 s"
clear-after = "1 s"
[mqtt]
broker = %q
[web]
listen = %q
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "/dev/spidev85.0"
thermocouple = "K"
[[sensor]]
channels = ["ambient", "room"]
chip = "bme280"
bus = "/dev/i2c-86"
`, broker.URL(), porttest.Free(t).String()))
	bench.do("pin flue 300")
	run := func() *process { return start(t, build(t, "."), "run", "--config", file, "--state", state) }
	var daemon *process
	eventually := func(what string, ok func() bool) {
		t.Helper()
		for deadline := time.Now().Add(patience); !ok(); {
			if time.Now().After(deadline) {
				daemon.signal(syscall.SIGQUIT)
				<-time.After(time.Second)
				t.Log(daemon.said())
				t.Fatalf("it does not come to: %s; the broker heard of %v", what, overheats(t, broker.All()))
			}
			<-time.After(10 * time.Millisecond)
		}
	}
	heard := func(n int) func() bool { return func() bool { return len(overheats(t, broker.All())) >= n } }
	var want []string
	for i, step := range []string{"before the commit", "before it is sent", "before it is acknowledged", "before that is kept"} {
		for _, turn := range []struct{ pin, state string }{{"pin flue 650", "raised"}, {"pin flue 300", "cleared"}} {
			want = append(want, fmt.Sprintf("%s %d", turn.state, i+1))
			was := len(broker.Of("availability"))
			daemon = run()
			eventually("a run that is online", func() bool { return len(broker.Of("availability")) > was })
			kill := func() { daemon.signal(syscall.SIGKILL) }
			about := func(h mqtttest.Heard) bool { return h.Topic == "event" }
			switch step {
			case "before the commit":
				<-time.After(time.Second)
				bench.do(turn.pin)
				<-time.After(1200 * time.Millisecond) // about when it is raised
			case "before it is sent":
				<-time.After(time.Second)
				broker.Away(true)
				bench.do(turn.pin)
				<-time.After(4 * time.Second)
			case "before it is acknowledged":
				broker.Does(func(h mqtttest.Heard) (bool, bool) { return !about(h), false })
				bench.do(turn.pin)
				eventually(turn.state+", "+step, heard(len(want)))
			case "before that is kept":
				<-time.After(2 * time.Second) // what came before is kept
				broker.Does(func(h mqtttest.Heard) (bool, bool) {
					if about(h) {
						time.AfterFunc(time.Millisecond, kill)
					}
					return true, false
				})
				bench.do(turn.pin)
				eventually(turn.state+", "+step, heard(len(want)))
			}
			kill()
			_ = daemon.wait(ending)
			broker.Does(nil)
			broker.Away(false)
			before := len(broker.All())
			daemon = run()
			eventually(turn.state+", of which the next run tells", heard(len(want)))
			if step == "before it is acknowledged" {
				last := overheats(t, broker.All())[len(want)-1]
				eventually("the same again", func() bool {
					for _, h := range broker.All()[before:] {
						if h.ID == last.id {
							return true
						}
					}
					return false
				})
			}
			<-time.After(time.Second)
			daemon.signal(syscall.SIGTERM)
			_ = daemon.wait(ending)
		}
	}
	// What is missing is made up for a run at a time: a slow machine is given more than one.
	for more := 4; ; more-- {
		daemon = run()
		<-time.After(10 * time.Second)
		daemon.signal(syscall.SIGTERM)
		_ = daemon.wait(ending)
		lack, runs := untold(t, state, broker.Of("telemetry"))
		if len(lack) == 0 && runs >= 10 {
			break
		}
		if more == 0 {
			t.Fatalf("of %d runs is missing: %s", runs, strings.Join(lack, ", "))
		}
		t.Logf("not yet: %s", strings.Join(lack, ", "))
	}

	var got []string
	for _, c := range overheats(t, broker.All()) {
		got = append(got, c.String())
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("changes (-want +got):\n%s", diff)
	}
	said := map[string]string{}
	for _, h := range broker.All() {
		if h.ID == "" {
			continue
		}
		// The clock of a test machine is nobody's: its times are a guess, which may change.
		body := regexp.MustCompile(`"(time|since)":"[^"]*"`).ReplaceAllString(string(h.Payload), "")
		if before, known := said[h.ID]; known && before != body {
			t.Errorf("%s is %s and then %s", h.ID, before, body)
		}
		said[h.ID] = body
	}
}

// untold are the readings in the history that ought to have been sent and were not. It says of
// how many runs it knows.
func untold(t *testing.T, state string, packs []mqtttest.Heard) (lack []string, of int) {
	t.Helper()
	type reading struct {
		boot, channel string
		tenths        int64
	}
	got := map[reading]bool{}
	for _, p := range packs {
		var records []struct {
			Boot string
			At   float64
			N    string
			T    float64
		}
		if err := json.Unmarshal(p.Payload, &records); err != nil {
			t.Fatal(err)
		}
		for _, r := range records {
			got[reading{records[0].Boot, r.N, int64(math.Round(10 * (records[0].At + r.T)))}] = true
		}
	}
	s := history.New(history.Options{Dir: state, Identity: "look", Units: units.SI, Log: slog.New(slog.DiscardHandler)})
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	running, stop := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- s.Run(running) }()
	s.Offer(&status.Status{Wall: time.Now(), ClockTrusted: true})
	if err := s.Commit(ctx); err != nil {
		t.Fatal(err)
	}
	runs := map[string]bool{}
	var last string
	at := history.Position{Run: 0, Identity: "before the first", MS: -1}
	var all []history.Followed
	for {
		next, _, err := s.Follow(ctx, at)
		if err != nil {
			t.Fatal(err)
		}
		if len(next) == 0 {
			break
		}
		all = append(all, next...)
		at = next[len(next)-1].Position
	}
	for _, r := range all {
		if r.Position.Identity != "look" {
			last = r.Position.Identity
		}
	}
	before := history.Position{MS: -1}
	for _, r := range all {
		p := r.Position
		due := p.Identity != before.Identity || p.MS/10_000 != before.MS/10_000
		before = p
		if !due || p.Identity == last || p.Identity == "look" {
			continue // the last run had no minute that was over
		}
		runs[p.Identity] = true
		for _, c := range frame.All() {
			if !r.Values.Has(c) {
				continue
			}
			if !got[reading{p.Identity, c.String(), p.MS / 100}] {
				lack = append(lack, fmt.Sprintf("the %v at %d ms of the %d. run (%s)", c, p.MS, len(runs), p.Identity))
			}
		}
	}
	stop()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if err := s.Close(ctx); err != nil {
		t.Fatal(err)
	}
	return lack, len(runs)
}
