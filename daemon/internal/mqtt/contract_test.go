package mqtt

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

var update = flag.Bool("update", false, "write the golden files anew")

// contract is what of the AsyncAPI document the tests need.
type contract struct {
	Channels map[string]struct {
		Address  string
		Messages map[string]ref
	}
	Operations map[string]struct {
		Action   string
		Channel  ref
		Bindings ref
	}
	Components struct {
		Parameters map[string]struct{ Enum []string }
		Messages   map[string]struct {
			Payload struct{ Schema ref }
		}
		OperationBindings map[string]struct {
			MQTT struct {
				QoS    byte
				Retain bool
			}
		}
	}
}

type ref struct {
	To string `json:"$ref"`
}

// name is the last part of what is referred to.
func (r ref) name() string { return r.To[strings.LastIndexByte(r.To, '/')+1:] }

func readContract(t *testing.T) *contract {
	t.Helper()
	b, err := os.ReadFile("asyncapi.json")
	if err != nil {
		t.Fatal(err)
	}
	c := new(contract)
	if err := json.Unmarshal(b, c); err != nil {
		t.Fatal(err)
	}
	return c
}

// channel returns the one channel whose address the topic has.
func (c *contract) channel(t *testing.T, topic string) (name string) {
	t.Helper()
	for n, channel := range c.Channels {
		pattern := regexp.MustCompile(`\{\w+\}`).ReplaceAllStringFunc(channel.Address, func(parameter string) string {
			if words := c.Components.Parameters[parameter[1:len(parameter)-1]].Enum; words != nil {
				return "(" + strings.Join(words, "|") + ")"
			}
			return "[a-z0-9-]+"
		})
		if regexp.MustCompile("^" + pattern + "$").MatchString(topic) {
			if name != "" {
				t.Errorf("topic %s is of the channels %s and %s", topic, name, n)
			}
			name = n
		}
	}
	if name == "" {
		t.Fatalf("topic %s is in no channel of the contract", topic)
	}
	return name
}

// schema returns the file with the schema of what a channel carries.
func (c *contract) schema(t *testing.T, channel string) string {
	t.Helper()
	for _, m := range c.Channels[channel].Messages {
		return strings.TrimSuffix(c.Components.Messages[m.name()].Payload.Schema.name(), ".json")
	}
	t.Fatalf("channel %s carries nothing", channel)
	return ""
}

// retained reports whether what is sent on a channel is retained.
func (c *contract) retained(t *testing.T, channel string) bool {
	t.Helper()
	for _, o := range c.Operations {
		if o.Action == "send" && o.Channel.name() == channel {
			b, ok := c.Components.OperationBindings[o.Bindings.name()]
			if !ok || b.MQTT.QoS != 1 {
				t.Errorf("channel %s: quality of service %d, all is sent with 1", channel, b.MQTT.QoS)
			}
			return b.MQTT.Retain
		}
	}
	t.Fatalf("nothing is sent on channel %s", channel)
	return false
}

// published is all that a night gives, in the order in which it may be sent.
func published(t *testing.T) (topics []string, retained []bool, payloads [][]byte) {
	t.Helper()
	o := options("tcp://localhost")
	p, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	p.mu.Lock()
	p.online()
	p.mu.Unlock()
	drain := func() {
		for c, list := range p.queue.lists {
			for _, m := range list {
				payload, err := m.body(p.latest)
				if err != nil {
					t.Fatal(err)
				}
				topics, retained, payloads = append(topics, m.topic), append(retained, m.retained), append(payloads, payload)
			}
			p.queue.lists[c] = nil
		}
	}
	drain()
	for _, s := range night() {
		p.Offer(s)
		drain()
	}
	for i, payload := range payloads {
		payloads[i] = regexp.MustCompile(`"since":"`+o.Started.UTC().Format(time.DateOnly)+`[^"]*"`).ReplaceAll(payload, []byte(`"since":"2026-01-17T19:00:00.000Z"`))
	}
	return topics, retained, payloads
}

func TestWhatIsPublishedIsInTheContract(t *testing.T) {
	c, all := readContract(t), schemas(t)
	seen := make(map[string]bool)
	topics, retained, payloads := published(t)
	for i, topic := range topics {
		channel := c.channel(t, topic)
		seen[channel] = true
		if want := c.retained(t, channel); retained[i] != want {
			t.Errorf("%s: retained %v, the contract says %v", topic, retained[i], want)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(payloads[i]))
		if err != nil {
			t.Fatalf("%s: %v", topic, err)
		}
		if err := all[c.schema(t, channel)].Validate(doc); err != nil {
			t.Errorf("%s: %v\n%s", topic, err, payloads[i])
		}
	}
	for name := range c.Channels {
		asked := strings.HasPrefix(name, "command") || name == "reply" || name == "unaddressedReply" || name == "chunk"
		if !seen[name] && !asked { // what is asked has its tests beside what answers it
			t.Errorf("nothing was published on channel %s", name)
		}
	}
}

// Every schema is of something in the contract, and everything there that can be asked or
// answered has one.
func TestTheContractNamesEverySchema(t *testing.T) {
	b, err := os.ReadFile("asyncapi.json")
	if err != nil {
		t.Fatal(err)
	}
	named := make(map[string]bool)
	for _, m := range regexp.MustCompile(`"\$ref": "(schema/[^"]+)"`).FindAllSubmatch(b, -1) {
		named[string(m[1])] = true
	}
	files, err := filepath.Glob("schema/*.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !named[f] {
			t.Errorf("%s is of nothing in the contract", f)
		}
		delete(named, f)
	}
	for f := range named {
		t.Errorf("the contract names %s, which is not there", f)
	}
}

// A change to a published payload is a change for every receiver: it has to be meant.
func TestPublishedPayloads(t *testing.T) {
	const golden = "testdata/published.txt"
	topics, retained, payloads := published(t)
	var got bytes.Buffer
	for i, topic := range topics {
		how := "passing"
		if retained[i] {
			how = "retained"
		}
		fmt.Fprintf(&got, "%s %s %s\n", topic, how, payloads[i])
	}
	if *update {
		if err := os.WriteFile(golden, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got.String(), "\n")); diff != "" {
		t.Errorf("published (-golden +now), -update if it is meant:\n%s", diff)
	}
}

// The document is AsyncAPI by the standard's own schema, which is in the npm package
// @asyncapi/specs, on node's module path.
func TestTheContractIsAsyncAPI(t *testing.T) {
	node := real(t, "node")
	spec, err := exec.Command(node, "-e", `process.stdout.write(JSON.stringify(require("@asyncapi/specs/schemas/3.0.0-without-$id.json")))`).Output()
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatalf("the npm package @asyncapi/specs: %v", err)
		}
		t.Skipf("the npm package @asyncapi/specs: %v", err)
	}
	c := jsonschema.NewCompiler()
	definition, err := jsonschema.UnmarshalJSON(bytes.NewReader(spec))
	if err != nil {
		t.Fatal(err)
	}
	const id = "http://asyncapi.com/definitions/3.0.0/asyncapi.json"
	if err := c.AddResource(id, definition); err != nil {
		t.Fatal(err)
	}
	standard, err := c.Compile(id)
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile("asyncapi.json")
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if err := standard.Validate(doc); err != nil {
		t.Error(err)
	}
}
