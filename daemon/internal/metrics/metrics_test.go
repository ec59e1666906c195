package metrics

import (
	"bytes"
	"errors"
	"flag"
	"io"
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/remotewrite"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/status/statustest"
	"fluewright/sensors"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func options() Options {
	return Options{
		Site: "cellar-7", Version: "v0.1.0", Configuration: "[site]\n", Feed: status.NewFeed(), Fitted: statustest.Fitted,
		Alarms:     statustest.Starting().Assessment.Alarms,
		StaleAfter: 5 * time.Second,
		RemoteWrite: func() []remotewrite.Stats {
			return []remotewrite.Stats{{
				Destination: "desk", Requests: map[string]uint64{"taken": 11, "failed": 3}, Sent: 900, Dropped: map[string]uint64{"too-old": 4},
				Pending: 12, Oldest: time.UnixMilli(1768681000000), LastTaken: time.UnixMilli(1768681100000),
			}}
		},
		MQTT: func() mqtt.Stats {
			return mqtt.Stats{
				Connected: true, Connects: 2, Published: 941, Failed: 3, Dropped: 1, Pending: 4, CertificateEnds: time.Date(2028, 1, 17, 0, 0, 0, 0, time.UTC),
				Outbox: &mqtt.Outbox{Events: 2, Rows: 21600, Oldest: time.UnixMilli(1768659599000), TooOld: 5, NoTime: 6},
			}
		},
		Broker: func() broker.Stats {
			return broker.Stats{Clients: 3, Retained: 17, RetainedBytes: 11_264, Refused: map[string]uint64{"password": 2, "flood": 0}, SaveErrors: 1}
		},
		Commands: func() map[string]uint64 { return map[string]uint64{"accepted": 12, "flooded": 0, "malformed": 3} },
		History: func() history.Health {
			return history.Health{
				State: history.Full, Err: errors.New("no space"), Bytes: 81_920_000, UsedBytes: 80_000_000,
				LastCommit: time.UnixMilli(1768681199250), Commits: 120, Failures: 5, Pending: 61, PendingEvents: 2, Dropped: 7, Lost: 1, Trimmed: 9, Unreadable: 3,
			}
		},
		Notify: func() notify.Stats {
			return notify.Stats{
				Attempts:     map[string][notify.Refused + 1]uint64{"owner-mail": {0, 0, 1}, "owner-phone": {17, 4, 0}},
				Delivered:    map[string]time.Time{"owner-phone": time.UnixMilli(1768681190500)},
				Pending:      1,
				Acknowledged: 3, Unaccepted: 2,
			}
		},
		Heartbeat: func() [notify.Refused + 1]uint64 { return [notify.Refused + 1]uint64{288, 2, 0} },
		Loop:      func() Loop { return Loop{Late: 2, Missed: 1, Lateness: 3 * time.Millisecond} },
	}
}

// moments are the ticks that the expositions are made from.
func moments() map[string]*status.Status {
	alarming := statustest.Burning()
	statustest.Change(alarming, alarm.Overheat, frame.Flue, alarm.Raised, 705, 700)
	statustest.Lose(alarming, frame.Draft, sensors.NoAnswer)
	return map[string]*status.Status{
		"before the first tick": nil,
		"first tick":            statustest.Starting(),
		"burning":               statustest.Burning(),
		"alarming":              alarming,
	}
}

// exposition returns what a scrape of the program's own metrics gives.
func exposition(t *testing.T, o Options) string {
	t.Helper()
	own := prometheus.NewRegistry()
	own.MustRegister(&collector{o})
	rec := httptest.NewRecorder()
	(&Metrics{own}).Handler().ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
	if rec.Code != 200 {
		t.Fatalf("scrape: %d %s", rec.Code, rec.Body)
	}
	return rec.Body.String()
}

var toolchain = regexp.MustCompile(`goarch="[^"]*",goversion="[^"]*"`)

func TestExposition(t *testing.T) {
	for name, s := range moments() {
		t.Run(name, func(t *testing.T) {
			o := options()
			if s != nil {
				o.Feed.Publish(s)
			}
			got := toolchain.ReplaceAllString(exposition(t, o), `goarch="",goversion=""`)
			golden := "testdata/" + strings.ReplaceAll(name, " ", "-") + ".prom"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Errorf("exposition (-want +got):\n%s", diff)
			}
		})
	}
}

// TestALoopThatStandsStill: what was read last must not be served as the present.
func TestALoopThatStandsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := options()
		o.Feed.Publish(statustest.Burning())
		time.Sleep(5 * time.Second)
		if got := exposition(t, o); !strings.Contains(got, `fluewright_temperature_celsius{channel="flue"} 236.37`) {
			t.Error("after 5 s there is no flue temperature")
		}
		time.Sleep(time.Second)
		got := exposition(t, o)
		for _, gone := range []string{"fluewright_temperature_celsius{", "\nfluewright_draft_pascals ", "\nfluewright_draft_average_pascals ", "\nfluewright_ambient_pressure_pascals ", "alarm_judged{alarm=\"spillage\",channel=\"\"} 1"} {
			if strings.Contains(got, gone) {
				t.Errorf("after 6 s there is still %s", gone)
			}
		}
		for _, there := range []string{
			`fluewright_channel_quality{channel="flue",quality="stale"} 1`,
			`fluewright_alarm_active{alarm="spillage",channel="",priority="high"} 0`,
			`fluewright_alarm_judged{alarm="spillage",channel=""} 0`,
			`fluewright_phase{phase="unknown"} 1`,
		} {
			if !strings.Contains(got, there) {
				t.Errorf("after 6 s there is no %s", there)
			}
		}
	})
}

func TestNothingToLint(t *testing.T) {
	for name, s := range moments() {
		o := options()
		if s != nil {
			o.Feed.Publish(s)
		}
		problems, err := testutil.GatherAndLint(New(o).registry)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range problems {
			t.Errorf("%s: %s: %s", name, p.Metric, p.Text)
		}
	}
}

// TestPromtool asks the real tool, about everything that is served.
func TestPromtool(t *testing.T) {
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal("promtool is not installed")
		}
		t.Skip("promtool is not installed")
	}
	for name, s := range moments() {
		o := options()
		if s != nil {
			o.Feed.Publish(s)
		}
		rec := httptest.NewRecorder()
		New(o).Handler().ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
		cmd := exec.Command(promtool, "check", "metrics")
		cmd.Stdin = bytes.NewReader(rec.Body.Bytes())
		if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("%s: promtool: %v\n%s", name, err, out)
		}
	}
}

// TestNames holds each name against the endings that are agreed on; promtool and the
// linter of the library let _pa, _percent and _hectopascals pass.
func TestNames(t *testing.T) {
	endings := []string{
		"_celsius", "_pascals", "_seconds", "_total", "_info", "_bytes",
		// Pure states, 0 or 1, and plain counts.
		"_quality", "_up", "_active", "_alarms", "_judged", "_phase", "_state", "_synchronized", "_connected", "_pending", "_messages",
	}
	help := make(map[string]string)
	for name, s := range moments() {
		o := options()
		if s != nil {
			o.Feed.Publish(s)
		}
		own := prometheus.NewRegistry()
		own.MustRegister(&collector{o})
		families, err := own.Gather()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range families {
			listed := false
			for _, e := range endings {
				listed = listed || strings.HasSuffix(f.GetName(), e)
			}
			if !listed || !strings.HasPrefix(f.GetName(), "fluewright_") {
				t.Errorf("%s: the name %s ends in no listed unit", name, f.GetName())
			}
			if before, ok := help[f.GetName()]; ok && before != f.GetHelp() || !strings.HasSuffix(f.GetHelp(), ".") {
				t.Errorf("%s: HELP of %s is %q, and was %q", name, f.GetName(), f.GetHelp(), before)
			}
			help[f.GetName()] = f.GetHelp()
		}
	}
	if len(help) != len(declared) {
		t.Errorf("%d names are declared and %d were seen", len(declared), len(help))
	}
}

func TestOpenMetrics(t *testing.T) {
	o := options()
	o.Feed.Publish(statustest.Burning())
	req := httptest.NewRequest("GET", "/metrics", nil)
	req.Header.Set("Accept", "application/openmetrics-text; version=1.0.0")
	rec := httptest.NewRecorder()
	New(o).Handler().ServeHTTP(rec, req)
	body, err := io.ReadAll(rec.Body)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasSuffix(string(body), "# EOF\n") {
		t.Error("the answer is not in the OpenMetrics format")
	}
}
