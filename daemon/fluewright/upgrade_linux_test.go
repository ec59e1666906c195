package main_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/mqtt"
	"fluewright/daemon/internal/porttest"
)

// stoodAlarm is what the interface says of an alarm.
type stoodAlarm struct {
	Alarm, Channel, State string
	Occurrence            int
	Acknowledged          bool
	Since                 time.Time
}

func (a stoodAlarm) String() string {
	return fmt.Sprintf("%s/%s %s %d", a.Alarm, a.Channel, a.State, a.Occurrence)
}

// standingNow asks for what stands.
func standingNow(t *testing.T, page string) (names []string, since []time.Time) {
	t.Helper()
	var answer struct{ Standing []stoodAlarm }
	if err := json.Unmarshal([]byte(get(t, "http://"+page+"/api/v1/alarms")), &answer); err != nil {
		t.Fatal(err)
	}
	slices.SortFunc(answer.Standing, func(a, b stoodAlarm) int { return strings.Compare(a.Alarm, b.Alarm) })
	for _, a := range answer.Standing {
		if a.Alarm == "overheat" || a.Alarm == "spillage" {
			names, since = append(names, a.String()), append(since, a.Since)
		}
	}
	return names, since
}

// Updates while alarms stand, with built programs: one of the same format, one of a newer,
// the way back, and the newer again. At each moment at which a new process calls itself
// ready it shows what stood, with the occurrence, whether it was acknowledged, and since
// when. The one on the way back does not touch what the newer has left, watches, and says so.
func TestUpdatesWhileAlarmsStand(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "mosquitto")
	t.Parallel()
	const offset = 30
	dir := t.TempDir()
	broker, page := startMosquitto(t, dir), porttest.Free(t).String()
	bench := startBench(t, dir, "--dev-offset", strconv.Itoa(offset))
	file, state := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state")
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, file, fmt.Sprintf(`
[site]
name = "cellar"
[alarms.spillage]
hold = "1 s"
[alarms.monitor-impaired]
hold = "1 s"
[mqtt]
broker = "tcp://%s"
[web]
listen = "%s"
`, broker, page)+chipsAt(offset))
	own := build(t, ".")
	sameFormat := buildAs(t, "v9.1.0", 1)
	newer := buildAs(t, "v9.2.0", 2)

	var daemon *process
	begin := func(program string) {
		t.Helper()
		ear := listen(t, t.TempDir())
		daemon = start(t, "env", "NOTIFY_SOCKET="+ear.path, program, "run", "--config", file, "--state", state)
		ear.await(t, patience, "READY=1")
	}
	end := func() string {
		t.Helper()
		daemon.signal(syscall.SIGTERM)
		if err := daemon.wait(patience); err != nil {
			t.Fatalf("%v\n%s", err, daemon.said())
		}
		return daemon.said()
	}

	bench.do("pin flue 300", "pin chamber 600", "pin draft 12")
	begin(own)
	wait(t, 60*time.Second, "a fire", func() bool { return strings.Contains(get(t, "http://"+page+"/api/v1/state"), `"clean-burn"`) })
	bench.do("pin flue 620")
	wait(t, 20*time.Second, "an overheat", func() bool { n, _ := standingNow(t, page); return len(n) > 0 })
	caller, err := mqtt.Dial(t.Context(), mqtt.CallOptions{Site: "cellar", Broker: "tcp://" + broker, ClientID: "telephone"})
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now().UTC()
	err = caller.Send(t.Context(), "acknowledge", fmt.Appendf(nil, `{"version": 1, "id": "the-only-one", "client": "telephone", "issued_at": %q, "expires_at": %q, "by": "Maria",
		"acknowledge": {"alarm": "overheat", "channel": "flue", "occurrence": 1}}`, now.Format(time.RFC3339), now.Add(time.Minute).Format(time.RFC3339)))
	if err != nil {
		t.Fatal(err)
	}
	for timeout, reply := time.After(patience), (mqtt.Heard{}); !strings.HasPrefix(reply.Topic, "reply/"); {
		select {
		case reply = <-caller.Heard():
			if strings.HasPrefix(reply.Topic, "reply/") && !strings.Contains(string(reply.Payload), `"done"`) {
				t.Fatalf("an acknowledgement: %s", reply.Payload)
			}
		case <-timeout:
			t.Fatal("no answer to an acknowledgement")
		}
	}
	bench.do("pin draft -5")
	want := []string{"overheat/flue acknowledged 1", "spillage/ raised 1"}
	wait(t, 20*time.Second, fmt.Sprint(want), func() bool { n, _ := standingNow(t, page); return slices.Equal(n, want) })
	caller.Close()
	_, since := standingNow(t, page)
	end()

	stand := func(program, what string, younger time.Duration) {
		t.Helper()
		begin(program)
		names, moments := standingNow(t, page)
		if !slices.Equal(names, want) {
			t.Fatalf("%s: ready, and what stands is %q", what, names)
		}
		for i := range since {
			// Between clocks of which nobody knows whether they are right the time away counts as none.
			if off := moments[i].Sub(since[i]); off < -2*time.Second || off > younger {
				t.Errorf("%s: %s stands since %v, and that was %v", what, names[i], moments[i], since[i])
			}
		}
	}
	health := func(program string, args ...string) (code int, said string) {
		cmd := exec.Command(program, append([]string{"health", "--config", file}, args...)...)
		out, err := cmd.CombinedOutput()
		if _, left := errors.AsType[*exec.ExitError](err); err != nil && !left {
			t.Fatal(err)
		}
		return cmd.ProcessState.ExitCode(), string(out)
	}

	stand(sameFormat, "a newer version", 20*time.Second)
	end()
	stand(own, "the former version", 30*time.Second)
	end()
	stand(newer, "a newer format", 40*time.Second)
	if code, said := health(newer, "--wait", "90s"); code != 0 {
		t.Errorf("after 90 s health has the exit code %d:\n%s", code, said)
	}
	end()
	left := filesIn(t, state)
	if string(left["format"]) != "2\nv9.2.0\n" || len(left["format-1/memory.json"]) == 0 {
		t.Errorf("the newer program leaves %q", slices.Sorted(maps.Keys(left)))
	}

	// It goes on with the copies: the time of the newer program is away too.
	stand(own, "back to the former format", 3*time.Minute)
	if code, said := health(own, "--json"); code != 4 || !strings.Contains(said, `"code":"state-newer"`) {
		t.Errorf("with files of a newer program health has the exit code %d:\n%s", code, said)
	}
	wait(t, 20*time.Second, "monitor-impaired", func() bool {
		return strings.Contains(get(t, "http://"+page+"/api/v1/alarms"), "written by a newer version of the program")
	})
	bench.do("pin draft 12")
	wait(t, 90*time.Second, "the draft is back", func() bool { n, _ := standingNow(t, page); return slices.Equal(n, want[:1]) })
	if said := end(); !strings.Contains(said, "is of a newer program and is left as it is") || !strings.Contains(said, "v9.2.0") {
		t.Errorf("it says\n%s", said)
	}
	after := filesIn(t, state)
	for name, text := range left {
		if !strings.HasPrefix(name, "format-1/") && string(after[name]) != string(text) {
			t.Errorf("%s was touched by the former program", name)
		}
	}
	for name := range after {
		if _, there := left[name]; !there && !strings.HasPrefix(name, "format-1/") {
			t.Errorf("the former program has made %s", name)
		}
	}
	if len(after["format-1/history.db"]) == 0 {
		t.Error("the former program has kept no history apart")
	}

	bench.do("pin draft -5")
	want[1] = "spillage/ raised 1"
	stand(newer, "the newer format again", 5*time.Minute)
	end()
}

// buildAs builds the program as another version, of a format.
func buildAs(t *testing.T, version string, format int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "fluewright")
	cmd := exec.Command("go", "build", "-trimpath", "-ldflags", fmt.Sprintf(
		"-s -w -X main.version=%s -X fluewright/daemon/internal/statedir.number=%d", version, format), "-o", path, ".")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("build %s: %v\n%s", version, err, said)
	}
	return path
}

// filesIn returns what is in a directory and below it.
func filesIn(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(dir, path)
		if err == nil {
			all[name], err = os.ReadFile(path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// wait waits until something is so.
func wait(t *testing.T, limit time.Duration, what string, so func() bool) {
	t.Helper()
	for deadline := time.Now().Add(limit); !so(); <-time.After(100 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("not within %v: %s", limit, what)
		}
	}
}
