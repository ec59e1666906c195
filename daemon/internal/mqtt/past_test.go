package mqtt

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/mqtt/mqtttest"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/units"
)

// monitor is a run of the program: a history, and the publisher that reads it. Each second is
// another reading.
type monitor struct {
	*Publisher
	t     testing.TB
	store *history.Store
	last  *status.Status
	ends  []func()
}

// watch begins a run over a directory, at a time.
func watch(t testing.TB, dir, boot string, wall time.Time, o Options, change ...func(*monitor)) *monitor {
	t.Helper()
	m := &monitor{t: t}
	m.store = history.New(history.Options{Dir: dir, Identity: boot, Units: units.SI, Log: quiet()})
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() { _ = m.store.Run(ctx) })
	o.BootID, o.Past, o.Dir, o.Durable = boot, m.store, dir, m.store.Commit
	var err error
	if m.Publisher, err = New(o); err != nil {
		t.Fatal(err)
	}
	m.calm, m.inHurry = restless, restless
	for _, do := range change {
		do(m)
	}
	wg.Go(func() { _ = m.Run(ctx) })
	end := sync.OnceFunc(func() { cancel(); wg.Wait() })
	m.ends = append(m.ends, end, sync.OnceFunc(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		if err := m.store.Close(ctx); err != nil {
			t.Error(err)
		}
	}))
	t.Cleanup(m.end)
	m.last = statustest.Burning()
	m.last.Frame.At, m.last.Wall = -time.Second, wall.Add(-time.Second)
	return m
}

// end ends the run as the program does.
func (m *monitor) end() {
	for _, do := range m.ends {
		do()
	}
}

// tick is one second.
func (m *monitor) tick(change ...func(*status.Status)) {
	s := statustest.After(m.last, time.Second)
	s.Frame.Inputs[frame.Flue] = frame.Input{Value: flueAt(s.Wall), Quality: frame.Good}
	for _, do := range change {
		do(s)
	}
	m.store.Offer(s)
	m.Offer(s)
	m.last = s
}

func flueAt(at time.Time) float64 { return 250 + math.Floor(400*math.Sin(float64(at.Unix())/600))/4 }

func (m *monitor) ticks(d time.Duration) {
	for range int(d / time.Second) {
		m.tick()
	}
}

// flap raises and clears the spillage so many times, ten seconds apart.
func (m *monitor) flap(n int) {
	for i := range n {
		to, v := alarm.Raised, -2.0
		if i%2 == 1 {
			to, v = alarm.Normal, 8
		}
		m.tick(func(s *status.Status) { statustest.Change(s, alarm.Spillage, frame.Count, to, v, 0) })
		m.ticks(9 * time.Second)
	}
}

// transitions are the changes of alarms that a broker got, each once, in the order in which
// they first came; repeats that differ in anything but their sending are a failure.
func transitions(t testing.TB, h *mqtttest.Broker) (all []string) {
	t.Helper()
	seen := map[string]bool{}
	for _, m := range h.Of("event") {
		var e struct {
			ID, Source, Type string
			Data             struct {
				Alarm, State, Boot string
				Occurrence         int
			}
		}
		if err := json.Unmarshal(m.Payload, &e); err != nil {
			t.Fatal(err)
		}
		if e.Type == alarmEvent && !seen[e.ID] {
			seen[e.ID] = true
			all = append(all, fmt.Sprintf("%s %s %d", e.Data.Alarm, e.Data.State, e.Data.Occurrence))
		}
	}
	return all
}

// flapping is what flap makes.
func flapping(n int) (all []string) {
	for i := range n {
		all = append(all, fmt.Sprintf("spillage %s %d", []string{"raised", "cleared"}[i%2], i/2+1))
	}
	return all
}

// readings are the flue's of all packs, by their time, ms; again counts those that came more
// than once. Two with one time that differ are a failure.
func readings(t testing.TB, packs []mqtttest.Heard) (all map[int64]float64, again int) {
	t.Helper()
	all = map[int64]float64{}
	for _, m := range packs {
		if len(m.Payload) > 64<<10 {
			t.Errorf("a message of %d bytes", len(m.Payload))
		}
		var records []record
		if err := json.Unmarshal(m.Payload, &records); err != nil {
			t.Fatal(err)
		}
		for _, r := range records {
			if r.Name != "flue" {
				continue
			}
			ms := int64(math.Round((records[0].BaseTime + r.Time) * 1000))
			if v, known := all[ms]; known {
				again++
				if v != r.Value {
					t.Errorf("of %v there are %v and %v", time.UnixMilli(ms), v, r.Value)
				}
			}
			all[ms] = r.Value
		}
	}
	return all, again
}

// complete fails unless there is a reading each ten seconds from begin to before end.
func complete(t testing.TB, all map[int64]float64, begin, end time.Time) {
	t.Helper()
	missing := 0
	for at := begin; at.Before(end); at = at.Add(10 * time.Second) {
		v, ok := all[at.UnixMilli()]
		if !ok {
			missing++
		} else if v != flueAt(at) {
			t.Errorf("at %v the flue is %v, want %v", at, v, flueAt(at))
		}
	}
	if missing > 0 {
		t.Errorf("%d readings are missing of %d", missing, end.Sub(begin)/(10*time.Second))
	}
}

func online(h *mqtttest.Broker) func() bool {
	return func() bool { return len(h.Of("availability")) > 0 }
}

var evening = time.Now().Add(-12 * time.Hour).Truncate(time.Minute).UTC()

// Six hours without a broker: everything comes afterwards, each once, and what is new is not
// kept waiting by it.
func TestSixHoursAway(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	o := options(h.URL())
	o.FillRate = 1 << 30
	m := watch(t, t.TempDir(), "b00t", evening, o)
	eventually(t, "online", online(h))
	m.ticks(10 * time.Minute)
	eventually(t, "telemetry as it comes", func() bool { all, _ := readings(t, h.Of("telemetry")); return len(all) >= 54 })
	h.Away(true)
	m.flap(20)
	m.ticks(6 * time.Hour)
	m.flap(20)
	h.Away(false)
	eventually(t, "all alarms", func() bool { return len(transitions(t, h)) == 40 })
	m.ticks(2 * time.Minute)
	end := m.last.Wall.Truncate(time.Minute)
	eventually(t, "all telemetry", func() bool {
		all, _ := readings(t, h.Of("telemetry"))
		return len(all) >= int(end.Sub(evening)/(10*time.Second))
	})
	if diff := cmp.Diff(flapping(40), transitions(t, h)); diff != "" {
		t.Errorf("transitions (-want +got):\n%s", diff)
	}
	all, again := readings(t, h.Of("telemetry"))
	complete(t, all, evening, end)
	// Each once, but for what was sent and not acknowledged when the line went.
	if again > mostPacks*6+mostFilled/6 {
		t.Errorf("%d readings came more than once", again)
	}
	if s := m.Stats(); s.Dropped != 0 || s.Outbox.TooOld+s.Outbox.NoTime != 0 {
		t.Errorf("%+v %+v", s, s.Outbox)
	}
}

// While hours are made up for, at the pace that is set, what is new and what is urgent do not
// wait.
func TestBackFillGivesWay(t *testing.T) {
	if testing.Short() {
		t.Skip("it is about seconds")
	}
	t.Parallel()
	h := mqtttest.Start(t)
	h.Away(true)
	m := watch(t, t.TempDir(), "b00t", evening, options(h.URL()))
	m.ticks(6 * time.Hour)
	h.Away(false)
	eventually(t, "something made up for", func() bool { return len(h.Of("telemetry")) >= 2 })
	began := time.Now()
	m.flap(12)
	sum := func() (n int) {
		for _, p := range h.Of("telemetry") {
			n += len(p.Payload)
		}
		return n
	}
	before := sum()
	present := m.last.Wall.Truncate(time.Minute).Add(-10 * time.Second).UnixMilli()
	eventually(t, "the alarms and the minute that is over", func() bool {
		all, _ := readings(t, h.Of("telemetry"))
		return len(transitions(t, h)) == 12 && all[present] != 0
	})
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("what is new took %v", took)
	}
	time.Sleep(time.Second)
	if n, most := sum()-before, 25_000*(time.Since(began).Seconds()+1); float64(n) > most {
		t.Errorf("%d bytes in %v", n, time.Since(began))
	}
	if all, _ := readings(t, h.Of("telemetry")); len(all) > 6*360/2 {
		t.Errorf("%d readings are there already", len(all))
	}
	if s := m.Stats(); s.Outbox == nil {
		t.Error("nobody counts")
	}
}

// What happens between two runs, and what the first had not brought out, comes with the second.
func TestARestartGoesOn(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	dir := t.TempDir()
	o := options(h.URL())
	o.FillRate = 1 << 30
	first := watch(t, dir, "first", evening, o)
	eventually(t, "online", online(h))
	first.flap(2)
	first.ticks(3 * time.Minute)
	eventually(t, "the first alarms", func() bool { return len(transitions(t, h)) == 2 })
	h.Away(true)
	first.flap(2)
	first.ticks(5 * time.Minute)
	first.end()
	between := first.last.Wall.Add(time.Second)
	h.Away(false)
	second := watch(t, dir, "second", between.Add(time.Hour), o)
	second.ticks(3 * time.Minute)
	eventually(t, "what the first run told in vain", func() bool { return len(transitions(t, h)) == 4 })
	eventually(t, "its telemetry, and that of the second", func() bool {
		all, _ := readings(t, h.Of("telemetry"))
		return len(all) >= int(between.Sub(evening)/(10*time.Second))+12
	})
	all, _ := readings(t, h.Of("telemetry"))
	complete(t, all, evening, between)
	complete(t, all, between.Add(time.Hour), between.Add(time.Hour+2*time.Minute))
}

// A card that has failed keeps no event of the present back; what it holds comes when it can be
// read again.
func TestAHistoryThatCannotBeRead(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	dir := t.TempDir()
	first := watch(t, dir, "first", evening, options(h.URL()))
	h.Away(true)
	first.flap(2)
	first.end()
	file := filepath.Join(dir, history.FileName)
	for _, do := range []func() error{
		func() error { return os.Rename(file, file+".away") }, func() error { return os.Mkdir(file, 0o700) },
	} {
		if err := do(); err != nil {
			t.Fatal(err)
		}
	}
	h.Away(false)
	second := watch(t, dir, "second", evening.Add(time.Hour), options(h.URL()), func(m *monitor) { m.missing = 2 * time.Second })
	second.flap(2)
	eventually(t, "the alarms of the present", func() bool { return len(transitions(t, h)) == 2 })
	second.ticks(3 * time.Minute)
	eventually(t, "its telemetry", func() bool { all, _ := readings(t, h.Of("telemetry")); return len(all) >= 12 })
	for _, do := range []func() error{
		func() error { return os.Remove(file) }, func() error { return os.Rename(file+".away", file) },
	} {
		if err := do(); err != nil {
			t.Fatal(err)
		}
	}
	of := func(boot string) (n int) {
		for _, e := range h.Of("event") {
			if strings.HasPrefix(e.ID, boot+"-") {
				n++
			}
		}
		return n
	}
	for of("first") < 2 {
		second.flap(2) // which has the card tried again
		time.Sleep(500 * time.Millisecond)
		if second.last.Frame.At > time.Hour {
			t.Fatalf("it does not come to what the card holds: %q", transitions(t, h))
		}
	}
}

// An event waits for all that is known of alarms to be durable, not for the history alone: who
// has heard of a raising finds it standing after a power cut.
func TestEventsWaitUntilAlarmsAreDurable(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	let := make(chan struct{})
	m := watch(t, t.TempDir(), "b00t", evening, options(h.URL()), func(m *monitor) {
		m.o.Durable = func(context.Context) error { <-let; return nil }
	})
	eventually(t, "online", online(h))
	m.flap(1)
	if err := m.store.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	time.Sleep(announceWithin / 4)
	if n := len(h.Of("event")); n > 0 {
		t.Errorf("%d events came before", n)
	}
	close(let)
	eventually(t, "the event", func() bool { return len(h.Of("event")) == 1 })
}

// On a metered line too somebody may watch for a while.
func TestALeaseOnAMeteredLine(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	o := options(h.URL())
	o.Metered = true
	m := watch(t, t.TempDir(), "b00t", evening, o)
	eventually(t, "online", online(h))
	m.ticks(5 * time.Second)
	m.Live(10 * time.Second)
	began := m.last.Wall
	m.ticks(time.Minute)
	all := map[int64]float64{}
	eventually(t, "a reading a second for ten seconds", func() bool {
		all, _ = readings(t, h.Of("telemetry"))
		return len(all) >= 9
	})
	for ms := range all {
		if d := time.UnixMilli(ms).Sub(began); d < 0 || d > 10*time.Second {
			t.Errorf("a reading %v after the lease began", d)
		}
	}
	m.ticks(30 * time.Minute)
	eventually(t, "means", func() bool {
		for _, p := range h.Of("telemetry") {
			if bytes.Contains(p.Payload, []byte(`"mean_seconds":600`)) {
				return true
			}
		}
		return false
	})
}

// Nothing leaves the outbox but on an acknowledgement: one that is not given is made up for
// under the same id.
func TestRepeatsAreTheSame(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	n := 0
	h.Does(func(m mqtttest.Heard) (acknowledge, cut bool) {
		if m.Topic == "event" {
			n++
		}
		bad := m.Topic == "event" && n%12 == 0 // it is taken, not acknowledged, and the line cut
		return !bad, bad
	})
	m := watch(t, t.TempDir(), "b00t", evening, options(h.URL()))
	eventually(t, "online", online(h))
	m.flap(40)
	eventually(t, "all alarms", func() bool { return len(transitions(t, h)) == 40 })
	if diff := cmp.Diff(flapping(40), transitions(t, h)); diff != "" {
		t.Errorf("transitions (-want +got):\n%s", diff)
	}
	said := map[string]string{}
	repeats := 0
	for _, e := range h.Of("event") {
		before, known := said[e.ID]
		if known && before != string(e.Payload) {
			t.Errorf("%s is %s and then %s", e.ID, before, e.Payload)
		}
		if known {
			repeats++
		}
		said[e.ID] = string(e.Payload)
	}
	if repeats == 0 || repeats > 3*maxUnacked {
		t.Errorf("%d repeats", repeats)
	}
}

// Every kind of event that the history gives fits the schema, and says what the same event
// says where no history is kept.
func TestKeptEventsFitTheirSchema(t *testing.T) {
	t.Parallel()
	h := mqtttest.Start(t)
	m := watch(t, t.TempDir(), "b00t", evening, options(h.URL()))
	eventually(t, "online", online(h))
	m.ticks(5 * time.Second)
	m.tick(func(s *status.Status) {
		statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 705.214, 700)
		statustest.Change(s, alarm.SensorLost, frame.Draft, alarm.Raised, 0, 0)
		at := s.Frame.At
		s.Assessment.Events = append(
			s.Assessment.Events,
			analysis.Event{At: at, Kind: analysis.PhaseChanged, From: burn.CleanBurn, To: burn.Smoulder},
			analysis.Event{At: at, Kind: analysis.DoorOpened},
			analysis.Event{At: at, Kind: analysis.BurnEnded, Burn: s.Assessment.Burn},
			analysis.Event{At: at, Kind: analysis.Reloaded, Load: burn.Load{At: at, Flue: 210, Chamber: math.NaN(), Firebox: math.NaN()}},
			analysis.Event{At: at, Kind: analysis.NoticeGiven, Notice: notice.Notice{Name: notice.UpkeepDue, Job: notice.Ash, At: at, For: time.Hour}},
		)
	})
	m.store.Note("Ann", "swept")
	m.tick(func(s *status.Status) {
		statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Normal, 520, 700)
	})
	eventually(t, "seven events", func() bool { return len(h.Of("event")) == 7 })
	schema := schemas(t)["event"]
	var kinds []string
	for i, e := range h.Of("event") {
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(e.Payload))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(doc); err != nil {
			t.Errorf("%v\n%s", err, e.Payload)
		}
		ce := doc.(map[string]any)
		kind := fmt.Sprint(ce["type"])
		if ce["subject"] != nil {
			kind += fmt.Sprintf(" %v %v", ce["subject"], ce["data"].(map[string]any)["state"])
		}
		kinds = append(kinds, kind)
		if i == 0 && !bytes.Contains(e.Payload, []byte(`"value":705.21,"limit":700,"unit":"Cel"`)) {
			t.Errorf("%s", e.Payload)
		}
	}
	want := []string{
		"fluewright.alarm overheat/flue raised", "fluewright.alarm sensor-lost/draft raised", "fluewright.phase", "fluewright.burn",
		"fluewright.reload", "fluewright.notice", "fluewright.alarm overheat/flue cleared",
	}
	if diff := cmp.Diff(want, kinds); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
}

// eventually waits until something is so.
func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for deadline := time.Now().Add(4 * patience); !ok(); {
		if time.Now().After(deadline) {
			t.Fatalf("it does not come to: %s", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
}
