package main_test

import (
	"errors"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// ear is the socket of a service manager, with what came in.
type ear struct {
	path  string
	heard chan string
}

func listen(t *testing.T, dir string) *ear {
	t.Helper()
	e := &ear{filepath.Join(dir, "notify"), make(chan string, 1000)}
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: e.path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	go func() {
		for buffer := make([]byte, 4096); ; {
			n, err := c.Read(buffer)
			if err != nil {
				return
			}
			e.heard <- string(buffer[:n])
		}
	}()
	return e
}

// await returns what comes first that begins so.
func (e *ear) await(t *testing.T, limit time.Duration, begins string) string {
	t.Helper()
	timeout := time.After(limit)
	var heard []string
	for {
		select {
		case m := <-e.heard:
			heard = append(heard, m)
			if strings.HasPrefix(m, begins) {
				return m
			}
		case <-timeout:
			t.Fatalf("no %q within %v; heard %q", begins, limit, heard)
		}
	}
}

// during returns what comes for a while.
func (e *ear) during(d time.Duration) (heard []string) {
	for timeout := time.After(d); ; {
		select {
		case m := <-e.heard:
			heard = append(heard, m)
		case <-timeout:
			return heard
		}
	}
}

func fed(heard []string) (n int) {
	for _, m := range heard {
		if m == "WATCHDOG=1" {
			n++
		}
	}
	return n
}

// The built program and a service manager's socket: it says when it is ready, how things
// are, and that it ends; and the watchdog starves when the loop stands still, and only then.
func TestAServiceManagerHearsTheProgram(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t)
	t.Parallel()
	const offset = 40
	dir := t.TempDir()
	bench := startBench(t, dir, "--dev-offset", strconv.Itoa(offset))
	bench.do("pin flue 60", "pin chamber 60", "pin draft 12")
	file, state := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state")
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, file, `
[site]
name = "cellar"
[alarms.sensor-lost]
hold = "1 s"
clear-after = "1 s"
[mqtt]
embedded = "127.0.0.1:0"
[web]
listen = "`+porttest.Free(t).String()+`"
`+chipsAt(offset))
	ear := listen(t, dir)
	program := build(t, ".")
	begun := time.Now()
	daemon := start(t, "env", "NOTIFY_SOCKET="+ear.path, "WATCHDOG_USEC=2000000",
		program, "run", "--config", file, "--state", state)
	ear.await(t, patience, "READY=1")
	t.Logf("ready after %v", time.Since(begun).Round(time.Millisecond))
	ear.await(t, 5*time.Second, "STATUS=")
	health := func() (code int, said string) {
		cmd := exec.Command(program, "health", "--config", file)
		out, err := cmd.CombinedOutput()
		if _, left := errors.AsType[*exec.ExitError](err); err != nil && !left {
			t.Fatal(err)
		}
		return cmd.ProcessState.ExitCode(), string(out)
	}
	// Some judges need half a minute before they say anything.
	for until := time.Now().Add(60 * time.Second); ; <-time.After(time.Second) {
		code, said := health()
		if code == 0 {
			t.Logf("healthy after %v:\n%s", time.Since(begun).Round(time.Second), said)
			break
		}
		if code != 3 || time.Now().After(until) {
			t.Fatalf("health has the exit code %d:\n%s", code, said)
		}
	}

	// The bus of a bench that stands still hangs in the kernel. That is told, and no restart
	// would mend it.
	bench.signal(syscall.SIGSTOP)
	ear.await(t, 20*time.Second, "STATUS=Blind")
	if n := fed(ear.during(6 * time.Second)); n < 4 {
		t.Errorf("with a hung bus that is alarmed, fed %d times in 6 s, want each second at least", n)
	}
	if code, said := health(); code != 3 || !strings.Contains(said, "no reading of chamber, flue, room, draft, ambient") {
		t.Errorf("with a hung bus health has the exit code %d:\n%s", code, said)
	}
	bench.signal(syscall.SIGCONT)

	daemon.signal(syscall.SIGSTOP)
	ear.during(500 * time.Millisecond)
	if heard := ear.during(3 * time.Second); len(heard) > 0 {
		t.Errorf("stopped, it says %q", heard)
	}
	daemon.signal(syscall.SIGCONT)
	ear.await(t, 3*time.Second, "WATCHDOG=1")

	daemon.signal(syscall.SIGTERM)
	ear.await(t, 3*time.Second, "STOPPING=1")
	if err := daemon.wait(ending); err != nil {
		t.Errorf("%v\n%s", err, daemon.said())
	}
	if code, said := health(); code != 1 {
		t.Errorf("with nobody there health has the exit code %d:\n%s", code, said)
	}
}
