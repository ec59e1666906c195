package alarm_test

import (
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// tester is a test, or a draw of a property's.
type tester interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
}

// panel drives an annunciator by names.
type panel struct {
	t     tester
	a     *alarm.Annunciator
	keys  []alarm.Key
	finds []alarm.Finding
	at    time.Duration
}

// The timing of the alarms of a panel.
const (
	hold  = 10 * time.Second
	clear = 20 * time.Second
)

func one(name alarm.Name) alarm.Key                 { return alarm.Key{Name: name, Channel: frame.Count} }
func on(name alarm.Name, c frame.Channel) alarm.Key { return alarm.Key{Name: name, Channel: c} }

func newPanel(t tester, keys ...alarm.Key) *panel {
	return newTimedPanel(t, alarm.Timing{Hold: hold, ClearAfter: clear}, keys...)
}

func newTimedPanel(t tester, timing alarm.Timing, keys ...alarm.Key) *panel {
	t.Helper()
	p := &panel{t: t, keys: keys, finds: make([]alarm.Finding, len(keys))}
	p.a = annunciator(t, timing, keys...)
	for i := range p.finds {
		p.finds[i].Verdict = alarm.Absent
	}
	return p
}

func annunciator(t tester, timing alarm.Timing, keys ...alarm.Key) *alarm.Annunciator {
	t.Helper()
	var points []alarm.Point
	for _, k := range keys {
		points = append(points, alarm.Point{Key: k, Timing: timing})
	}
	a, err := alarm.NewAnnunciator(points)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func (p *panel) index(k alarm.Key) int {
	p.t.Helper()
	for i, have := range p.keys {
		if have == k {
			return i
		}
	}
	p.t.Fatalf("no %v on the panel", k)
	return 0
}

// find sets what is found of an alarm from now on.
func (p *panel) find(k alarm.Key, v alarm.Verdict) { p.finds[p.index(k)].Verdict = v }

func (p *panel) status(k alarm.Key) alarm.Status { return p.a.Status(p.index(k)) }

// run steps each second for d and returns what changed, by key and word.
func (p *panel) run(d time.Duration) []string {
	var said []string
	for range int(d / time.Second) {
		p.at += time.Second
		for _, c := range p.a.Step(p.at, p.finds) {
			said = append(said, c.Status.Key.String()+" "+changes[c.Change])
		}
	}
	return said
}

var changes = map[alarm.Change]string{
	alarm.BecameKnown: "known", alarm.WasRaised: "raised", alarm.WasCleared: "cleared",
	alarm.WasAcknowledged: "acknowledged", alarm.WasShelved: "shelved", alarm.WasUnshelved: "unshelved",
	alarm.WasSuppressed: "suppressed", alarm.WasUpdated: "updated",
}
