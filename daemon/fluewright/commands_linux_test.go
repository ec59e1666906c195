package main_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/status"
	virtual "fluewright/sensors/bench"
)

// asker sends commands and reads replies.
type asker struct {
	*mqtt.Caller
	t  *testing.T
	id string
	n  int
}

func (f *faraway) asker(name string) *asker {
	f.t.Helper()
	c, err := mqtt.Dial(f.t.Context(), mqtt.CallOptions{Site: f.site(), Broker: "tcp://" + f.broker, ClientID: name})
	if err != nil {
		f.t.Fatal(err)
	}
	f.t.Cleanup(c.Close)
	return &asker{Caller: c, t: f.t, id: name}
}

func (a *asker) envelope(id, more string) []byte {
	now := time.Now().UTC()
	if more != "" {
		more = ", " + more
	}
	return fmt.Appendf(nil, `{"version": 1, "id": %q, "client": %q, "issued_at": %q, "expires_at": %q, "by": "Maria"%s}`,
		id, a.id, now.Format(time.RFC3339), now.Add(time.Minute).Format(time.RFC3339), more)
}

// reply waits for the next one.
func (a *asker) reply() command.Reply {
	a.t.Helper()
	for timeout := time.After(patience); ; {
		select {
		case h := <-a.Heard():
			if !strings.HasPrefix(h.Topic, "reply/") {
				continue
			}
			var r command.Reply
			if err := json.Unmarshal(h.Payload, &r); err != nil {
				a.t.Fatal(err)
			}
			return r
		case <-timeout:
			a.t.Fatal("no reply")
		}
	}
}

func (a *asker) ask(name, more string) command.Reply {
	a.t.Helper()
	a.n++
	if err := a.Send(a.t.Context(), name, a.envelope(fmt.Sprintf("command-%d", a.n), more)); err != nil {
		a.t.Fatal(err)
	}
	return a.reply()
}

// firing starts a furnace that burns so many times as fast as a real one.
func firing(t *testing.T, speed float64) (*faraway, *virtual.Clock) {
	f := newFaraway(t)
	clock := virtual.NewClock(speed)
	house, err := virtual.New(virtual.Config{Seed: 1, Clock: clock, Scenario: virtual.Night()})
	if err != nil {
		t.Fatal(err)
	}
	if err := house.Register(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = house.Close() })
	return f, clock
}

func TestCommandsFromElsewhere(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	f, clock := firing(t, 600)
	f.run(clock, time.Minute)
	a := f.asker("phone-of-maria")

	if r := a.ask("snapshot", ""); r.Result != "done" || !strings.Contains(string(r.State), `"verdict"`) {
		t.Errorf("a snapshot: %+v", r)
	}
	if r := a.ask("note", `"note": {"kind": "fuel", "wood": "oak", "kilograms": 22, "moisture": 0.18}`); r.Result != "done" {
		t.Errorf("a note: %+v", r)
	}
	if r := a.ask("live", `"live": {"seconds": 60}`); r.Result != "done" {
		t.Errorf("a lease: %+v", r)
	}
	for name, c := range map[string]struct {
		command, more string
		why           command.Reason
	}{
		"a limit":       {"limit", `"limit": {"flue": 2000}`, command.Unknown},
		"shelving":      {"shelve", `"alarm": "overheat"`, command.Unknown},
		"another alarm": {"acknowledge", `"acknowledge": {"alarm": "boredom", "occurrence": 1}`, command.Nothing},
		"no bundle":     {"trend", `"trend": {"bundle": "` + strings.Repeat("0a", 32) + `", "chunks": 1}`, command.Gone},
	} {
		if r := a.ask(c.command, c.more); r.Result != "refused" || r.Reason != c.why || r.Message == "" {
			t.Errorf("%s: %+v", name, r)
		}
	}
	same := a.envelope("once-only", "")
	for _, want := range []command.Reason{"", command.Repeated} {
		if err := a.Send(t.Context(), "snapshot", same); err != nil {
			t.Fatal(err)
		}
		if r := a.reply(); r.Reason != want {
			t.Errorf("%+v, want %q", r, want)
		}
	}
	// One alarm is acknowledged, that occurrence and no other.
	var raised alarm.Status
	f.until("an alarm is raised", func(s *status.Status) bool {
		for _, x := range s.Assessment.Alarms {
			if x.State == alarm.Raised {
				raised = x
				return true
			}
		}
		return false
	})
	channel := ""
	if name, c, ok := strings.Cut(raised.Key.String(), "/"); ok {
		channel = fmt.Sprintf(`"channel": %q, `, c)
		_ = name
	}
	of := func(occurrence uint32) string {
		return fmt.Sprintf(`"acknowledge": {"alarm": %q, %s"occurrence": %d}`, raised.Key.Name, channel, occurrence)
	}
	if r := a.ask("acknowledge", of(raised.Occurrence+1)); r.Reason != command.Stale {
		t.Errorf("another occurrence: %+v", r)
	}
	if r := a.ask("acknowledge", of(raised.Occurrence)); r.Result != "done" {
		t.Errorf("acknowledge: %+v", r)
	}
	f.until("it is acknowledged", func(s *status.Status) bool {
		for _, x := range s.Assessment.Alarms {
			if x.Key == raised.Key {
				return x.Acknowledged || x.Occurrence != raised.Occurrence
			}
		}
		return false
	})
	// Retained: the monitor sees that it is when it comes back.
	output(t, "mosquitto_pub", at(f.broker, "-r", "-t", "fluewright/"+f.site()+"/command/snapshot", "-m", string(a.envelope("retained", "")))...)
	if r := a.reply(); r.Result != "done" {
		t.Errorf("fresh: %+v", r)
	}
	f.monitor.Cut()
	r := a.reply()
	for r.Result == "done" && r.ID == "retained" { // the same reply may come again over a new connection
		r = a.reply()
	}
	if r.Reason != command.Retained {
		t.Errorf("retained: %s %s %s", r.ID, r.Result, r.Reason)
	}
	output(t, "mosquitto_pub", at(f.broker, "-r", "-t", "fluewright/"+f.site()+"/command/snapshot", "-n")...)
	// Too large: dropped before it is in memory, and counted.
	if err := a.Send(t.Context(), "note", make([]byte, 1<<20)); err != nil {
		t.Fatal(err)
	}
	f.counted(`fluewright_commands_total{result="oversized"} 1`)
	f.stop()
	past, err := history.Open(t.Context(), f.dir)
	if err != nil {
		t.Fatal(err)
	}
	defer past.Close()
	from, to := past.Span()
	fuel, err := past.Events(t.Context(), "fuel", from, to)
	if err != nil || len(fuel) != 1 || fuel[0].Fields["author"] != "Maria" || fuel[0].Fields["moisture"] != 0.18 {
		t.Errorf("the fuel log: %+v, %v", fuel, err)
	}
	notes, err := past.Events(t.Context(), "notes", from, to)
	if err != nil || len(notes) != 1 || !strings.HasPrefix(fmt.Sprint(notes[0].Fields["note"]), "acknowledged ") {
		t.Errorf("the notes: %+v, %v", notes, err)
	}
}

// until waits for a tick of which something holds.
func (f *faraway) until(what string, holds func(*status.Status) bool) {
	f.t.Helper()
	for deadline := time.Now().Add(90 * time.Second); ; time.Sleep(time.Millisecond) {
		f.mu.Lock()
		s := f.latest
		f.mu.Unlock()
		if holds(s) {
			return
		}
		if time.Now().After(deadline) {
			f.t.Fatalf("not yet: %s", what)
		}
	}
}

// counted waits until the metrics hold a line.
func (f *faraway) counted(line string) {
	f.t.Helper()
	var text string
	for deadline := time.Now().Add(15 * time.Second); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		if text = f.metrics(); strings.Contains(text, line+"\n") {
			return
		}
	}
	f.t.Errorf("%s is not counted:\n%s", line, text)
}

func (f *faraway) metrics() string {
	f.mu.Lock()
	page := f.page
	f.mu.Unlock()
	r, err := http.Get(page + "metrics")
	if err != nil {
		f.t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil {
		f.t.Fatal(err)
	}
	return string(text)
}
