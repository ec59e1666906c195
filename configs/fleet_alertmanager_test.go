package configs_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

const routing = "fleet/alertmanager/alertmanager.yml"

// tool returns where a real part is, or leaves the test out.
func tool(t *testing.T, names ...string) string {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("real parts are for real machines")
	}
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("FLUEWRIGHT_REAL") == "1" {
		t.Fatalf("%s is not installed", names[0])
	}
	t.Skipf("%s is not installed", names[0])
	return ""
}

func TestRoutes(t *testing.T) {
	amtool := tool(t, "amtool")
	if out, err := exec.Command(amtool, "check-config", routing).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for labels, want := range map[string]string{
		"alertname=FluewrightAlarmHigh severity=critical site=mill region=north":   "pager",
		"alertname=fluewright-overheat severity=critical site=mill":                "pager", // a monitor's own
		"alertname=FluewrightAlarmMedium severity=warning site=mill region=north":  "queue",
		"alertname=FluewrightAlarmLow severity=info site=mill region=north":        "queue",
		"alertname=FluewrightSilent severity=warning site=mill region=north":       "queue",
		"alertname=FluewrightRegionSilent severity=warning region=north":           "queue",
		"alertname=FluewrightFleetSilent severity=critical":                        "pager",
		"alertname=FluewrightBrokerAway severity=critical":                         "pager",
		"alertname=FluewrightDeskAlive severity=none":                              "dead-man",
		"alertname=FluewrightDraftLoss severity=warning site=mill region=north":    "queue",
		"alertname=SomethingElse":                                                  "queue",
		"alertname=FluewrightNotCommissioned severity=info site=mill region=north": "queue",
		"alertname=FluewrightSpillsOften severity=warning site=mill region=north":  "queue",
	} {
		args := append([]string{"config", "routes", "test", "--config.file", routing, "--verify.receivers", want}, strings.Fields(labels)...)
		if out, err := exec.Command(amtool, args...).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", labels, err, out)
		}
	}
}

// An alert that no rule here knows cannot be routed on purpose; and nothing mutes an alarm.
func TestRoutingNamesAlertsThatThereAre(t *testing.T) {
	text, rules := regexp.MustCompile(`#.*`).ReplaceAllString(read(t, routing), ""), read(t, "fleet/prometheus/fleet.rules.yml")
	for _, name := range regexp.MustCompile(`Fluewright\w+`).FindAllString(text, -1) {
		if !strings.Contains(rules, "- alert: "+name+"\n") {
			t.Errorf("there is no alert %s", name)
		}
	}
	for _, line := range regexp.MustCompile(`target_matchers: .*`).FindAllString(text, -1) {
		if strings.Contains(line, "Alarm") || !strings.Contains(line, "alertname") {
			t.Errorf("an alarm could be muted: %s", line)
		}
	}
	if strings.Contains(text, "send_resolved: true") || strings.Count(text, "send_resolved: false") != strings.Count(text, "url:") {
		t.Error("a receiver would be told that something is resolved")
	}
}

// inbox is what the desk's receivers got.
type inbox struct {
	*httptest.Server
	mu       sync.Mutex
	messages []message
}

type message struct {
	receiver string
	Status   string
	Alerts   []struct {
		Status string
		Labels map[string]string
	}
}

func newInbox(t *testing.T) *inbox {
	in := &inbox{}
	in.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m message
		if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
			t.Error(err)
		}
		m.receiver = strings.Trim(r.URL.Path, "/")
		in.mu.Lock()
		defer in.mu.Unlock()
		in.messages = append(in.messages, m)
	}))
	t.Cleanup(in.Close)
	return in
}

// about returns the messages to a receiver about an alert, and how many alerts are in them.
func (in *inbox) about(receiver, alert string) (messages, alerts int) {
	in.mu.Lock()
	defer in.mu.Unlock()
	for _, m := range in.messages {
		here := 0
		for _, a := range m.Alerts {
			if a.Labels["alertname"] == alert {
				here++
			}
		}
		if m.receiver == receiver && here > 0 {
			messages, alerts = messages+1, alerts+here
		}
	}
	return messages, alerts
}

func (in *inbox) resolved() bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	for _, m := range in.messages {
		if m.Status == "resolved" {
			return true
		}
	}
	return false
}

// alertmanager runs the real one with the configuration as it is kept, but for where messages
// go to, and for waits, which are cut to seconds where they would be minutes.
func alertmanager(t *testing.T, in *inbox) (url string) {
	t.Helper()
	if testing.Short() {
		t.Skip("runs a real Alertmanager")
	}
	binary := tool(t, "prometheus-alertmanager", "alertmanager")
	text := regexp.MustCompile(`http://([a-z-]+)\.example/`).ReplaceAllString(read(t, routing), in.URL+"/$1")
	for _, cut := range [][2]string{{`(group_wait): \d+[mh]`, "$1: 3s"}, {`(group_interval): \d+[mh]`, "$1: 2s"}} {
		text = regexp.MustCompile(cut[0]).ReplaceAllString(text, cut[1])
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "alertmanager.yml")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	address := free(t)
	run(t, binary, "--config.file="+file, "--storage.path="+dir, "--cluster.listen-address=", "--web.listen-address="+address)
	answers(t, "http://"+address+"/-/ready")
	return "http://" + address
}

// run starts a real part, and ends it with the test.
func run(t *testing.T, binary string, args ...string) {
	t.Helper()
	var out bytes.Buffer
	cmd := exec.Command(binary, args...)
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
		if t.Failed() {
			t.Logf("%s", out.Bytes()[max(0, out.Len()-4000):])
		}
	})
}

func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func answers(t *testing.T, url string) {
	t.Helper()
	within(t, "no answer from "+url, func() bool {
		r, err := http.Get(url)
		if err != nil {
			return false
		}
		r.Body.Close()
		return r.StatusCode == http.StatusOK
	})
}

func within(t *testing.T, complaint string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(60 * time.Second); !ok(); time.Sleep(100 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal(complaint)
		}
	}
}

// alert is one as Prometheus sends it.
type alert struct {
	Labels   map[string]string `json:"labels"`
	StartsAt time.Time         `json:"startsAt"`
	EndsAt   time.Time         `json:"endsAt"`
}

func post(t *testing.T, url string, alerts ...alert) {
	t.Helper()
	body, err := json.Marshal(alerts)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.Post(url+"/api/v2/alerts", "application/json", bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		t.Fatal(r.Status)
	}
}

func firing(labels ...string) alert {
	a := alert{Labels: map[string]string{}, StartsAt: time.Now(), EndsAt: time.Now().Add(time.Hour)}
	for _, l := range labels {
		k, v, _ := strings.Cut(l, "=")
		a.Labels[k] = v
	}
	return a
}

func over(a alert) alert { a.EndsAt = time.Now().Add(-time.Millisecond); return a }

func high(site string) alert {
	return firing("alertname=FluewrightAlarmHigh", "severity=critical", "priority=high", "alarm=overheat", "channel=flue", "region=r0", "site="+site)
}

// An outage is one message, and the alarms of those who are still heard go through it.
func TestAThousandSilentSitesAreOneMessage(t *testing.T) {
	in := newInbox(t)
	url := alertmanager(t, in)
	post(t, url, firing("alertname=FluewrightFleetSilent", "severity=critical"))
	var all []alert
	for i := range 1000 {
		all = append(all, firing("alertname=FluewrightSilent", "severity=warning", fmt.Sprintf("region=r%d", i%10), fmt.Sprintf("site=site-%d", i)))
	}
	for i := range 10 {
		all = append(all, firing("alertname=FluewrightRegionSilent", "severity=warning", fmt.Sprintf("region=r%d", i)))
	}
	post(t, url, all...)
	post(t, url, high("mill"))
	within(t, "the alarm does not come through", func() bool { n, _ := in.about("pager", "FluewrightAlarmHigh"); return n == 1 })
	time.Sleep(6 * time.Second) // twice the wait of what must not come
	if n, _ := in.about("pager", "FluewrightFleetSilent"); n != 1 {
		t.Errorf("%d messages about the outage", n)
	}
	for _, muted := range []string{"FluewrightSilent", "FluewrightRegionSilent"} {
		if n, _ := in.about("queue", muted); n != 0 {
			t.Errorf("%d messages of %s beside it", n, muted)
		}
	}
}

func TestSilentSitesAreAMessageForEachRegion(t *testing.T) {
	in := newInbox(t)
	url := alertmanager(t, in)
	post(t, url, firing("alertname=FluewrightRegionSilent", "severity=warning", "region=r0"))
	var all []alert
	for i := range 60 {
		all = append(all, firing("alertname=FluewrightSilent", "severity=warning", fmt.Sprintf("region=r%d", i%3), fmt.Sprintf("site=site-%d", i)))
	}
	post(t, url, all...)
	within(t, "the silent sites of two regions do not come", func() bool { n, _ := in.about("queue", "FluewrightSilent"); return n == 2 })
	time.Sleep(4 * time.Second)
	if n, sites := in.about("queue", "FluewrightSilent"); n != 2 || sites != 40 {
		t.Errorf("%d messages with %d sites; want 2 with 40, and one about the third region", n, sites)
	}
	if n, _ := in.about("queue", "FluewrightRegionSilent"); n != 1 {
		t.Errorf("%d messages about the region", n)
	}
}

// An alarm that ended and comes again is told again, each by itself, and nobody is told that
// anything is over.
func TestAnAlarmThatComesAgainIsToldAgain(t *testing.T) {
	in := newInbox(t)
	url := alertmanager(t, in)
	first := high("mill")
	post(t, url, first, high("hill"))
	within(t, "two alarms are not two messages", func() bool { n, sites := in.about("pager", "FluewrightAlarmHigh"); return n == 2 && sites == 2 })
	post(t, url, over(first))
	time.Sleep(6 * time.Second) // three times the group's interval
	post(t, url, high("mill"))
	within(t, "it is not told again", func() bool { n, _ := in.about("pager", "FluewrightAlarmHigh"); return n == 3 })
	if in.resolved() {
		t.Error("somebody was told that it is resolved")
	}
}
