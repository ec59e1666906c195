package main_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// TestAStartThatFailsIsNotTriedEachSecond: the service manager starts the program again at
// once, for ever, so the program takes its time. A person is told at once.
func TestAStartThatFailsIsNotTriedEachSecond(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t)
	t.Parallel()
	dir := t.TempDir()
	file, ear := filepath.Join(dir, "fluewright.toml"), listen(t, dir)
	writeFile(t, file, "[site]\nname = 7\n")
	run := func(env ...string) (took time.Duration, said string) {
		begun := time.Now()
		p := start(t, "env", append(env, build(t, "."), "run", "--config", file, "--state", dir)...)
		if err := p.wait(30 * time.Second); err == nil || !strings.Contains(err.Error(), "exit status 2") {
			t.Errorf("it ends with %v", err)
		}
		return time.Since(begun), p.said()
	}
	build(t, ".") // outside the time
	if took, said := run("NOTIFY_SOCKET="); took > 8*time.Second || strings.Count(said, "site.name") != 1 {
		t.Errorf("by hand it takes %v and says\n%s", took, said)
	}
	if took, said := run("NOTIFY_SOCKET=" + ear.path); took < 10*time.Second || strings.Count(said, "site.name") != 1 {
		t.Errorf("as a service it takes %v and says\n%s", took, said)
	}
	ear.await(t, time.Second, "STATUS=Cannot start")

	p := start(t, "env", "NOTIFY_SOCKET="+ear.path, build(t, "."), "run", "--config", file, "--state", dir)
	ear.await(t, 10*time.Second, "STATUS=Cannot start")
	p.signal(syscall.SIGTERM)
	if err := p.wait(2 * time.Second); err == errTooLong {
		t.Error("it does not end when it is told to")
	}
}

// TestAnOutageIsNotALineEachTime: nothing that the program needs is there, neither buses nor
// network nor storage, and it says so once.
func TestAnOutageIsNotALineEachTime(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t)
	t.Parallel()
	dir := t.TempDir()
	file, state, secret := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state"), filepath.Join(dir, "secret")
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	// What is kept cannot be: there are directories in the places of files.
	for _, name := range []string{"memory.json", "notify.json", "history.db", "mqtt-outbox.json"} {
		if err := os.MkdirAll(filepath.Join(state, name, "in the way"), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	writeFile(t, secret, "furnace\n")
	nobody := porttest.Free(t).String()
	writeFile(t, file, fmt.Sprintf(`
[site]
name = "cellar"
[mqtt]
broker = "tcp://%[1]s"
[web]
listen = "%[2]s"
[[notify.transport]]
name = "phone"
kind = "push"
server = "http://%[1]s"
topic-file = "%[3]s"
[[notify.transport]]
name = "hook"
kind = "webhook"
url = "http://%[1]s/hook"
[[notify.person]]
name = "owner"
via = ["phone", "hook"]
[notify.heartbeat]
url = "http://%[1]s/beat"
every = "1 min"
[notify.alertmanager]
url = "http://%[1]s"
[[remote-write]]
name = "away"
url = "http://%[1]s/write"
`, nobody, porttest.Free(t).String(), secret)+chipsAt(900))
	p := start(t, build(t, "."), "run", "--config", file, "--state", state)
	const begins, lasts = 15 * time.Second, 75 * time.Second
	<-time.After(begins + lasts)
	p.signal(syscall.SIGTERM)
	if err := p.wait(10 * time.Second); err != nil {
		t.Fatalf("%v\n%s", err, p.said())
	}
	lines := strings.Split(strings.TrimSpace(p.said()), "\n")
	counts := map[string]int{}
	for _, l := range lines {
		if _, msg, ok := strings.Cut(l, "msg="); ok {
			l, _, _ = strings.Cut(msg, "=")
		}
		counts[l]++
	}
	t.Logf("%d lines in %v", len(lines), begins+lasts)
	// Four sensors, nine alarms at most, nine that are not there: once each, and twice for change.
	if len(lines) > 60 {
		t.Errorf("%d lines:\n%s", len(lines), p.said())
	}
	for what, n := range counts {
		if n > 12 {
			t.Errorf("said %d times in %v: %s", n, begins+lasts, what)
		}
	}
}
