package homie

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"math"
	"strconv"
	"strings"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

// entry is what one topic below the device's retains; an empty payload deletes it.
type entry struct {
	topic, payload string
	// paced is set where a newer one soon follows: a number, or a text with one.
	paced bool
}

// level is the topic of the verdict's level.
const level = "monitor/level"

// view writes what is known as the device's topics, in the order in which they are sent:
// what gets better is a number before its quality, what gets worse the quality before the
// number goes. fresh says that the loop goes on: what it read last is stale otherwise.
func (d *Device) view(s *status.Status, fresh bool) (all []entry) {
	number := func(topic string, c frame.Channel, in frame.Input, quality string) {
		if fresh && verdict.Readable(in) {
			all = append(all, entry{topic, plainly(c, in.Value), true})
		} else {
			defer func() { all = append(all, entry{topic: topic}) }()
		}
		if quality != "" {
			q := in.Quality
			if !fresh && in.Usable() {
				q = frame.Stale
			}
			all = append(all, entry{topic: quality, payload: q.String()})
		}
	}
	for _, c := range frame.All() {
		if d.o.Verdict.Fitted[c] {
			number(c.String()+"/value", c, s.Frame.Inputs[c], c.String()+"/quality")
		}
	}
	if d.o.Verdict.Fitted[frame.Draft] {
		number("draft/average", frame.Draft, s.Assessment.Draft, "")
	}
	phase := s.Assessment.Phase
	if !fresh {
		phase = burn.Unknown
	}
	all = append(all, entry{topic: "burn/phase", payload: phase.String()})
	silence := d.o.StaleAfter
	if fresh {
		silence = 0
	}
	v := d.o.Verdict.Judge(s, silence)
	all = append(all, entry{topic: level, payload: v.Level.String()}, entry{"monitor/says", v.Headline, true})
	for _, a := range s.Assessment.Alarms {
		if e, some := d.alert(a, s); some {
			all = append(all, e)
		}
	}
	return all
}

// alert is an alarm that stands, or the end of one. What was never judged says nothing: an
// alert that an earlier run left may still hold.
func (d *Device) alert(a alarm.Status, s *status.Status) (entry, bool) {
	topic := d.topics[a.Key]
	switch {
	case a.State == alarm.Unjudged:
		return entry{}, false
	case !a.State.Standing():
		return entry{topic: topic}, true
	}
	text, action := d.o.Verdict.Render(a, s)
	return entry{topic, strings.TrimSpace(text + ". " + action), true}, true
}

// alertID makes an alarm's name an id of the convention.
func alertID(k alarm.Key) string { return strings.ReplaceAll(k.String(), "/", "-") }

// plainly writes a number as the convention wants it, without an exponent.
func plainly(c frame.Channel, v float64) string {
	digits, scale := 1, 10.0
	if c == frame.Ambient {
		digits, scale = 0, 1
	}
	v = math.Round(v*scale) / scale
	if v == 0 {
		v = 0 // no negative zero
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

// The description document (section Device Attributes).
type (
	document struct {
		Homie   string          `json:"homie"`
		Version uint32          `json:"version"`
		Name    string          `json:"name"`
		Type    string          `json:"type"`
		Nodes   map[string]node `json:"nodes"`
	}
	node struct {
		Name       string              `json:"name"`
		Properties map[string]property `json:"properties"`
	}
	property struct {
		Name     string `json:"name"`
		Datatype string `json:"datatype"`
		Format   string `json:"format,omitempty"`
		Unit     string `json:"unit,omitempty"`
	}
)

// describe writes the description. Nothing is settable, and its version is made from what it
// says, so that a restart does not change it.
func (d *Device) describe() ([]byte, error) {
	var qualities, phases, levels []string
	for q := frame.Absent; q <= frame.Good; q++ {
		qualities = append(qualities, q.String())
	}
	for _, p := range append([]burn.Phase{burn.Unknown}, burn.Phases()...) {
		phases = append(phases, p.String())
	}
	for l := verdict.Checking; l <= verdict.Well; l++ {
		levels = append(levels, l.String())
	}
	doc := document{Homie: "5.0", Name: "Furnace " + d.o.Site, Type: "furnace-monitor", Nodes: map[string]node{
		"burn": {"Burn", map[string]property{"phase": {"Phase", "enum", strings.Join(phases, ","), ""}}},
		"monitor": {"Monitor", map[string]property{
			"level": {"Level", "enum", strings.Join(levels, ","), ""},
			"says":  {"What it says", "string", "", ""},
		}},
	}}
	for _, c := range frame.All() {
		if !d.o.Verdict.Fitted[c] {
			continue
		}
		unit := "°C"
		if c.Pressure() {
			unit = "Pa"
		}
		n := node{c.String(), map[string]property{
			"value":   {"Reading", "float", "", unit},
			"quality": {"Quality of the reading", "enum", strings.Join(qualities, ","), ""},
		}}
		if c == frame.Draft {
			n.Properties["average"] = property{"Average", "float", "", unit}
		}
		doc.Nodes[c.String()] = n
	}
	text, err := json.Marshal(doc)
	if err != nil {
		return nil, fmt.Errorf("describe the device: %w", err)
	}
	sum := fnv.New32a()
	_, _ = sum.Write(text) // never fails
	doc.Version = sum.Sum32()
	return json.Marshal(doc)
}

// Topics lists the topics that a site's device retains, for a broker that wants to know them
// beforehand.
func Topics(site string, fitted [frame.Count]bool, alarms []alarm.Status) (all []string) {
	base := base(site)
	for _, t := range []string{"$state", "$description", "burn/phase", "monitor/level", "monitor/says"} {
		all = append(all, base+t)
	}
	for _, c := range frame.All() {
		if fitted[c] {
			all = append(all, base+c.String()+"/value", base+c.String()+"/quality")
		}
	}
	if fitted[frame.Draft] {
		all = append(all, base+"draft/average")
	}
	for _, a := range alarms {
		all = append(all, base+"$alert/"+alertID(a.Key))
	}
	return all
}

// base is the prefix of a site's topics.
func base(site string) string { return "homie/5/" + site + "/" }
