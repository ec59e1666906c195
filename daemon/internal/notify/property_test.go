package notify

import (
	"encoding/json"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/analysis/alarm"
)

var keys = []alarm.Key{overheat, spillage, unread, draftLow, stuck}

// world plays a desk against alarms and receivers that do anything.
type world struct {
	desk  *Desk
	now   Moment
	no    map[alarm.Key]uint32
	state map[alarm.Key]alarm.State
	out   map[int]Message // on their way, by lane
	// heard says which lanes were told of an alarm and not of its end.
	heard    map[int]map[alarm.Key]bool
	messages int
	changes  int
}

func newWorld() *world {
	return &world{
		desk: NewDesk("cellar", household()), now: Moment{0, noon, true}, no: map[alarm.Key]uint32{},
		state: map[alarm.Key]alarm.State{}, out: map[int]Message{}, heard: map[int]map[alarm.Key]bool{},
	}
}

func (w *world) step(t *rapid.T) {
	switch rapid.IntRange(0, 5).Draw(t, "what") {
	case 0, 1:
		k := rapid.SampledFrom(keys).Draw(t, "alarm")
		s := rapid.SampledFrom([]alarm.State{
			alarm.Unjudged, alarm.Normal, alarm.Raised, alarm.Acknowledged, alarm.Returned, alarm.Shelved, alarm.Suppressed,
		}).Draw(t, "state")
		if s == alarm.Raised && w.state[k] != alarm.Raised {
			w.no[k]++
		}
		w.state[k] = s
		w.changes++
		d, _ := alarm.Declared(k.Name)
		n := News{Status: alarm.Status{Key: k, Priority: d.Priority, State: s, Occurrence: w.no[k]}, Wall: w.now.Wall}
		w.desk.Take(w.now, n)
		w.desk.Take(w.now, n) // changes nothing
	case 2, 3:
		d := time.Duration(rapid.Int64Range(0, int64(2*time.Hour)).Draw(t, "time"))
		w.now.At += d
		w.now.Wall = w.now.Wall.Add(d)
		w.now.Trusted = rapid.Bool().Draw(t, "trusted")
	case 4:
		for _, m := range w.desk.Due(w.now) {
			w.sent(t, m)
		}
	case 5:
		for lane := range w.desk.lanes {
			if m, ok := w.out[lane]; ok {
				r := rapid.SampledFrom([]Result{Delivered, Failed, Refused}).Draw(t, "result")
				w.done(m, r, time.Duration(rapid.Int64Range(0, int64(time.Minute)).Draw(t, "pause")))
			}
		}
	}
}

func (w *world) sent(t *rapid.T, m Message) {
	w.messages++
	if _, busy := w.out[m.Lane]; busy {
		t.Fatalf("two messages are on their way to %s by %s", m.Person, m.Transport)
	}
	w.out[m.Lane] = m
	quiet := w.desk.policy.People[w.desk.lanes[m.Lane].person].Quiet.at(w.now)
	if len(m.Lines) == 0 || len(m.Lines) > 2*len(keys) || len(m.Standing) > len(keys) {
		t.Fatalf("a message of %d and %d lines", len(m.Lines), len(m.Standing))
	}
	for _, l := range m.Lines {
		if quiet && l.Priority < alarm.High {
			t.Fatalf("%s is told of %s in quiet hours", m.Person, l.Key)
		}
		if l.State == "over" && !w.heard[m.Lane][l.Key] {
			t.Fatalf("%s is told by %s of the end of %s and was not told of it", m.Person, m.Transport, l.Key)
		}
		if l.State == "raised" && w.state[l.Key] == alarm.Normal {
			t.Fatalf("%s is told that %s stands, which is over", m.Person, l.Key)
		}
		if (l.State == "over") != (l.Until != time.Time{}) && l.State != "came-and-went" {
			t.Fatalf("an end and none: %+v", l)
		}
	}
}

func (w *world) done(m Message, r Result, pause time.Duration) {
	delete(w.out, m.Lane)
	w.desk.Done(w.now, m.Lane, r, pause)
	if r != Delivered {
		return
	}
	if w.heard[m.Lane] == nil {
		w.heard[m.Lane] = map[alarm.Key]bool{}
	}
	for _, l := range m.Lines {
		if l.State != "over" && l.State != "came-and-went" {
			w.heard[m.Lane][l.Key] = true
		}
	}
}

func TestAnySequence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld()
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			w.step(t)
			if at, ok := w.desk.Wake(w.now); ok && at <= w.now.At && len(w.out) == 0 && len(w.desk.Clone().Due(w.now)) == 0 {
				t.Fatalf("the desk asks to be looked at now and has nothing to do")
			}
		}
		// In the end everything works: then everybody whose turn it is knows within a burst
		// and the longest wait.
		w.now.Trusted = false
		for range 200 {
			for lane := range w.desk.lanes {
				if m, ok := w.out[lane]; ok {
					w.done(m, Delivered, 0)
				}
			}
			due := w.desk.Due(w.now)
			for _, m := range due {
				w.sent(t, m)
			}
			at, ok := w.desk.Wake(w.now)
			if len(due) > 0 {
				continue
			}
			if !ok {
				break
			}
			d := max(at-w.now.At, 0)
			w.now.At += d
			w.now.Wall = w.now.Wall.Add(d)
		}
		for _, o := range w.desk.occurrences {
			for i, l := range o.legs {
				who := w.desk.lanes[i]
				if o.stage == asks && o.priority == alarm.High && !l.told {
					t.Errorf("%s does not know of %s by %s", w.desk.person(i), o.key, who.transport)
				}
				if o.stage == over && l.owes {
					t.Errorf("%s does not know by %s that %s is over", w.desk.person(i), who.transport, o.key)
				}
			}
		}
		if got := len(w.desk.occurrences); got > len(keys) {
			t.Errorf("%d occurrences are kept of %d alarms", got, len(keys))
		}
	})
}

// A restart neither repeats nor forgets.
func TestRestartAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld()
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			w.step(t)
		}
		for lane := range w.desk.lanes {
			if m, ok := w.out[lane]; ok {
				w.done(m, rapid.SampledFrom([]Result{Delivered, Failed}).Draw(t, "result"), 0)
			}
		}
		w.now.Trusted = true
		data, err := json.Marshal(w.desk.Memory(w.now))
		if err != nil {
			t.Fatal(err)
		}
		m, err := Parse(data)
		if err != nil {
			t.Fatal(err)
		}
		next := NewDesk("cellar", household())
		later := Moment{0, w.now.Wall, true}
		if err := next.Restore(m, later); err != nil {
			t.Fatal(err)
		}
		before, after := w.desk.Due(w.now.after(burst)), next.Due(later.after(burst))
		// A pause after a failure is not kept, so what waited for that may come earlier.
		told := func(all []Message) (ids []string) {
			for _, m := range all {
				if w.desk.lanes[m.Lane].failures == 0 {
					ids = append(ids, m.ID)
				}
			}
			return ids
		}
		if b, a := told(before), told(after); !reflect.DeepEqual(b, a) && !slices.Equal(b, a) {
			t.Errorf("before the restart %q were due, after it %q", b, a)
		}
	})
}

func (m Moment) after(d time.Duration) Moment { return Moment{m.At + d, m.Wall.Add(d), m.Trusted} }

// Clone is for looking ahead.
func (d *Desk) Clone() *Desk {
	c := NewDesk(d.site, d.policy)
	copy(c.lanes, d.lanes)
	for i := range c.lanes {
		c.lanes[i].inFlight = slices.Clone(c.lanes[i].inFlight)
	}
	for _, o := range d.occurrences {
		n := *o
		n.legs = slices.Clone(o.legs)
		c.occurrences = append(c.occurrences, &n)
	}
	return c
}

func FuzzParse(f *testing.F) {
	w := newScene(nil, household(), noon)
	w.desk.Take(w.now, News{Status: alarm.Status{Key: overheat, State: alarm.Raised, Occurrence: 2}, Wall: noon})
	data, _ := json.Marshal(w.desk.Memory(w.now))
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Parse(data)
		if err != nil {
			return
		}
		d := NewDesk("cellar", household())
		now := Moment{time.Hour, noon, true}
		if d.Restore(m, now) != nil {
			return
		}
		for _, m := range d.Due(now) {
			Write(m, "")
			d.Done(now, m.Lane, Delivered, 0)
		}
		d.Wake(now)
		d.Memory(now)
	})
}
