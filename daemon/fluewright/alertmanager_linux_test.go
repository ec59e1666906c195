package main_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// alert is one that an alertmanager shows or tells of.
type alert struct {
	Status   any // a word where it tells of one, more where it shows it
	Labels   map[string]string
	StartsAt time.Time
}

// desk is a real alertmanager and whoever it tells.
type desk struct {
	url  string
	mu   sync.Mutex
	told []string // "firing" and "resolved" of the overheated flue
}

// forgets is how long it waits before an alert of no stated end is over.
const forgets = time.Second

func startAlertmanager(t *testing.T, dir string) *desk {
	t.Helper()
	d := &desk{}
	hook := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var in struct{ Alerts []alert }
		if err := json.NewDecoder(r.Body).Decode(&in); err != nil {
			t.Error(err)
		}
		d.mu.Lock()
		defer d.mu.Unlock()
		for _, a := range in.Alerts {
			if tooHot(a) {
				d.told = append(d.told, fmt.Sprint(a.Status))
			}
		}
	}))
	t.Cleanup(hook.Close)
	config, address := filepath.Join(dir, "alertmanager.yml"), porttest.Free(t).String()
	writeFile(t, config, fmt.Sprintf(`
global: {resolve_timeout: %v}
route: {receiver: hook, group_wait: 100ms, group_interval: 1s, repeat_interval: 1h}
receivers: [{name: hook, webhook_configs: [{url: %q, send_resolved: true}]}]
`, forgets, hook.URL))
	start(t, "prometheus-alertmanager", "--config.file="+config, "--storage.path="+dir,
		"--web.listen-address="+address, "--cluster.listen-address=")
	d.url = "http://" + address
	for until := time.Now().Add(patience); ; <-time.After(100 * time.Millisecond) {
		if _, err := d.shows(); err == nil {
			return d
		} else if time.Now().After(until) {
			t.Fatal(err)
		}
	}
}

func tooHot(a alert) bool { return a.Labels["alarm"] == "overheat" && a.Labels["channel"] == "flue" }

// shows returns the alerts of the overheated flue that stand.
func (d *desk) shows() (all []alert, err error) {
	res, err := http.Get(d.url + "/api/v2/alerts")
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	var every []alert
	if err := json.NewDecoder(res.Body).Decode(&every); err != nil {
		return nil, err
	}
	for _, a := range every {
		if tooHot(a) {
			all = append(all, a)
		}
	}
	return all, nil
}

// one returns the one alert that it has to show.
func (d *desk) one(t *testing.T, when string) alert {
	t.Helper()
	all, err := d.shows()
	if err != nil || len(all) != 1 {
		t.Fatalf("%s it shows %v: %v", when, all, err)
	}
	return all[0]
}

// await waits until it has told somebody this, all in all.
func (d *desk) await(t *testing.T, want ...string) {
	t.Helper()
	for until := time.Now().Add(patience); ; <-time.After(50 * time.Millisecond) {
		d.mu.Lock()
		got := fmt.Sprint(d.told)
		d.mu.Unlock()
		if got == fmt.Sprint(want) {
			return
		}
		if time.Now().After(until) {
			t.Fatalf("it has told %s, want %v", got, want)
		}
	}
}

// A monitor that dies is no alarm that is over: a real alertmanager keeps it, tells nobody
// anything new, and ends it when the next run has seen its end.
func TestAnAlertOutlivesTheMonitor(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "prometheus-alertmanager", "unshare")
	t.Parallel()
	const offset, dead = 50, 8 * forgets
	dir := t.TempDir()
	desk := startAlertmanager(t, dir)
	bench := startBench(t, dir, "--dev-offset", strconv.Itoa(offset))
	file, state := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state")
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, file, fmt.Sprintf(`
[site]
name = "cellar"
[alarms.overheat]
clear-after = "2 s"
[mqtt]
embedded = "127.0.0.1:0"
[web]
listen = "127.0.0.1:0"
[notify.alertmanager]
url = %q
`, desk.url)+chipsAt(offset))
	// Nothing is pushed before the clock is known to be right, which a time service says with
	// a file: the program gets one in a /run of its own.
	const synchronised = `mount -t tmpfs tmpfs /run && mkdir -p /run/systemd/timesync && : >/run/systemd/timesync/synchronized && exec "$@"`
	program := build(t, ".")
	run := func() *process {
		return start(t, "unshare", "--mount", "sh", "-c", synchronised, "sh", program, "run", "--config", file, "--state", state)
	}
	kill := func(p *process) {
		p.signal(syscall.SIGKILL)
		_ = p.wait(ending)
	}
	bench.do("pin flue 500", "pin chamber 600", "pin draft 12")
	first := run()
	<-time.After(3 * time.Second)
	bench.do("pin flue 600")
	desk.await(t, "firing")
	begun := desk.one(t, "raised,").StartsAt

	kill(first)
	<-time.After(dead)
	desk.one(t, "with the monitor dead")

	second := run()
	<-time.After(5 * time.Second)
	if got := desk.one(t, "with the monitor back").StartsAt; !got.Equal(begun) {
		t.Errorf("the alert began at %v, and now at %v", begun, got)
	}

	// It ends while nobody looks.
	kill(second)
	bench.do("pin flue 300")
	<-time.After(dead)
	desk.one(t, "with nobody to tell of the end")
	desk.await(t, "firing")

	run()
	desk.await(t, "firing", "resolved")
	if all, err := desk.shows(); err != nil || len(all) > 0 {
		t.Errorf("after the end it shows %v: %v", all, err)
	}
}
