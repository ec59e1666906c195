package commissionpage_test

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/commissioning"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/daemon/internal/trend/trendtest"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/web/commissionpage"
)

func says(t *testing.T, page string, want ...string) {
	t.Helper()
	page = html.UnescapeString(page)
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("the page does not say %q", w)
		}
	}
}

// begun is a bench on which a commissioning is under way and the furnace is read.
func begun(t *testing.T, house string, u units.System) *bench {
	t.Helper()
	b := newBench(t, house, u)
	if to, code := b.post("/commissioning/begin", url.Values{}); code != http.StatusSeeOther || to != "/commissioning" {
		t.Fatalf("begun: %d, %s", code, to)
	}
	b.player.Frames(time.Minute)
	return b
}

// answered posts the answer to the task that is on.
func (b *bench) answered() {
	b.t.Helper()
	v := b.view()
	form := b.filled(v.Task)
	if v.Asks == "ready" {
		form = url.Values{"kind": {"ready"}}
		if v.Task == commissioning.ReadMark {
			form.Set("mark", fmt.Sprint(v.Mark))
		}
	}
	if page, code := b.post("/commissioning", form); code != http.StatusSeeOther {
		b.t.Fatalf("%s: %d: %s", v.Task, code, page)
	}
}

// Every task is asked on the page, answered by its form, and measured; the program is
// restarted before each; and the report comes out.
func TestTheWholeProcedure(t *testing.T) {
	b := begun(t, "tall", units.SI)
	seen := map[commissioning.Task]bool{}
	for range 60 {
		b.restart()
		b.player.Frames(5 * time.Second)
		v := b.view()
		if v.Task == commissioning.Done {
			break
		}
		seen[v.Task] = true
		page, code := b.get("/commissioning")
		if code != http.StatusOK {
			t.Fatalf("%s: %d", v.Task, code)
		}
		says(t, page, "Step ", " of 9: "+v.Title, v.Do, v.Why, v.Settled)
		lit := v.Task == commissioning.LightFire
		if !lit {
			b.hands()
		}
		b.answered()
		if lit {
			b.hands()
		}
		if b.view().Running {
			page, _ = b.get("/commissioning")
			says(t, page, "It is being measured", `content="10"`)
			if strings.Contains(page, ">Ready</button>") {
				t.Errorf("%s: it can be said twice that all is ready", v.Task)
			}
		}
		b.measure(3 * time.Hour)
	}
	for step := range commissioning.Steps {
		for _, task := range step.Tasks() {
			if !seen[task] {
				t.Errorf("%s was never asked", task)
			}
		}
	}
	page, _ := b.get("/commissioning")
	says(t, page, "Commissioning is over", "keep the report", "Report so far: pass")
	to, code := b.post("/commissioning/close", url.Values{})
	if code != http.StatusSeeOther || !strings.HasPrefix(to, "/commissioning/reports/FW-") {
		t.Fatalf("closed: %d, %s", code, to)
	}
	report, _ := b.get(to)
	says(t, report, "Commissioning report: cellar-7", "Result: pass", "A virtual installer", "<svg")
	text, _ := b.get(to + "/json")
	if r, err := commission.ParseRecord([]byte(text)); err != nil || r.Verdict != commission.Pass && r.Verdict != commission.PassCorrected || !strings.HasSuffix(to, r.Number) {
		t.Errorf("%s, %v", r.Verdict, err)
	}
	b.restart()
	page, _ = b.get("/commissioning")
	says(t, page, "None is under way", "Begin the season's start", to)
	if again, _ := b.get(to); again != report {
		t.Error("after a restart the report is another")
	}
	b.post("/commissioning/begin", url.Values{"season": {"1"}})
	page, _ = b.get("/commissioning")
	says(t, page, "Step 1 of 5: Sensors")
}

// A flue that is shut stops the procedure, with what to do, and no way past it.
func TestABlockedFlueStops(t *testing.T) {
	b := begun(t, "blocked", units.US)
	for b.view().Task != commissioning.Failed {
		b.hands()
		b.answered()
		b.measure(time.Hour)
	}
	page, _ := b.get("/commissioning")
	says(t, page, "This step has failed", "The flue does not draw", "Light nothing.", "Repeat the step", "in. w.c.")
	if strings.Contains(page, "Go on all the same") || strings.Contains(page, "Leave this step out") {
		t.Error("it can be passed over")
	}
	page, code := b.post("/commissioning", url.Values{"kind": {"go-on"}})
	if code != http.StatusUnprocessableEntity {
		t.Errorf("passed over: %d", code)
	}
	says(t, page, "cannot be passed over")
	if to, code := b.post("/commissioning", url.Values{"kind": {"repeat"}, "step": {"3"}}); code != http.StatusSeeOther {
		t.Errorf("repeated: %d, %s", code, to)
	}
}

func TestWhatIsTypedIsReadOrRefusedInWords(t *testing.T) {
	b := begun(t, "tall", units.SI)
	form := b.filled(commissioning.EnterSite)
	form.Set("height", "nine <feet>")
	form.Set("elbows", "3")
	page, code := b.post("/commissioning", form)
	if code != http.StatusUnprocessableEntity {
		t.Errorf("nonsense: %d", code)
	}
	says(t, page, "one of the answers below cannot be read", `value="nine <feet>"`, `name="elbows" value="3"`, `aria-invalid="true"`)
	if strings.Contains(page, "<feet>") {
		t.Error("what was typed is markup")
	}
	form = b.filled(commissioning.EnterSite)
	form.Set("height", "900 m")
	page, code = b.post("/commissioning", form)
	if code != http.StatusUnprocessableEntity {
		t.Errorf("an impossible chimney: %d", code)
	}
	says(t, page, "Not taken: That cannot be", `value="900 m"`)
	b.answered()

	checks := b.filled(commissioning.LookAround)
	checks.Del("co-alarm")
	page, code = b.post("/commissioning", checks)
	if code != http.StatusUnprocessableEntity {
		t.Errorf("an unanswered check: %d", code)
	}
	says(t, page, "not answered yet")
	if n := strings.Count(page, " checked"); n != int(commissioning.Checks)-1 {
		t.Errorf("%d answers are kept", n)
	}
	b.answered()

	page, code = b.post("/commissioning", url.Values{"kind": {"skip"}, "reason": {"  "}})
	if code != http.StatusUnprocessableEntity {
		t.Errorf("skipped without a reason: %d", code)
	}
	says(t, page, "Say why it is left out")
	for _, bad := range []url.Values{
		{"kind": {"burn"}},
		{"kind": {""}},
		{"kind": {"repeat"}, "step": {"x"}},
		{"kind": {"repeat"}, "step": {"77"}},
		{"kind": {"repeat"}, "step": {"6"}},
		{"kind": {"give"}},
		{"kind": {"without"}},
		{"kind": {"go-on"}},
		{"kind": {"ready"}, "mark": {"three"}},
	} {
		if page, code := b.post("/commissioning", bad); code != http.StatusUnprocessableEntity || !strings.Contains(page, "Not taken") {
			t.Errorf("%v: %d", bad, code)
		}
	}
	if b.view().Running {
		t.Error("something was begun")
	}
}

// With a fire, what would be dangerous then is refused; without a reading of the flue
// somebody has to say that there is none.
func TestUnsafe(t *testing.T) {
	b := begun(t, "tall", units.SI)
	b.answered()
	b.answered()
	b.player.House.Light(14, 0.17, 1)
	b.player.Frames(20 * time.Minute)
	page, code := b.post("/commissioning", url.Values{"kind": {"ready"}})
	if code != http.StatusUnprocessableEntity {
		t.Errorf("zero beside a fire: %d", code)
	}
	says(t, page, "A fire burns, or there are coals")

	b = begun(t, "tall", units.SI)
	b.answered()
	b.answered()
	var blind commissioning.Look
	blind.At = b.player.House.Now() + time.Second
	for c := range blind.Values {
		blind.Values[c] = 20
	}
	blind.Values[frame.Flue] = nan
	b.desk.Step(blind, b.wall(), true)
	page, _ = b.post("/commissioning", url.Values{"kind": {"ready"}})
	says(t, page, "go and look", `name="looked"`, "not read")
	if _, code := b.post("/commissioning", url.Values{"kind": {"ready"}, "looked": {"1"}}); code != http.StatusSeeOther {
		t.Errorf("looked: %d", code)
	}
}

// A page that is old changes nothing: the same task is asked for each probe.
func TestAPageThatIsOldIsRefused(t *testing.T) {
	b := begun(t, "tall", units.SI)
	for b.view().Task != commissioning.WarmProbe {
		b.hands()
		b.answered()
		b.measure(time.Hour)
	}
	page, _ := b.get("/commissioning")
	_, rest, _ := strings.Cut(page, `name="on" value="`)
	old, _, _ := strings.Cut(rest, `"`)
	b.hands()
	b.answered()
	b.measure(time.Hour)
	if v := b.view(); v.Task != commissioning.WarmProbe || v.Running {
		t.Fatalf("%s", v.Task)
	}
	for _, path := range []string{"/commissioning", "/commissioning/close"} {
		page, code := b.post(path, url.Values{"kind": {"ready"}, "on": {old}})
		if code != http.StatusConflict {
			t.Errorf("%s: %d", path, code)
		}
		says(t, page, "This is not what is on now", b.view().Do)
	}
	if b.view().Running {
		t.Error("it was begun all the same")
	}
	// Twice in a row is told as what it is.
	b.answered()
	page, code := b.post("/commissioning", url.Values{"kind": {"ready"}})
	if code != http.StatusUnprocessableEntity {
		t.Errorf("twice: %d", code)
	}
	says(t, page, "It is being measured already")
}

// The second phone, and a browser without scripts, see what the first has done.
func TestWhatChangesFromSecondToSecond(t *testing.T) {
	b := begun(t, "tall", units.SI)
	mark := func() string {
		part, _ := b.get("/commissioning/now")
		_, rest, _ := strings.Cut(part, `data-mark="`)
		m, _, _ := strings.Cut(rest, `"`)
		return m
	}
	before := mark()
	b.player.Frames(time.Minute)
	if mark() != before {
		t.Error("a page is to be loaded again though nothing but readings has changed")
	}
	part, _ := b.get("/commissioning/now")
	says(t, part, "draft", "flue", " Pa", "°C")
	b.answered()
	if mark() == before {
		t.Error("a page is not to be loaded again")
	}
	s := statustest.Burning()
	b.feed.Publish(statustest.After(s, time.Second))
	b.role = access.Technician
	page, _ := b.get("/commissioning")
	says(t, page, "You are signed in as technician and may look")
	if strings.Contains(page, "<form") {
		t.Error("who may only look finds a form")
	}
}

// What is old does not pass for what is now, and an alarm is told on this page too.
func TestSilenceAndAlarms(t *testing.T) {
	b := begun(t, "tall", units.SI)
	part, _ := b.get("/commissioning/now")
	if !strings.Contains(part, " Pa") {
		t.Error("no draft is shown")
	}
	b.stale = time.Nanosecond
	b.serve()
	part, _ = b.get("/commissioning/now")
	says(t, part, "Nothing has been read for", "Blind: the monitor has read nothing")
	if strings.Contains(part, " Pa") || strings.Contains(part, "°C") {
		t.Errorf("old readings are shown: %s", part)
	}
	b.stale = time.Hour
	b.serve()
	s := statustest.Burning()
	statustest.Change(s, alarm.Overheat, frame.Flue, alarm.Raised, 760, 700)
	b.feed.Publish(statustest.After(s, time.Second))
	part, _ = b.get("/commissioning/now")
	says(t, part, `class="alarm"`, "Alarm: ")
	b.player.Frames(time.Second)
	b.desk.Step(commissioning.Look{At: b.player.House.Now() + time.Second, Values: nothing()}, b.wall(), true)
	part, _ = b.get("/commissioning/now")
	if n := strings.Count(part, "not read"); n != 2 {
		t.Errorf("without readings: %s", part)
	}
}

func nothing() (v frame.Values) {
	for c := range v {
		v[c] = nan
	}
	return v
}

func TestRights(t *testing.T) {
	b := newBench(t, "tall", units.SI)
	for _, r := range commissionpage.New(commissionpage.Options{Shell: b.shell()}).Routes() {
		want := access.Read
		if strings.HasPrefix(r.Pattern, "POST ") {
			want = access.Commission
		}
		if r.Needs != want {
			t.Errorf("%s needs %v, want %v", r.Pattern, r.Needs, want)
		}
	}
}

// Ended early, the report says what was not done, and can still be had.
func TestEndedEarly(t *testing.T) {
	b := begun(t, "tall", units.SI)
	b.answered()
	draft, _ := b.get("/commissioning/report")
	says(t, draft, "Result: not complete")
	to, _ := b.post("/commissioning/close", url.Values{})
	report, code := b.get(to)
	if code != http.StatusOK {
		t.Fatalf("%s: %d", to, code)
	}
	says(t, report, "Result: not complete", "not done")
	page, _ := b.get("/commissioning")
	says(t, page, to)
	if _, code := b.get("/commissioning/reports/FW-20200101-00000000"); code != http.StatusNotFound {
		t.Errorf("a report that is none: %d", code)
	}
	page, code = b.post("/commissioning/begin", url.Values{"season": {"1"}})
	if code != http.StatusUnprocessableEntity {
		t.Errorf("a season without a commissioning: %d", code)
	}
	says(t, page, "a season's start follows a commissioning")
	var record map[string]any
	text, _ := b.get("/commissioning/report.json")
	if err := json.Unmarshal([]byte(text), &record); err != nil || record["verdict"] != "not complete" {
		t.Errorf("%v, %v", record["verdict"], err)
	}
}

// The history keeps every report, also those that nothing is compared with; one that was
// changed is none.
func TestReportsAreKept(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	b := newBench(t, "tall", units.SI)
	b.log, b.keep = k, k.Commissioning
	b.restart()
	var numbers []string
	for range 2 {
		b.post("/commissioning/begin", url.Values{})
		b.player.Frames(time.Minute)
		to, _ := b.post("/commissioning/close", url.Values{})
		numbers = append(numbers, strings.TrimPrefix(to, "/commissioning/reports/"))
	}
	k.Commissioning([]byte(`{"version":1,"number":"FW-FORGED"}`))
	k.Settle()
	b.restart() // what was in memory is gone
	page, _ := b.get("/commissioning")
	says(t, page, numbers...)
	if strings.Count(page, `href="/commissioning/reports/`) != 2 {
		t.Error("other reports are listed than were made")
	}
	for _, n := range numbers {
		report, code := b.get("/commissioning/reports/" + n)
		if code != http.StatusOK {
			t.Errorf("%s: %d", n, code)
		}
		says(t, report, n, "Result: not complete")
	}
	if _, code := b.get("/commissioning/reports/FW-FORGED"); code != http.StatusNotFound {
		t.Errorf("a forged one: %d", code)
	}
	latest, _ := b.get("/commissioning/report")
	says(t, latest, numbers[1])
}

// Without a procedure to be had nothing is offered.
func TestWithoutADesk(t *testing.T) {
	b := newBench(t, "tall", units.SI)
	b.desk = nil
	b.serve()
	page, code := b.get("/commissioning")
	if code != http.StatusOK || strings.Contains(page, "<form") {
		t.Errorf("%d, %s", code, page)
	}
	for _, path := range []string{"/commissioning/report", "/commissioning/report.json", "/commissioning/picture/fit"} {
		if _, code := b.get(path); code != http.StatusNotFound {
			t.Errorf("%s: %d", path, code)
		}
	}
}

// The test alarm goes out from the page, and what came of it is told.
func TestTheTestAlarm(t *testing.T) {
	b := newBench(t, "tall", units.SI)
	sent := make(chan struct{})
	b.test = func(context.Context) ([]command.Tried, error) {
		<-sent
		return []command.Tried{
			{Person: "Ann", Transport: "phone", Sent: true, Asked: true, Acknowledged: true, Seconds: 12},
			{Person: "Ann", Transport: "post", Error: "no answer"},
		}, nil
	}
	b.serve()
	b.post("/commissioning/begin", url.Values{})
	b.player.Frames(time.Minute)
	b.answered()
	for b.view().Now != commissioning.Limits {
		if _, code := b.post("/commissioning", url.Values{"kind": {"skip"}, "reason": {"another time"}}); code != http.StatusSeeOther {
			t.Fatalf("%v: %d", b.view().Now, code)
		}
	}
	b.answered()
	page, _ := b.get("/commissioning")
	says(t, page, "Send the test alarm")
	for range 2 { // the second time it is on its way
		if _, code := b.post("/commissioning/test", url.Values{}); code != http.StatusSeeOther {
			t.Errorf("sent: %d", code)
		}
	}
	page, _ = b.get("/commissioning")
	says(t, page, "on its way")
	close(sent)
	for !strings.Contains(page, "acknowledged after 12 s") {
		time.Sleep(time.Millisecond)
		page, _ = b.get("/commissioning")
	}
	says(t, page, "Ann by post: not sent: no answer", "Send the test alarm again")
	codes := []int{}
	for range 5 {
		_, code := b.post("/commissioning/test", url.Values{})
		codes = append(codes, code)
		time.Sleep(10 * time.Millisecond)
	}
	if !slices.Contains(codes, http.StatusUnprocessableEntity) {
		t.Errorf("a telephone can be made to ring for ever: %v", codes)
	}
}
