package app

import (
	"context"
	"encoding/json"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/mqtt"
)

// FuzzWhatIsAsked: whatever comes on whatever topic below command/, the alarms are as they
// were, but for the one occurrence that an acknowledgement names.
func FuzzWhatIsAsked(f *testing.F) {
	head := `{"version": 1, "id": "12345678", "client": "phone-00", "issued_at": "2026-11-25T12:00:00Z", "expires_at": "2026-11-25T12:01:00Z", "by": "Maria"`
	for name, more := range map[string]string{
		"acknowledge":   `, "acknowledge": {"alarm": "overheat", "channel": "flue", "occurrence": 1}}`,
		"snapshot":      `}`,
		"live":          `, "live": {"seconds": 300}}`,
		"note":          `, "note": {"kind": "fuel", "wood": "oak", "kilograms": 22, "moisture": 0.18}}`,
		"trend":         `, "trend": {"wish": {"since_seconds": 3600}}}`,
		"trend/":        `, "trend": {"bundle": "` + strings.Repeat("0a", 32) + `", "offset": 5, "chunks": 8}}`,
		"shelve":        `, "shelve": {"alarm": "overheat"}}`,
		"limit":         `, "limit": {"flue": 2000}}`,
		"":              `}`,
		"acknowledge/#": `, "acknowledge": {"alarm": "overheat", "channel": "flue", "occurrence": 4294967295}}`,
	} {
		f.Add(name, false, []byte(head+more))
		f.Add(name, true, []byte(head+more))
	}
	settings := analysis.Settings{DraftLow: 10, DraftHigh: 15}
	settings.Fitted[frame.Flue], settings.Fitted[frame.Draft] = true, true
	settings.Limits[frame.Flue] = 500
	overheat := alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}
	line, err := mqtt.New(mqtt.Options{Site: "cellar-7", Broker: "tcp://127.0.0.1:1", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, name string, retained bool, body []byte) {
		engine, err := analysis.New(settings)
		if err != nil {
			t.Fatal(err)
		}
		in := frame.Frame{}
		in.Inputs[frame.Flue] = frame.Input{Value: 700, Quality: frame.Good}
		in.Inputs[frame.Draft] = frame.Input{Value: 12, Quality: frame.Good}
		for range 20 {
			in.At += time.Second
			engine.Step(in)
		}
		before := engine.Alarms()
		c := newCommands(slog.New(slog.DiscardHandler))
		c.line, c.trusted = line, func() bool { return false }
		c.actions = &actions{
			order: func(_ context.Context, do func(*analysis.Engine) error) error { return do(engine) },
			taken: &takers{wall: time.Now}, log: slog.New(slog.DiscardHandler),
		}
		c.take(name, retained, body)
		for _, w := range []struct {
			queue chan command.Request
			do    func(context.Context, *command.Request) (command.Reply, error)
		}{{c.small, c.atOnce}, {c.wishes, c.wish}, {c.pieces, c.piece}} {
			for len(w.queue) > 0 {
				r := <-w.queue
				c.carryOut(t.Context(), &r, w.do)
			}
		}
		var asked struct{ Acknowledge *command.Occurrence }
		named := name == "acknowledge" && !retained && json.Unmarshal(body, &asked) == nil && asked.Acknowledge != nil
		for i, now := range engine.Alarms() {
			was := before[i]
			if was == now {
				continue
			}
			taken := was
			taken.State, taken.Acknowledged, taken.Since = alarm.Acknowledged, true, now.Since
			if !named || now != taken || now.Key != overheat || asked.Acknowledge.Occurrence != was.Occurrence {
				t.Errorf("%q with %q made of %+v: %+v", name, body, was, now)
			}
		}
		if i := slices.IndexFunc(before, func(a alarm.Status) bool { return a.Key == overheat }); before[i].State != alarm.Raised {
			t.Fatalf("nothing stands: %+v", before[i])
		}
	})
}

// What is kept of retained messages is what stands, and nothing that would reassure.
func TestStanding(t *testing.T) {
	const at = "fluewright/cellar/alarm/overheat/flue"
	for _, c := range []struct{ topic, payload, want string }{
		{at, `{"alarm":"overheat","channel":"flue","state":"raised","occurrence":3,"message":"flue: too hot"}`, "overheat raised 3"},
		{at, `{"alarm":"overheat","state":"acknowledged","occurrence":3}`, "overheat acknowledged 3"},
		{at, `{"alarm":"overheat","state":"shelved","occurrence":3}`, "overheat shelved 3"},
		{at, `{"alarm":"overheat","state":"cleared","occurrence":3}`, ""},
		{at, `{"alarm":"overheat","state":"normal","occurrence":0}`, ""},
		{at, `{"alarm":"overheat","state":"unjudged"}`, ""},
		{at, `no JSON`, ""},
		{"fluewright/cellar/state", `{"state":"raised"}`, ""},
	} {
		if got := standing(c.topic, []byte(c.payload)); got != c.want {
			t.Errorf("%s %s: %q, want %q", c.topic, c.payload, got, c.want)
		}
	}
}
