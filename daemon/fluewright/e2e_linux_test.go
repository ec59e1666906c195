package main_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// within is how long an alarm may take from the reading to somebody else's subscriber, beyond
// its hold time.
const within = 3 * time.Second

// patience is how long is waited for what takes a moment, and much longer on a busy machine.
const patience = time.Minute

// The whole way with nothing of ours replaced: virtual chips behind the kernel's ioctls,
// the built program, a broker and a subscriber that are not ours.
func TestFromDeviceFileToSubscriber(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "mosquitto", "mosquitto_sub", "promtool")
	dir := t.TempDir()
	broker := startMosquitto(t, dir)
	bench := startBench(t, dir)
	config, record := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "night.csv.gz")
	page := porttest.Free(t).String()
	writeFile(t, config, fmt.Sprintf(`
[site]
name = "cellar"
units = "si"
[alarms.spillage]
hold = "1 s" # the test has no time to wait for gusts
[alarms.sensor-lost]
hold = "3 s"
clear-after = "3 s"
[mqtt]
broker = "tcp://%s"
[web]
listen = "%s"
`, broker, page))

	bench.do("pin flue 60", "pin chamber 60", "pin draft 12")
	seen := subscribe(t, broker, "fluewright/cellar/#")
	daemon := start(t, build(t, "."), "run", "--config", config, "--record", record)
	seen.await(t, patience, "fluewright/cellar/availability", `"state":"online"`)
	seen.await(t, patience, "fluewright/cellar/state", `"flue"`)

	t.Run("overheat", func(t *testing.T) {
		bench.do("pin flue 300", "pin chamber 600")
		seen.await(t, patience, "fluewright/cellar/event", `"to":"clean-burn"`)
		since := time.Now()
		bench.do("pin flue 620")
		seen.await(t, within, "fluewright/cellar/alarm/overheat/flue", `"state":"raised"`)
		t.Logf("the alarm was out %v after the flue passed its limit", time.Since(since).Round(time.Millisecond))
		retained := output(t, "mosquitto_sub", at(broker, "-C", "1", "-W", "3", "-t", "fluewright/cellar/alarm/overheat/flue")...)
		if !strings.Contains(retained, `"state":"raised"`) {
			t.Errorf("not retained: %q", retained)
		}
		bench.do("pin flue 300")
	})
	t.Run("reversed draft", func(t *testing.T) {
		since := time.Now()
		bench.do("pin draft -5")
		seen.await(t, within+time.Second, "fluewright/cellar/alarm/spillage", `"state":"raised"`)
		t.Logf("the alarm was out %v after the draft had turned", time.Since(since).Round(time.Millisecond))
		bench.do("pin draft 12")
	})
	t.Run("an open thermocouple is said with its name and gives no number", func(t *testing.T) {
		bench.do("fault chamber open")
		m := seen.await(t, 20*time.Second, "fluewright/cellar/alarm/sensor-lost/chamber", `"state":"raised"`)
		if !strings.Contains(m, "thermocouple open") {
			t.Errorf("message %s", m)
		}
		bench.do("clear chamber")
		seen.await(t, 30*time.Second, "fluewright/cellar/alarm/sensor-lost/chamber", `"state":"cleared"`)
	})
	t.Run("metrics", func(t *testing.T) {
		exposition := get(t, "http://"+page+"/metrics")
		lint := exec.Command("promtool", "check", "metrics")
		lint.Stdin = strings.NewReader(exposition)
		if said, err := lint.CombinedOutput(); err != nil || len(said) > 0 {
			t.Errorf("promtool: %v\n%s", err, said)
		}
		// The chip's noise falls on either side of what is pinned.
		if !regexp.MustCompile(`fluewright_temperature_celsius\{channel="flue"\} (299\.|300)`).MatchString(exposition) {
			t.Errorf("no flue near 300 °C in\n%s", exposition)
		}
	})
	t.Run("a frozen sensor side is a lost sensor and no stale number", func(t *testing.T) {
		bench.signal(syscall.SIGSTOP)
		seen.await(t, 30*time.Second, "fluewright/cellar/alarm/sensor-lost/flue", `"state":"raised"`)
		seen.await(t, 5*time.Second, "fluewright/cellar/alarm/sensor-lost/draft", `"state":"raised"`)
		if exposition := get(t, "http://"+page+"/metrics"); strings.Contains(exposition, `fluewright_temperature_celsius{channel="flue"}`) ||
			!strings.Contains(exposition, `fluewright_channel_quality{channel="flue",quality="stale"} 1`) {
			t.Error("the flue still has a number, or is not called stale")
		}
		bench.signal(syscall.SIGCONT)
		seen.await(t, 40*time.Second, "fluewright/cellar/alarm/sensor-lost/flue", `"state":"cleared"`)
	})
	t.Run("it ends cleanly within a second", func(t *testing.T) {
		since := time.Now()
		daemon.signal(syscall.SIGINT)
		if err := daemon.wait(ending); err != nil {
			t.Errorf("%v\n%s", err, daemon.said())
		}
		if took := time.Since(since); took > time.Second {
			t.Errorf("it took %v to end", took)
		}
		seen.await(t, 2*time.Second, "fluewright/cellar/availability", `"state":"offline"`)
	})
	t.Run("the replay of what was recorded says the same", func(t *testing.T) {
		live := alarmsOf(t, seen.of("fluewright/cellar/event"))
		replayed := alarmsOf(t, strings.Split(strings.TrimSpace(output(t, build(t, "."), "replay", "--config", config, record)), "\n"))
		if len(live) < 8 || !slices.Equal(live, replayed) {
			t.Errorf("live     %q\nreplayed %q", live, replayed)
		}
	})
}

// alarmsOf picks the changes of alarms out of JSON objects: replay's lines, or events
// that carry them as their data.
func alarmsOf(t *testing.T, lines []string) (all []string) {
	t.Helper()
	type change struct{ Alarm, Channel, State, Type string }
	for _, line := range lines {
		var event struct {
			change
			Data *change
		}
		if err := json.Unmarshal([]byte(line), &event); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		c := event.change
		if event.Data != nil {
			c = *event.Data
		}
		if c.Alarm != "" {
			all = append(all, strings.TrimSuffix(c.Alarm+"/"+c.Channel, "/")+" "+c.State)
		}
	}
	return all
}

// startMosquitto runs a broker on a free port of loopback and returns its address.
func startMosquitto(t *testing.T, dir string) string {
	t.Helper()
	address := porttest.Free(t).String()
	config := filepath.Join(dir, "mosquitto.conf")
	writeFile(t, config, "listener "+strings.Split(address, ":")[1]+" 127.0.0.1\nallow_anonymous true\n")
	start(t, "mosquitto", "-c", config)
	reachable(t, address)
	return address
}

// reachable waits until somebody listens.
func reachable(t *testing.T, address string) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); ; {
		c, err := net.Dial("tcp", address)
		if err == nil {
			_ = c.Close()
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("the broker does not come up: %v", err)
		}
		<-time.After(50 * time.Millisecond)
	}
}

// subscription is what mosquitto_sub prints.
type subscription struct {
	lines chan string
	seen  []string
}

func subscribe(t *testing.T, broker, topic string) *subscription {
	t.Helper()
	const ready = "subscriber/is/there" // retained: it comes once the subscription stands
	output(t, "mosquitto_pub", at(broker, "-r", "-t", ready, "-m", "yes")...)
	p := start(t, "mosquitto_sub", at(broker, "-v", "-t", topic, "-t", ready)...)
	s := &subscription{lines: make(chan string, 10000)}
	go func() {
		known := map[string]bool{} // by the id of an event: what comes again is the same
		for scanner := bufio.NewScanner(p.out); scanner.Scan(); {
			_, payload, _ := strings.Cut(scanner.Text(), " ")
			var event struct{ SpecVersion, ID string }
			if json.Unmarshal([]byte(payload), &event) == nil && event.SpecVersion != "" {
				if known[event.ID] {
					continue
				}
				known[event.ID] = true
			}
			s.lines <- scanner.Text()
		}
		close(s.lines)
	}()
	s.await(t, ending, ready, "yes")
	return s
}

// await returns the first message from now on of a topic that has the text in it.
func (s *subscription) await(t *testing.T, limit time.Duration, topic, text string) string {
	t.Helper()
	timeout := time.After(limit)
	for {
		select {
		case line, ok := <-s.lines:
			if !ok {
				t.Fatal("the subscriber has ended")
			}
			s.seen = append(s.seen, line)
			if payload, found := strings.CutPrefix(line, topic+" "); found && strings.Contains(payload, text) {
				return payload
			}
		case <-timeout:
			t.Fatalf("no %s with %s within %v; seen:\n%s", topic, text, limit, strings.Join(s.seen, "\n"))
		}
	}
}

// of returns the messages seen so far of a topic.
func (s *subscription) of(topic string) (payloads []string) {
	for _, line := range s.seen {
		if payload, found := strings.CutPrefix(line, topic+" "); found {
			payloads = append(payloads, payload)
		}
	}
	return payloads
}

func get(t *testing.T, url string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

// bench is the virtual furnace in a process of its own, so that it can be frozen.
type bench struct {
	t *testing.T
	*process
	in  io.Writer
	out *bufio.Scanner
}

// boardDevices is held by the one bench that shows its device files under a board's names;
// benches with an offset stand beside it.
var boardDevices sync.Mutex

// offsets says which test has which: two that shared one would meet now and then.
var offsets sync.Map

// startBench links its device files into /dev; further arguments are benchd's.
func startBench(t *testing.T, dir string, args ...string) *bench {
	t.Helper()
	if i := slices.Index(args, "--dev-offset"); i < 0 {
		boardDevices.Lock()
		t.Cleanup(boardDevices.Unlock)
	} else {
		name, _, _ := strings.Cut(t.Name(), "/")
		if owner, _ := offsets.LoadOrStore(args[i+1], name); owner != name {
			t.Fatalf("the offset %s is that of %s", args[i+1], owner)
		}
	}
	if os.Geteuid() != 0 {
		missing(t, "root, to show device files")
	}
	if _, err := os.Stat("/dev/fuse"); err != nil {
		missing(t, "/dev/fuse")
	}
	mount := filepath.Join(dir, "dev")
	if err := os.Mkdir(mount, 0o755); err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, process: start(t, build(t, "../../sensors/bench/benchd"), append([]string{"--dir", mount, "--dev"}, args...)...)}
	b.in, b.out = b.process.in, bufio.NewScanner(b.process.out)
	if !b.out.Scan() || b.out.Text() != "ready" {
		t.Fatalf("the bench is not ready: %q\n%s", b.out.Text(), b.said())
	}
	return b
}

// do gives control lines to the bench.
func (b *bench) do(lines ...string) {
	b.t.Helper()
	for _, l := range lines {
		if _, err := fmt.Fprintln(b.in, l); err != nil {
			b.t.Fatal(err)
		}
		if !b.out.Scan() || b.out.Text() != "ok" {
			b.t.Fatalf("bench: %s: %s", l, b.out.Text())
		}
	}
}
