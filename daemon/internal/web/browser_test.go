package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/browsertest"
	"fluewright/sensors"
)

// hands take alarms, and do nothing with them.
type hands struct{ taken chan string }

func (h hands) Acknowledge(_ context.Context, by string, k alarm.Key, occurrence uint32) error {
	select {
	case h.taken <- fmt.Sprintf("%s %s %d", by, k, occurrence):
	default:
	}
	return nil
}

func (hands) Note(context.Context, string, command.Entry) error { return nil }

func (hands) Taker(k alarm.Key, _ uint32) (string, time.Time, bool) {
	return "Ann", statustest.Wall.Add(-3 * time.Minute), k.Name != alarm.DraftHigh
}

// told are options whose alarms are worded as they are in truth.
func told(o Options) Options {
	o.Units, o.Actions = units.US, hands{}
	o.Verdict.Render = func(a alarm.Status, s *status.Status) (string, string) {
		return message.Alarm(a, s.Assessment.Account(a.Key), s.WallOf, units.US)
	}
	return o
}

// inTheNameOf serves the pages to somebody who has signed in.
func inTheNameOf(t *testing.T, o Options, who access.Person) *httptest.Server {
	t.Helper()
	_, all, err := routes(o)
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	for _, r := range all {
		mux.Handle(r.Pattern, r.Handler)
	}
	named := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mux.ServeHTTP(w, r.WithContext(access.With(r.Context(), who)))
	})
	s := httptest.NewServer(guard(nil, named))
	t.Cleanup(s.Close)
	return s
}

// everything gives a tick every alarm that there is: the worst burst that can be.
func everything(state alarm.State) *status.Status {
	s := statustest.Burning()
	s.Assessment.Alarms = nil
	for _, d := range analysis.Alarms() {
		channels := d.Each
		if len(channels) == 0 {
			channels = []frame.Channel{frame.Count}
		}
		for _, c := range channels {
			a := alarm.Status{
				Key: alarm.Key{Name: d.Name, Channel: c}, Priority: d.Priority, State: state, Condition: alarm.Holds,
				Occurrence: 1, Since: 50 * time.Minute, Value: 720, Limit: 700,
			}
			if strings.HasPrefix(string(d.Name), "sensor") {
				a.Fault = string(sensors.OpenCircuit)
			}
			if d.Name == alarm.DraftHigh || d.Name == alarm.Spillage {
				a.Value, a.Limit = 22, 15
			}
			s.Assessment.Alarms = append(s.Assessment.Alarms, a)
		}
	}
	return s
}

// runningAway is a fire that runs away, with what is known of why.
func runningAway() *status.Status {
	s := everything(alarm.Normal)
	i := slices.IndexFunc(s.Assessment.Alarms, func(a alarm.Status) bool {
		return a.Key == alarm.Key{Name: alarm.Runaway, Channel: frame.Flue}
	})
	a := &s.Assessment.Alarms[i]
	a.State, a.Value, a.Limit = alarm.Raised, 610, 700
	s.Assessment.Accounts = make([]analysis.Account, len(s.Assessment.Alarms))
	s.Assessment.Accounts[i] = analysis.Account{
		Passes: true, ExpectedAt: s.Frame.At + 7*time.Minute,
		Causes: []cause.Cause{
			{Code: cause.CoalBed, Weight: 0.72, Evidence: [4]cause.Evidence{
				{Kind: cause.Loaded, At: 48 * time.Minute, For: 9 * time.Minute, Channel: frame.Flue},
				{Kind: cause.OnCoals, At: 47 * time.Minute, For: 30 * time.Minute, Channel: frame.Firebox, Value: 480},
				{Kind: cause.Rose, At: 57 * time.Minute, For: 4 * time.Minute, Channel: frame.Flue, Value: 610, Reference: 390},
			}},
			{Code: cause.FineFuel, Weight: 0.2},
		},
	}
	s.Frame.Inputs[frame.Flue].Value = 610
	return s
}

// scenes are what the owner may find.
var scenes = []struct {
	name string
	of   func() *status.Status
}{
	{"well", statustest.Burning},
	{"nothing yet", func() *status.Status { return nil }},
	{"first tick", statustest.Starting},
	{"runaway", runningAway},
	{"burst", func() *status.Status { return everything(alarm.Raised) }},
	{"taken", func() *status.Status {
		s := everything(alarm.Normal)
		for i := range s.Assessment.Alarms {
			switch a := &s.Assessment.Alarms[i]; a.Key.Name {
			case alarm.Overheat, alarm.DraftHigh:
				a.State, a.Acknowledged = alarm.Acknowledged, true
			case alarm.Spillage:
				a.State, a.Condition = alarm.Returned, alarm.Gone
			}
		}
		s.Frame.Inputs[frame.Flue].Value = 760
		s.Assessment.Draft.Value = 61
		return s
	}},
	{"blind", func() *status.Status {
		s := statustest.Burning()
		statustest.Lose(s, frame.Flue, sensors.OpenCircuit)
		statustest.Lose(s, frame.Draft, sensors.NoAnswer)
		statustest.Change(s, alarm.SensorLost, frame.Flue, alarm.Raised, 0, 0)
		for i := range s.Assessment.Alarms {
			s.Assessment.Alarms[i].Fault = string(sensors.OpenCircuit)
		}
		return statustest.After(s, 80*time.Second)
	}},
}

// Every scene for whoever may take alarms, on a telephone in the dark and on a desk; the page
// in the other two looks is among all the pages, which are looked at elsewhere.
func TestWhatTheOwnerSees(t *testing.T) {
	b := browsertest.Start(t)
	for _, scene := range scenes {
		o := told(options())
		o.StaleAfter = time.Hour
		if scene.name == "burst" {
			o.Site = "Haus-am-Waldrand-hinter-der-alten-Saegemuehle-Erdgeschoss-links-bei-Familie-Obermeier"
		}
		if s := scene.of(); s != nil {
			o.Feed.Publish(s)
		}
		server := inTheNameOf(t, o, access.Person{Name: "Ann", Role: access.Owner})
		for _, look := range browsertest.Looks[1:3] {
			t.Run(scene.name+" "+look.String(), func(t *testing.T) {
				tab := b.Tab(t, look)
				tab.Open(server.URL)
				tab.Check(strings.ReplaceAll(scene.name, " ", "-"))
			})
		}
	}
}

// Without scripts an alarm can be taken, and every page reached.
func TestTheOwnersPageWithoutScripts(t *testing.T) {
	b := browsertest.Start(t)
	o := told(options())
	h := hands{make(chan string, 1)}
	o.StaleAfter, o.Actions = time.Hour, h
	o.Feed.Publish(runningAway())
	server := inTheNameOf(t, o, access.Person{Name: "Ann", Role: access.Owner})
	tab := b.Tab(t, browsertest.Look{Width: 390, NoScript: true})
	tab.Open(server.URL)
	tab.Loading(func() { tab.Tap("#alarms button") })
	if got := <-h.taken; got != "Ann runaway/flue 1" {
		t.Errorf("taken: %s", got)
	}
	tab.Until(`location.pathname === '/'`, 5*time.Second)
	tab.Tap("nav summary")
	tab.Until(`document.querySelector('nav .narrow a[href="/upkeep"]').checkVisibility()`, 5*time.Second)
	tab.Fits("more")
	tab.Loading(func() { tab.Tap(`nav .narrow a[href="/about"]`) })
	tab.Until(`location.pathname === '/about'`, 5*time.Second)
}
