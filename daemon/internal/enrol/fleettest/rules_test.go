package fleettest

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// topics are all of a site by the description of the interface: what it sends and what it
// receives.
func topics(t *testing.T, site string) (sent, received []string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(Configs(t), "..", "daemon", "internal", "mqtt", "asyncapi.json"))
	if err != nil {
		t.Fatal(err)
	}
	var api struct {
		Channels   map[string]struct{ Address string }
		Operations map[string]struct {
			Action  string
			Channel struct {
				Ref string `json:"$ref"`
			}
		}
	}
	if err := json.Unmarshal(text, &api); err != nil {
		t.Fatal(err)
	}
	fill := strings.NewReplacer("{site}", site, "{client}", "asker-0123456789abcdef", "{id}", "0a1b2c3d", "{alarm}", "overheat", "{channel}", "flue")
	for _, name := range slices.Sorted(maps.Keys(api.Operations)) {
		o := api.Operations[name]
		topic := fill.Replace(api.Channels[strings.TrimPrefix(o.Channel.Ref, "#/channels/")].Address)
		if topic == "" || strings.Contains(topic, "{") {
			t.Fatalf("the operation %s has no topic: %q", name, topic)
		}
		if o.Action == "send" {
			sent = append(sent, topic)
		} else {
			received = append(received, topic)
		}
	}
	if len(sent) < 9 || len(received) < 6 {
		t.Fatalf("only %d and %d topics", len(sent), len(received))
	}
	return sent, received
}

// role is who may do what with the topics of cellar-7.
type role struct {
	name    string
	port    func(*Broker) string
	who     Identity
	reads   func(topic string) bool
	writes  func(topic string) bool
	*Client // who hears and says
}

// Each topic that a site has, by the description of the interface, against each role: who may
// write it reaches whoever may read it, and nobody else writes or reads. Rules that are too
// narrow fail here as well as rules that are too wide.
func TestWhoMayDoWhat(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	const base = "fluewright/cellar-7/"
	below := func(topics ...string) func(string) bool {
		return func(topic string) bool {
			return slices.ContainsFunc(topics, func(p string) bool { return strings.HasPrefix(topic, base+p) })
		}
	}
	nothing := func(string) bool { return false }
	told := []string{"availability", "state", "telemetry", "event", "alarm/", "reply/"}
	sites, people := func(b *Broker) string { return b.Sites }, func(b *Broker) string { return b.People }
	roles := []*role{
		{name: "the site", port: sites, who: a.Site("cellar-7"), reads: below("availability", "command/"), writes: below(told...)},
		{name: "another site", port: sites, who: a.Site("barn-2"), reads: nothing, writes: nothing},
		{name: "a site called desk", port: sites, who: a.Site("desk"), reads: nothing, writes: nothing},
		{name: "a site with a longer name", port: sites, who: a.Site("cellar-77"), reads: nothing, writes: nothing},
		{name: "technician", port: people, who: a.Person("desk", ""), reads: below(told...), writes: below("command/trend", "command/live", "command/snapshot")},
		{name: "owner", port: people, who: a.Person("maria", "cellar-7"), reads: below(told...), writes: below("command/acknowledge", "command/trend", "command/live")},
		{name: "owner of another site", port: people, who: a.Person("maria", "barn-2"), reads: nothing, writes: nothing},
		{name: "a person called like the site", port: people, who: a.Person("cellar-7", ""), reads: nothing, writes: nothing},
		{name: "monitoring", port: people, who: a.Person("monitoring", ""), reads: nothing, writes: nothing},
	}
	sent, received := topics(t, "cellar-7")
	all := append(slices.Clone(sent), received...)
	filters := append([]string{"#", "+/#", "fluewright/#", "fluewright/+/state", "fluewright/cellar-7/#", "$share/x/fluewright/#"}, all...)
	for _, r := range roles {
		r.Client = Join(t, r.port(b), a.TLS(r.who), Hello{})
		r.Hear(filters...)
	}
	// Shared subscriptions come apart: see TestASharedSubscription.
	for _, r := range roles {
		r.Leave("$share/x/fluewright/#")
	}
	for _, writer := range roles {
		for i, topic := range all {
			payload := writer.name + " " + string(rune('a'+i))
			writer.Say(topic, payload, false)
			for _, reader := range roles {
				if got, want := reader.Heard(topic, payload), writer.writes(topic) && reader.reads(topic); got != want {
					t.Errorf("%s writes %s, %s hears it: %v, want %v", writer.name, topic, reader.name, got, want)
				}
			}
		}
	}
	for _, r := range roles {
		for _, h := range r.All() {
			if topic, _, _ := strings.Cut(h, " "); !r.reads(topic) {
				t.Errorf("%s hears %s", r.name, h)
			}
		}
	}
	for _, r := range roles {
		r.Hear("$SYS/#", "$SYS/broker/clients/total")
	}
	for _, r := range roles {
		got := slices.ContainsFunc(r.All(), func(h string) bool { return strings.HasPrefix(h, "$SYS/") })
		if want := r.name == "monitoring"; got != want {
			t.Errorf("%s hears of the broker: %v", r.name, got)
		}
	}
}

// What is retained is kept from others too, and cannot be replaced or removed by them.
func TestWhatIsRetained(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	cellar, barn, desk := a.TLS(a.Site("cellar-7")), a.TLS(a.Site("barn-2")), a.TLS(a.Person("desk", ""))
	Join(t, b.Sites, cellar, Hello{}).Say("fluewright/cellar-7/alarm/spillage", "raised", true)
	other := Join(t, b.Sites, barn, Hello{})
	for _, payload := range []string{"normal", ""} {
		other.Say("fluewright/cellar-7/alarm/spillage", payload, true)
	}
	other.Hear("#", "fluewright/cellar-7/#", "fluewright/+/alarm/#")
	if all := other.All(); len(all) > 0 {
		t.Errorf("another site hears %q", all)
	}
	look := func(when string) {
		t.Helper()
		d := Join(t, b.People, desk, Hello{})
		d.Hear("fluewright/+/alarm/#")
		if all := d.All(); len(all) != 1 || all[0] != "fluewright/cellar-7/alarm/spillage raised" {
			t.Errorf("%s the desk hears %q", when, all)
		}
	}
	look("at once")
	b.Stop()
	b.Start()
	look("after a restart of the broker")
}

// A last will is bound by the same rules, and a site's own is delivered.
func TestLastWills(t *testing.T) {
	t.Parallel()
	a := NewAuthority(t)
	b := NewBroker(t, a)
	d := Join(t, b.People, a.TLS(a.Person("desk", "")), Hello{})
	d.Hear("fluewright/#")
	barn := a.TLS(a.Site("barn-2"))
	for _, topic := range []string{"fluewright/cellar-7/availability", "fluewright/barn-2/command/live", "$SYS/broker/clients/total", "fluewright/barn-2/availability"} {
		if c, err := Dial(t, b.Sites, barn, Hello{WillTopic: topic, Will: "lost"}); err == nil {
			c.Break()
		}
	}
	eventually(t, "its own will", func() bool { return d.Heard("fluewright/barn-2/availability", "lost") })
	if all := d.All(); len(all) != 1 {
		t.Errorf("the desk hears %q", all)
	}
}
