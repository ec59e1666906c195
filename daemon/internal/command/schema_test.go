package command_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"fluewright/daemon/internal/command"
)

// fits holds a payload against its schema.
func fits(t *testing.T, name string, body []byte) error {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "mqtt", "schema", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	if err != nil {
		return err
	}
	return s.Validate(v)
}

// What a schema allows is let in, and what it does not is refused. (Some things no schema
// can say: that the life of a command is short, or which members go with which kind.)
func TestCommandsFitTheirSchemas(t *testing.T) {
	sum := strings.Repeat("0a", 32)
	for _, c := range []struct {
		command, more string
		ok            bool
	}{
		{"acknowledge", `"acknowledge": {"alarm": "overheat", "channel": "flue", "occurrence": 3}`, true},
		{"acknowledge", `"acknowledge": {"alarm": "overheat", "occurrence": 0}`, false},
		{"acknowledge", `"acknowledge": {"alarm": "overheat", "channel": "cellar", "occurrence": 1}`, false},
		{"note", `"note": {"kind": "fuel", "wood": "oak", "kilograms": 22.5, "moisture": 0.18}`, true},
		{"note", `"note": {"kind": "fuel", "moisture": 18}`, false},
		{"note", `"note": {"kind": "gossip"}`, false},
		{"snapshot", `"by": "Maria"`, true},
		{"snapshot", `"shelve": "all"`, false},
		{"test-alert", `"by": "Maria"`, true},
		{"test-alert", `"person": "owner"`, false},
		{"live", `"live": {"seconds": 300}`, true},
		{"live", `"live": {"seconds": 0}`, false},
		{"trend", `"trend": {"wish": {"since_seconds": 172800, "detail": "minutes"}}`, true},
		{"trend", `"trend": {"wish": {"from": "2026-11-25T12:00:00Z", "to": "2026-11-26T12:00:00Z"}}`, true},
		{"trend", `"trend": {"bundle": "` + sum + `", "offset": 16384, "chunks": 16}`, true},
		{"trend", `"trend": {"bundle": "` + sum + `", "chunks": 17}`, false},
		{"trend", `"trend": {"bundle": "` + sum + `", "wish": {}, "chunks": 1}`, false},
	} {
		body := order("12345678", c.more)
		err := fits(t, "command-"+c.command, body)
		var g command.Gate
		_, refused := g.Take(c.command, false, body, noon, true)
		if (err == nil) != c.ok || (refused == nil) != c.ok {
			t.Errorf("%s %s: schema %v, gate %v, want ok %v", c.command, c.more, err, refused, c.ok)
		}
	}
}

func TestRepliesFitTheirSchemas(t *testing.T) {
	r := command.Request{Name: command.Trend, ID: "12345678", Client: "phone-00"}
	done := r.Answer()
	done.State = json.RawMessage(`{"version": 1}`)
	done.Bundle = &command.Bundle{ID: strings.Repeat("0a", 32), Size: 7, From: noon, To: noon.Add(time.Hour), FullFrom: noon}
	tested := (&command.Request{Name: command.TestAlert, ID: "12345678"}).Answer()
	tested.Tried = []command.Tried{{Person: "owner", Transport: "phone", Sent: true, Asked: true, Acknowledged: true, Seconds: 4.2}, {Person: "owner", Transport: "mail", Error: "refused"}}
	other := command.Request{Name: "limit"}
	for _, a := range []command.Reply{
		r.Answer(), done, tested, r.Refused(command.Refuse(command.TooOften, "too often")), r.Refused(command.Refuse(command.Gone, "gone")), other.Refused(command.Refuse(command.Unknown, "no such command")),
	} {
		b, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		if err := fits(t, "reply", b); err != nil {
			t.Errorf("%s: %v", b, err)
		}
	}
	if fits(t, "reply", []byte(`{"version": 1, "id": "", "command": "note", "result": "refused"}`)) == nil {
		t.Error("a refusal without a reason fits")
	}
	c := command.Chunk{ID: "12345678", Bundle: strings.Repeat("0a", 32), Size: 100, Offset: 90, Data: []byte("0123456789")}
	b, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := bytes.Cut(b, []byte("\n"))
	if err := fits(t, "reply-chunk", head); err != nil {
		t.Error(err)
	}
}
