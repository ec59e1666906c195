package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/notify/notifytest"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
	"fluewright/sensors/bench"
)

// household writes a configuration of one owner, whose telephone listens to a server.
func household(t *testing.T, server string) *config.Config {
	t.Helper()
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	with, err := config.Parse("notify.toml", fmt.Appendf(nil, `
[[notify.transport]]
name = "phone"
kind = "push"
server = %q
topic-file = %q
acknowledge-topic-file = %q
[[notify.person]]
name = "owner"
units = "si"
via = ["phone"]
`, server, file("topic", "owner-topic\n"), file("answers", "answers-topic\n")))
	if err != nil {
		t.Fatal(err)
	}
	cfg.Notify = with.Notify
	cfg.Web.Listen, cfg.MQTT.Embedded = "127.0.0.1:0", "127.0.0.1:0"
	return cfg
}

// From a flue that gets too hot to the telephone, and from its button to the alarm.
func TestAnOverheatReachesTheTelephoneAndIsAcknowledged(t *testing.T) {
	server := notifytest.Start(t)
	cfg := household(t, server.URL)
	b, err := bench.New(bench.Config{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Register(); err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	do := func(line string) {
		if _, err := b.Do(line); err != nil {
			t.Fatal(err)
		}
	}
	for _, line := range []string{"pin flue 200", "pin chamber 500", "pin draft 12", "pin plenum 50", "pin room 20"} {
		do(line)
	}
	raised, acknowledged := make(chan time.Time, 1), make(chan uint32, 1)
	ticks := 0
	tick := func(s *status.Status) {
		if ticks++; ticks == 10 {
			do("pin flue 700")
		}
		for _, e := range s.Assessment.Events {
			switch {
			case e.Kind != analysis.AlarmChanged || e.Alarm.Key != alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}:
			case e.Change == alarm.WasRaised:
				raised <- time.Now()
			case e.Change == alarm.WasAcknowledged:
				acknowledged <- e.Alarm.Occurrence
			}
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
	defer cancel()
	ended := make(chan error, 1)
	go func() {
		ended <- Run(ctx, cfg, Options{
			Version: "1.0", State: t.TempDir(), Clock: sensors.SystemClock{}, Log: slog.New(slog.DiscardHandler), Tick: tick,
		})
	}()
	var in notifytest.Published
	for in.Title == "" || !strings.Contains(in.Title, "flue: too hot") {
		select {
		case in = <-server.Arrived:
		case err := <-ended:
			t.Fatalf("the program ends with %v", err)
		}
	}
	added := in.At.Sub(<-raised)
	t.Logf("it arrived %v after the tick that raised it", added)
	if added > 2*time.Second {
		t.Errorf("it arrived %v after the tick that raised it", added)
	}
	if in.Topic != "owner-topic" || in.Priority != 5 || !strings.Contains(in.Title, "°C") || !strings.HasSuffix(in.Message, notify.Disclaimer) {
		t.Errorf("got %+v", in)
	}
	if err := in.Press(); err != nil {
		t.Fatal(err)
	}
	select {
	case got := <-acknowledged:
		if got != 1 {
			t.Errorf("occurrence %d is acknowledged", got)
		}
	case <-time.After(30 * time.Second):
		t.Error("the button does not reach the alarm")
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// An answer that comes again is known as such.
func TestAnAcknowledgementCountsOnce(t *testing.T) {
	s := analysis.Settings{DraftLow: 10, DraftHigh: 15, Monitored: true}
	s.Fitted[frame.Flue], s.Limits[frame.Flue] = true, 500
	e, err := analysis.New(s)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		f := frame.Frame{At: time.Duration(i) * time.Second}
		f.Inputs[frame.Flue] = frame.Input{Value: 600, Quality: frame.Good}
		e.Step(f)
	}
	a := notify.Acknowledgement{Key: alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}, Occurrence: 1, By: "owner"}
	var got []error
	for range 2 {
		got = append(got, acknowledge(e, a))
	}
	a.Occurrence = 2
	got = append(got, acknowledge(e, a))
	if got[0] != nil || !errors.Is(got[1], notify.ErrTaken) || !errors.Is(got[2], alarm.ErrOtherOccurrence) {
		t.Errorf("got %v", got)
	}
}

func TestTheHeartbeatNeedsEyes(t *testing.T) {
	s := &status.Status{}
	if seesFire(s) {
		t.Error("without a reading it sees")
	}
	s.Frame.Inputs[frame.Room] = frame.Input{Value: 20, Quality: frame.Good}
	if seesFire(s) {
		t.Error("it sees by the room")
	}
	s.Frame.Inputs[frame.Flue] = frame.Input{Value: 200, Quality: frame.Stale}
	if seesFire(s) {
		t.Error("it sees by what is stale")
	}
	s.Frame.Inputs[frame.Flue].Quality = frame.Good
	if !seesFire(s) {
		t.Error("it does not see the flue")
	}
}

func TestSecretsComeFromFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	var got http.Header
	s := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { got = r.Header.Clone() }))
	defer s.Close()
	cfg := config.Default()
	cfg.Notify.Transports = []config.Transport{{
		Name: "hook", Kind: "webhook", ContentType: "application/json",
		URLFile: write("url", s.URL+"\n"), HeaderFile: write("headers", "Authorization: Bearer x\nX-Key: y\n"),
	}}
	all, err := Transports(cfg)
	if err != nil {
		t.Fatal(err)
	}
	if err := all["hook"].Send(t.Context(), notify.Write(notify.Message{Kind: notify.Test, Site: "cellar"}, "")); err != nil {
		t.Fatal(err)
	}
	if got.Get("Authorization") != "Bearer x" || got.Get("X-Key") != "y" {
		t.Errorf("got %v", got)
	}
	for name, bad := range map[string]config.Transport{
		"no such file":  {Kind: "push", TopicFile: filepath.Join(dir, "none")},
		"empty":         {Kind: "push", TopicFile: write("empty", "\n")},
		"two lines":     {Kind: "push", TopicFile: write("two", "a\nb\n")},
		"the same":      {Kind: "push", TopicFile: write("one", "a"), AnswersFile: write("other", "a")},
		"no headers":    {Kind: "webhook", URL: s.URL, HeaderFile: write("text", "secret words\n")},
		"no template":   {Kind: "webhook", URL: s.URL, TemplateFile: write("template", "{{.secret")},
		"no credential": {Kind: "mail", From: "a@b.example", To: "c@d.example", CAFile: write("ca", "secret")},
	} {
		cfg.Notify.Transports = []config.Transport{bad}
		if _, err := Transports(cfg); err == nil || name != "no template" && strings.Contains(err.Error(), "secret words") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestPolicy(t *testing.T) {
	p := Policy(household(t, "https://push.example"))
	if len(p.People) != 1 || !slices.Equal(p.People[0].Via, []string{"phone"}) || !p.People[0].Takes[alarm.High] || p.Second != 5*time.Minute {
		t.Errorf("got %+v", p)
	}
}
