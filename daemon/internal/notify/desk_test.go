package notify

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/units"
)

var (
	everything = [alarm.High + 1]bool{alarm.Low: true, alarm.Medium: true, alarm.High: true}

	overheat = alarm.Key{Name: alarm.Overheat, Channel: frame.Flue}
	spillage = alarm.Key{Name: alarm.Spillage, Channel: frame.Count}
	unread   = alarm.Key{Name: alarm.SensorLost, Channel: frame.Flue}
	draftLow = alarm.Key{Name: alarm.DraftLow, Channel: frame.Count}
	stuck    = alarm.Key{Name: alarm.RegulatorStuck, Channel: frame.Count}
)

// household is two people: the owner by telephone and mail, a neighbour by telephone.
func household() Policy {
	return Policy{
		Second: 5 * time.Minute, Repeat: 10 * time.Minute,
		People: []Person{
			{Name: "owner", Takes: everything, Quiet: Quiet{22 * 60, 6 * 60}, Via: []string{"phone", "mail"}},
			{Name: "neighbour", Takes: everything, After: 15 * time.Minute, Via: []string{"other"}, Units: units.SI},
		},
	}
}

// scene is a desk with a clock and receivers that take everything, or nothing.
type scene struct {
	t    *testing.T
	desk *Desk
	now  Moment
	down map[string]Result // by transport
	log  []string          // "12:00:05 phone alarm: overheat/flue raised"
}

var noon = time.Date(2026, time.January, 17, 12, 0, 0, 0, time.UTC)

func newScene(t *testing.T, p Policy, wall time.Time) *scene {
	return &scene{t: t, desk: NewDesk("cellar", p), now: Moment{0, wall, true}, down: map[string]Result{}}
}

func (s *scene) take(k alarm.Key, st alarm.State, no uint32) {
	d, _ := alarm.Declared(k.Name)
	s.desk.Take(s.now, News{
		Status: alarm.Status{Key: k, Priority: d.Priority, State: st, Occurrence: no},
		Wall:   s.now.Wall,
		Texts:  Texts{{What: k.String() + " °F"}, {What: k.String() + " °C"}},
	})
	s.deliver()
}

// deliver sends what is due now.
func (s *scene) deliver() {
	for {
		due := s.desk.Due(s.now)
		if len(due) == 0 {
			return
		}
		for _, m := range due {
			r := s.down[m.Transport]
			if r == Delivered {
				var lines []string
				for _, l := range m.Lines {
					lines = append(lines, l.Key.String()+" "+l.State)
				}
				s.log = append(s.log, fmt.Sprintf("%s %s %s: %s", s.now.Wall.Format("15:04:05"), m.Transport, m.Kind, strings.Join(lines, ", ")))
			}
			s.desk.Done(s.now, m.Lane, r, 10*time.Second)
		}
	}
}

// pass lets time go by, as a courier does: it looks when the desk asks it to.
func (s *scene) pass(d time.Duration) {
	end := s.now.At + d
	for looks := 0; ; looks++ {
		if looks > 100000 {
			s.t.Fatal("the desk asks to be looked at without end")
		}
		at, ok := s.desk.Wake(s.now)
		if !ok || at > end {
			s.step(end - s.now.At)
			return
		}
		s.step(max(at-s.now.At, time.Millisecond))
		s.deliver()
	}
}

func (s *scene) step(d time.Duration) {
	s.now.At += d
	s.now.Wall = s.now.Wall.Add(d)
}

func (s *scene) want(want ...string) {
	s.t.Helper()
	if !slices.Equal(s.log, want) {
		s.t.Errorf("told\n  %s\nwant\n  %s", strings.Join(s.log, "\n  "), strings.Join(want, "\n  "))
	}
	s.log = nil
}

func TestEscalation(t *testing.T) {
	s := newScene(t, household(), noon)
	s.take(overheat, alarm.Raised, 1)
	s.pass(16 * time.Minute)
	s.want(
		"12:00:00 phone alarm: overheat/flue raised",
		"12:05:00 mail alarm: overheat/flue raised",
		"12:10:00 phone reminder: overheat/flue raised",
		"12:15:00 mail reminder: overheat/flue raised",
		"12:15:00 other alarm: overheat/flue raised",
	)
	s.take(overheat, alarm.Acknowledged, 1)
	s.pass(time.Hour)
	s.want()
	s.take(overheat, alarm.Normal, 1)
	s.pass(time.Hour)
	s.want(
		"13:16:10 phone over: overheat/flue over",
		"13:16:10 mail over: overheat/flue over",
		"13:16:10 other over: overheat/flue over",
	)
}

func TestTheEndGoesToThoseWhoWereTold(t *testing.T) {
	s := newScene(t, household(), noon)
	s.take(draftLow, alarm.Raised, 1)
	s.pass(time.Minute)
	s.take(draftLow, alarm.Returned, 1)
	s.pass(time.Hour)
	s.want("12:00:10 phone alarm: draft-low raised", "12:01:10 phone over: draft-low over")
}

func TestLowIsForTheFirstPersonAndTheFirstTransport(t *testing.T) {
	s := newScene(t, household(), noon)
	s.take(stuck, alarm.Raised, 1)
	s.pass(3 * time.Hour)
	s.want("12:00:10 phone alarm: regulator-stuck raised")
}

func TestMediumIsNotRepeated(t *testing.T) {
	s := newScene(t, household(), noon)
	s.take(draftLow, alarm.Raised, 1)
	s.pass(3 * time.Hour)
	s.want(
		"12:00:10 phone alarm: draft-low raised",
		"12:05:10 mail alarm: draft-low raised",
		"12:15:10 other alarm: draft-low raised",
	)
}

func TestBurst(t *testing.T) {
	t.Run("in one tick", func(t *testing.T) {
		s := newScene(t, household(), noon)
		for _, k := range []alarm.Key{unread, overheat, spillage} {
			d, _ := alarm.Declared(k.Name)
			s.desk.Take(s.now, News{
				Status: alarm.Status{Key: k, Priority: d.Priority, State: alarm.Raised, Occurrence: 1, First: k == spillage},
				Wall:   s.now.Wall,
			})
		}
		s.deliver()
		s.pass(time.Minute)
		s.want("12:00:00 phone alarm: spillage raised, overheat/flue raised, sensor-lost/flue raised")
	})
	t.Run("one after another", func(t *testing.T) {
		s := newScene(t, household(), noon)
		for _, k := range []alarm.Key{unread, draftLow, overheat, spillage, stuck} {
			s.take(k, alarm.Raised, 1)
			s.pass(time.Second)
		}
		s.pass(time.Minute)
		s.want(
			"12:00:02 phone alarm: overheat/flue raised, sensor-lost/flue raised, draft-low raised",
			"12:00:12 phone alarm: spillage raised, regulator-stuck raised",
		)
	})
	t.Run("of no high priority", func(t *testing.T) {
		s := newScene(t, household(), noon)
		for _, k := range []alarm.Key{unread, draftLow, stuck} {
			s.take(k, alarm.Raised, 1)
			s.pass(2 * time.Second)
		}
		s.pass(time.Minute)
		s.want("12:00:10 phone alarm: sensor-lost/flue raised, draft-low raised, regulator-stuck raised")
	})
}

func TestQuietHours(t *testing.T) {
	p := household()
	p.People = p.People[:1]
	s := newScene(t, p, noon.Add(11*time.Hour)) // 23:00
	s.take(draftLow, alarm.Raised, 1)
	s.take(unread, alarm.Raised, 1)
	s.pass(time.Hour)
	s.want()
	s.take(overheat, alarm.Raised, 1)
	s.want("00:00:00 phone alarm: overheat/flue raised")
	s.take(overheat, alarm.Acknowledged, 1)
	s.take(unread, alarm.Normal, 1)
	s.pass(7 * time.Hour)
	s.want(
		"06:00:00 phone alarm: draft-low raised",
		"06:00:00 mail alarm: draft-low raised",
	)
}

func TestAClockThatIsNotTrustedSilencesNobody(t *testing.T) {
	s := newScene(t, household(), noon.Add(11*time.Hour))
	s.now.Trusted = false
	s.take(draftLow, alarm.Raised, 1)
	s.pass(time.Minute)
	s.want("23:00:10 phone alarm: draft-low raised")
}

// After an outage there is one message, with what stands and what came and went.
func TestOutageEndsInOneSummary(t *testing.T) {
	p := household()
	p.People = p.People[:1]
	p.People[0].Via = p.People[0].Via[:1]
	s := newScene(t, p, noon)
	s.down["phone"] = Failed
	for no := uint32(1); no <= 5; no++ {
		s.take(spillage, alarm.Raised, no)
		s.pass(10 * time.Minute)
		s.take(spillage, alarm.Returned, no)
		s.pass(30 * time.Minute)
	}
	s.take(overheat, alarm.Raised, 1)
	s.pass(2 * time.Hour)
	s.want()
	var last Message
	s.down["phone"] = Delivered
	for range 100 {
		at, _ := s.desk.Wake(s.now)
		s.step(at - s.now.At)
		if due := s.desk.Due(s.now); len(due) > 0 {
			last = due[0]
			s.desk.Done(s.now, last.Lane, Delivered, 0)
			break
		}
	}
	if last.Kind != Summary || len(last.Lines) != 2 {
		t.Fatalf("got %+v", last)
	}
	stands, gone := last.Lines[0], last.Lines[1]
	if stands.Key != overheat || !stands.Since.Equal(noon.Add(200*time.Minute)) {
		t.Errorf("what stands is %+v", stands)
	}
	if gone.State != "came-and-went" || gone.Times != 5 || !gone.Since.Equal(noon) || !gone.Until.Equal(noon.Add(170*time.Minute)) {
		t.Errorf("what came and went is %+v", gone)
	}
	s.pass(9 * time.Minute)
	s.want() // the summary was all
}

// Where the first transport is dead nobody waits for it.
func TestADeadTransportIsNotWaitedFor(t *testing.T) {
	for _, how := range []Result{Failed, Refused} {
		s := newScene(t, household(), noon)
		s.down["phone"] = how
		s.take(overheat, alarm.Raised, 1)
		s.pass(time.Minute)
		s.want("12:00:00 mail alarm: overheat/flue raised")
		s.down["mail"] = how
		s.take(spillage, alarm.Raised, 1)
		s.pass(time.Minute)
		s.want() // a minute's outage is none of the neighbour's
		s.take(draftLow, alarm.Raised, 1)
		s.pass(5 * time.Minute)
		if len(s.log) != 1 || !strings.Contains(s.log[0], "other alarm: overheat/flue raised, spillage raised, draft-low raised") {
			t.Errorf("%v: %q", how, s.log)
		}
	}
}

func TestRefusedIsNotRetried(t *testing.T) {
	p := household()
	p.People = p.People[:1]
	p.People[0].Via = []string{"phone"}
	s := newScene(t, p, noon)
	s.down["phone"] = Refused
	s.take(draftLow, alarm.Raised, 1)
	s.pass(12 * time.Minute)
	if got := s.desk.lanes[0].failures; got != 1 {
		t.Errorf("%d attempts, want 1", got)
	}
	if got := s.desk.Trouble(s.now); !slices.Equal(got, []string{"phone"}) {
		t.Errorf("trouble is %q", got)
	}
	s.down["phone"] = Delivered
	s.take(overheat, alarm.Raised, 1)
	s.pass(time.Second)
	if got := s.desk.Trouble(s.now); len(got) > 0 {
		t.Errorf("trouble is %q although it delivers", got)
	}
}

func TestSuppressedIsNoEnd(t *testing.T) {
	s := newScene(t, household(), noon)
	s.take(overheat, alarm.Raised, 1)
	s.take(overheat, alarm.Suppressed, 1)
	s.pass(time.Hour)
	s.take(overheat, alarm.Unjudged, 1)
	s.pass(time.Hour)
	s.want("12:00:00 phone alarm: overheat/flue raised")
	s.take(overheat, alarm.Normal, 1)
	s.pass(time.Minute)
	s.want("14:00:10 phone over: overheat/flue over")
}

func TestUnitsAreThePersons(t *testing.T) {
	s := newScene(t, household(), noon)
	s.desk.Take(s.now, News{
		Status: alarm.Status{Key: overheat, Priority: alarm.High, State: alarm.Raised, Occurrence: 1},
		Texts:  Texts{{What: "1000 °F"}, {What: "538 °C"}},
	})
	s.now.At += 20 * time.Minute
	for _, m := range s.desk.Due(s.now) {
		want := "1000 °F"
		if m.Person == "neighbour" {
			want = "538 °C"
		}
		if m.Lines[0].Text.What != want {
			t.Errorf("%s reads %q", m.Person, m.Lines[0].Text.What)
		}
	}
}

// What was raised before the clock was known is told with its true time afterwards.
func TestTimesFromBeforeTheClockWasSet(t *testing.T) {
	s := newScene(t, household(), time.Unix(60, 0).UTC())
	s.now.Trusted = false
	s.take(overheat, alarm.Raised, 1)
	s.pass(5 * time.Minute)
	s.now.Wall, s.now.Trusted = noon, true
	s.step(5 * time.Minute)
	due := s.desk.Due(s.now)
	if len(due) == 0 || !due[0].Lines[0].Since.Equal(noon.Add(-5*time.Minute)) {
		t.Errorf("got %+v", due)
	}
}

// An alarm that comes again while its end is on its way has another end.
func TestAnEndThatIsOvertaken(t *testing.T) {
	p := household()
	p.People = p.People[:1]
	p.People[0].Via = []string{"phone"}
	s := newScene(t, p, noon)
	s.take(overheat, alarm.Raised, 1)
	s.take(overheat, alarm.Normal, 1)
	s.step(burst)
	end := s.desk.Due(s.now)
	if len(end) != 1 || end[0].Kind != Over {
		t.Fatalf("got %+v", end)
	}
	s.take(overheat, alarm.Raised, 2)
	s.take(overheat, alarm.Suppressed, 2) // before it could be told
	s.desk.Done(s.now, end[0].Lane, Delivered, 0)
	s.pass(time.Hour)
	s.take(overheat, alarm.Normal, 2)
	s.pass(time.Hour)
	s.want("12:00:00 phone alarm: overheat/flue raised", "13:00:20 phone over: overheat/flue over")
}
