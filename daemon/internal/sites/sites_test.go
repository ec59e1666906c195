package sites

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var now = time.Date(2026, time.January, 17, 20, 15, 0, 0, time.UTC)

// told is what a monitor keeps at the broker, as it can be changed by a test.
type told struct {
	availability, boot string
	state              map[string]any // nil: none
	alarms             map[string]map[string]any
	live               bool // the state comes while we listen
}

// calm is a monitor that is well, ten seconds ago.
func calm() *told {
	return &told{
		availability: online, boot: "b1",
		state: map[string]any{
			"version": 1, "time": now.Add(-10 * time.Second), "clock_trusted": true, "boot": "b1", "at": 3600.5, "phase": "clean-burn",
			"verdict": map[string]any{"level": "well", "headline": "No alarm. The fire burns clean.", "action": ""},
			"alarms": []map[string]any{
				{"alarm": "overheat", "channel": "flue", "state": "normal", "blind": false, "priority": "high", "occurrence": 0, "since": now.Add(-time.Hour)},
				{"alarm": "spillage", "state": "normal", "blind": false, "priority": "high", "occurrence": 0, "since": now.Add(-time.Hour)},
			},
		},
		alarms: map[string]map[string]any{
			"overheat/flue": {"boot": "b1", "at": 60, "alarm": "overheat", "channel": "flue", "state": "normal", "priority": "high", "since": now.Add(-time.Hour)},
			"spillage":      {"boot": "b1", "at": 60, "alarm": "spillage", "state": "normal", "priority": "high", "since": now.Add(-time.Hour)},
		},
	}
}

func (m *told) hear(g *Gathering, site string) {
	say := func(topic string, body any, retained bool) {
		payload, err := json.Marshal(body)
		if err != nil {
			panic(err)
		}
		g.Hear(site+"/"+topic, payload, retained)
	}
	if m.availability != "" {
		say("availability", map[string]any{"version": 1, "state": m.availability, "boot": m.boot, "since": now.Add(-time.Hour), "software": "1.2"}, true)
	}
	for topic, c := range m.alarms {
		say("alarm/"+topic, c, true)
	}
	if m.state != nil {
		say("state", m.state, !m.live)
	}
}

func (m *told) verdict(level string) { m.state["verdict"].(map[string]any)["level"] = level }

func (m *told) listed(i int, state string) { m.state["alarms"].([]map[string]any)[i]["state"] = state }

func TestHowASiteStands(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(*told)
		level  Level
		how    string
		alarms string
	}{
		"well": {func(*told) {}, Well, "no alarm", ""},
		"an alarm": {func(m *told) {
			m.verdict("alarm")
			m.listed(0, "raised")
			m.alarms["overheat/flue"]["state"], m.alarms["overheat/flue"]["at"] = "raised", 3600
		}, Hazard, "alarm", "overheat/flue raised"},
		"taken": {func(m *told) {
			m.verdict("alarm")
			m.listed(1, "acknowledged")
			m.alarms["spillage"]["state"], m.alarms["spillage"]["acknowledged"] = "acknowledged", true
		}, Hazard, "alarm", "spillage acknowledged"},
		"one that is newer than the state": {func(m *told) {
			m.alarms["spillage"]["state"], m.alarms["spillage"]["at"] = "raised", 3601
		}, Hazard, "alarm", "spillage raised"},
		"one that the state knows to be over": {func(m *told) {
			m.alarms["spillage"]["state"] = "raised"
		}, Well, "no alarm", ""},
		"one of the state alone": {func(m *told) {
			m.listed(1, "raised")
			delete(m.alarms, "spillage")
		}, Hazard, "alarm", "spillage raised"},
		"left by the run before, and not judged since": {func(m *told) {
			m.verdict("checking")
			m.listed(1, "unjudged")
			m.alarms["spillage"]["state"], m.alarms["spillage"]["boot"] = "raised", "b0"
		}, Hazard, "alarm", "spillage raised, last known"},
		"of medium priority": {func(m *told) {
			m.verdict("alarm")
			m.alarms["draft-low"] = map[string]any{"boot": "b1", "at": 4000, "state": "raised", "priority": "medium"}
		}, Alarmed, "alarm", "draft-low raised"},
		"shelved": {func(m *told) {
			m.alarms["spillage"]["state"], m.alarms["spillage"]["at"] = "shelved", 3700
		}, Alarmed, "alarm", "spillage shelved"},
		"the verdict alone says alarm": {func(m *told) { m.verdict("alarm") }, Alarmed, "alarm", ""},
		"lost":                         {func(m *told) { m.availability = lost }, Gone, "lost", ""},
		"ended on purpose":             {func(m *told) { m.availability = offline }, Gone, "offline", ""},
		"lost while an alarm stood": {func(m *told) {
			m.availability = lost
			m.listed(0, "raised")
			m.alarms["overheat/flue"]["state"] = "raised"
		}, Hazard, "alarm, now lost", "overheat/flue raised, last known"},
		"there, and silent for hours": {func(m *told) { m.state["time"] = now.Add(-3 * time.Hour) }, Gone, "silent for 3 h", ""},
		"its word is a while old":     {func(m *told) { m.state["time"] = now.Add(-20 * time.Minute) }, Old, "no alarm 20 min ago", ""},
		"its clock is not set":        {func(m *told) { m.state["clock_trusted"], m.state["time"] = false, time.Unix(100, 0) }, Old, "no alarm, when is not known", ""},
		"its clock is not set, and it has just spoken": {func(m *told) {
			m.state["clock_trusted"], m.state["time"], m.live = false, time.Unix(100, 0), true
		}, Well, "no alarm", ""},
		"its clock is ahead":     {func(m *told) { m.state["time"] = now.Add(time.Hour) }, Old, "no alarm, when is not known", ""},
		"blind":                  {func(m *told) { m.verdict("blind") }, Blind, "blind", ""},
		"checking":               {func(m *told) { m.verdict("checking") }, Checking, "checking", ""},
		"a verdict of tomorrow":  {func(m *told) { m.verdict("splendid") }, Unclear, "unclear", ""},
		"nothing of its state":   {func(m *told) { m.state = nil }, Unclear, "unclear", ""},
		"nothing but a state":    {func(m *told) { m.availability = "" }, Unclear, "unclear", ""},
		"a state of another run": {func(m *told) { m.boot = "b2" }, Unclear, "unclear", ""},
	} {
		t.Run(name, func(t *testing.T) {
			m := calm()
			tt.change(m)
			var g Gathering
			m.hear(&g, "cellar-7")
			all := g.Sites(now)
			if len(all) != 1 {
				t.Fatalf("%d sites", len(all))
			}
			var alarms []string
			for _, a := range all[0].Alarms {
				text := a.Alarm
				if a.Channel != "" {
					text += "/" + a.Channel
				}
				text += " " + a.State
				if a.Doubtful {
					text += ", last known"
				}
				alarms = append(alarms, text)
			}
			if s := all[0]; s.Level != tt.level || s.How != tt.how || strings.Join(alarms, "; ") != tt.alarms {
				t.Errorf("%v, %q, %q; want %v, %q, %q", s.Level, s.How, alarms, tt.level, tt.how, tt.alarms)
			}
		})
	}
}

// A will that comes while we listen counts at once.
func TestALastWill(t *testing.T) {
	var g Gathering
	m := calm()
	m.live = true
	m.hear(&g, "cellar-7")
	g.Hear("cellar-7/availability", []byte(`{"state":"lost","boot":"b1"}`), false)
	if s := g.Sites(now)[0]; s.Level != Gone || s.How != "lost" {
		t.Errorf("%v, %q", s.Level, s.How)
	}
}

// The worst come first, and among them who has not been taken care of.
func TestTheWorstFirst(t *testing.T) {
	var g Gathering
	for i, change := range []func(*told){
		func(*told) {},
		func(m *told) { m.verdict("blind") },
		func(m *told) { m.availability = lost },
		func(m *told) {
			m.alarms["spillage"]["state"], m.alarms["spillage"]["at"], m.alarms["spillage"]["acknowledged"] = "acknowledged", 4000, true
		},
		func(m *told) { m.alarms["spillage"]["state"], m.alarms["spillage"]["at"] = "raised", 4000 },
		func(m *told) {
			m.alarms["draft-low"] = map[string]any{"boot": "b1", "at": 4000, "state": "raised", "priority": "medium"}
		},
		func(m *told) { m.state["time"] = now.Add(-20 * time.Minute) },
	} {
		m := calm()
		change(m)
		m.hear(&g, fmt.Sprintf("site-%d", i))
	}
	var order []string
	for _, s := range g.Sites(now) {
		order = append(order, s.Name)
	}
	if got, want := strings.Join(order, " "), "site-4 site-3 site-2 site-5 site-1 site-6 site-0"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// Whatever is kept in whatever order: a site is well only if it is there, has just said so in the
// run that is there, and nothing else says otherwise.
func TestNeverFalselyWell(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := calm()
		m.availability = rapid.SampledFrom([]string{online, online, online, offline, lost, "", "elsewhere"}).Draw(t, "availability")
		m.boot = rapid.SampledFrom([]string{"b1", "b1", "b1", "b2"}).Draw(t, "boot")
		m.verdict(rapid.SampledFrom([]string{"well", "well", "well", "alarm", "blind", "checking", ""}).Draw(t, "verdict"))
		age := time.Duration(rapid.IntRange(-600, 600).Draw(t, "age")) * time.Second
		m.state["time"], m.state["clock_trusted"] = now.Add(-age), rapid.Bool().Draw(t, "clock")
		m.live = rapid.Bool().Draw(t, "live")
		words := []string{"normal", "normal", "normal", "raised", "acknowledged", "cleared", "shelved", "unjudged"}
		at := rapid.Float64Range(0, 7200).Draw(t, "at")
		own := rapid.SampledFrom(words).Draw(t, "own")
		m.alarms["spillage"]["state"], m.alarms["spillage"]["at"] = own, at
		m.listed(0, rapid.SampledFrom(words).Draw(t, "listed"))
		if rapid.IntRange(0, 5).Draw(t, "state") == 0 {
			m.state = nil
		}
		var g Gathering
		m.hear(&g, "cellar-7")
		s := g.Sites(now)[0]
		if s.Level != Well {
			if s.How == "no alarm" {
				t.Fatalf("%v is said to be %q", s.Level, s.How)
			}
			return
		}
		ok := m.availability == online && m.boot == "b1" && m.state != nil && len(s.Alarms) == 0
		ok = ok && m.state["verdict"].(map[string]any)["level"] == "well"
		ok = ok && (m.live || m.state["clock_trusted"] == true && age <= fresh && age >= -ahead)
		ok = ok && (!stands(own) || at < 3600.5) && !stands(fmt.Sprint(m.state["alarms"].([]map[string]any)[0]["state"])) == true
		if !ok {
			t.Fatalf("well: %+v", s)
		}
	})
}

// Nothing that anybody keeps at a broker stops the list, or does something to a terminal.
func FuzzHear(f *testing.F) {
	f.Add("cellar-7/state", []byte(`{"verdict":{"level":"well"},"alarms":[{"alarm":"\u001b[2J","state":"raised"}]}`), true)
	f.Add("cellar-7/alarm/overheat/flue", []byte(`{"state":"raised"}`), false)
	f.Add("cellar-7/availability", []byte(`{"state":"online","since":"yesterday"}`), true)
	f.Add("a/b/c/d/e", []byte{0}, true)
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		var g Gathering
		calm().hear(&g, "cellar-7")
		g.Hear(topic, payload, retained)
		all := g.Sites(now)
		if !slices.ContainsFunc(all, func(s Site) bool { return s.Name == "cellar-7" }) {
			t.Error("it is gone")
		}
		text, err := json.Marshal(all)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range all {
			for _, a := range s.Alarms {
				for _, w := range []string{a.Alarm, a.Channel, a.State, a.Priority, a.Message} {
					if w != clean(w) {
						t.Errorf("%q", w)
					}
				}
			}
			for _, w := range []string{s.Name, s.How, s.Software, s.Headline, s.Phase} {
				if w != clean(w) {
					t.Errorf("%q", w)
				}
			}
		}
		if len(text) > 1<<20 {
			t.Errorf("%d bytes", len(text))
		}
	})
}
