package sites

import (
	"encoding/json"
	"strings"
	"time"
	"unicode"
)

// Filters are the topics to listen to, below the root: of all sites, or of those named.
func Filters(names ...string) (all []string) {
	if len(names) == 0 {
		names = []string{"+"}
	}
	for _, n := range names {
		all = append(all, n+"/availability", n+"/state", n+"/alarm/#")
	}
	return all
}

// Gathering is what was heard so far. Its zero value has heard nothing.
type Gathering struct {
	sites map[string]*kept
	// Foreign counts messages that are no monitor's.
	Foreign int
}

// kept is what the broker keeps of one site.
type kept struct {
	available availability
	state     state
	stated    bool
	alarms    map[alarmKey]condition
	heard     bool // it has spoken while we listened
	broken    bool // something is kept that is no monitor's
}

type alarmKey struct{ alarm, channel string }

// The payloads, as far as they are read. Their schemas are those of the publisher.
type (
	availability struct {
		State, Boot, Software string
		Since                 time.Time
	}
	state struct {
		Time         time.Time
		ClockTrusted bool `json:"clock_trusted"`
		Boot         string
		At           float64
		Phase        string
		Verdict      struct{ Level, Headline, Action string }
		Alarms       []stateAlarm
	}
	stateAlarm struct {
		Alarm, Channel, State, Priority string
		Blind                           bool
		Since                           time.Time
	}
	condition struct {
		Boot, Alarm, Channel, State, Priority, Message string
		At                                             float64
		Blind, Acknowledged                            bool
		Since                                          time.Time
	}
)

// Hear takes a message in; its topic is below the root. Retained says that the broker had it
// already: anything else is the monitor's present word.
func (g *Gathering) Hear(topic string, payload []byte, retained bool) {
	part := strings.Split(topic, "/")
	if len(part) < 2 || !named(part[0]) {
		g.Foreign++
		return
	}
	if len(payload) == 0 {
		return // what was kept is taken away
	}
	if g.sites == nil {
		g.sites = map[string]*kept{}
	}
	k := g.sites[part[0]]
	if k == nil {
		k = &kept{alarms: map[alarmKey]condition{}}
		g.sites[part[0]] = k
	}
	switch {
	case len(part) == 2 && part[1] == "availability":
		var a availability
		if json.Unmarshal(payload, &a) != nil || a.State == "" {
			k.broken = true
			return
		}
		k.available = availability{clean(a.State), clean(a.Boot), clean(a.Software), a.Since}
		if !retained && a.State != online {
			k.heard = false // its last word, or the broker's about it
		}
	case len(part) == 2 && part[1] == "state":
		var s state
		if json.Unmarshal(payload, &s) != nil || s.Verdict.Level == "" {
			k.broken = true
			return
		}
		k.state, k.stated, k.heard = s.clean(), true, !retained
	case (len(part) == 3 || len(part) == 4) && part[1] == "alarm":
		var c condition
		if json.Unmarshal(payload, &c) != nil || c.State == "" {
			k.broken = true
			return
		}
		c.Boot, c.State, c.Priority, c.Message = clean(c.Boot), clean(c.State), clean(c.Priority), clean(c.Message)
		k.alarms[alarmKey{clean(part[2]), clean(strings.Join(part[3:], ""))}] = c
	default:
		g.Foreign++
	}
}

// Sites returns how all stand at now, the worst first.
func (g *Gathering) Sites(now time.Time) []Site {
	all := make([]Site, 0, len(g.sites))
	for name, k := range g.sites {
		all = append(all, k.judge(name, now))
	}
	sort(all)
	return all
}

// named reports whether a site can be called so.
func named(site string) bool {
	return len(site) > 0 && len(site) <= 64 && strings.Trim(site, "abcdefghijklmnopqrstuvwxyz0123456789-") == ""
}

func (s state) clean() state {
	s.Boot, s.Phase = clean(s.Boot), clean(s.Phase)
	s.Verdict.Level, s.Verdict.Headline, s.Verdict.Action = clean(s.Verdict.Level), clean(s.Verdict.Headline), clean(s.Verdict.Action)
	for i := range s.Alarms {
		a := &s.Alarms[i]
		a.Alarm, a.Channel, a.State, a.Priority = clean(a.Alarm), clean(a.Channel), clean(a.State), clean(a.Priority)
	}
	return s
}

// clean takes out of a text what would do something to a terminal, and its excess.
func clean(text string) string {
	text = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, text)
	if len(text) > 400 {
		text = strings.ToValidUTF8(text[:400], "")
	}
	return text
}
