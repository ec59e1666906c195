package main_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// A card that has failed is read-only from the next start on. The furnace is watched all the
// same, with what was kept before or without; the monitor says that it keeps nothing, and does
// not say it for ever.
func TestAStateThatIsReadOnly(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary")
	}
	needRealParts(t, "unshare", "mount")
	if os.Geteuid() != 0 {
		missing(t, "root, for a read-only mount")
	}
	t.Parallel()
	program := build(t, ".", "GOFLAGS=-tags=rehearsal")
	for _, name := range []string{"never written", "written before"} {
		t.Run(name, func(t *testing.T) {
			dir, page := t.TempDir(), porttest.Free(t).String()
			file, state := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state")
			writeFile(t, file, fmt.Sprintf(`
[site]
name = "cellar"
[mqtt]
embedded = "127.0.0.1:0"
[web]
listen = %q
read-without-sign-in = "this-computer"
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "bench-spi-0.0"
thermocouple = "K"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "bench-i2c-1"
`, page))
			if err := os.Mkdir(state, 0o700); err != nil {
				t.Fatal(err)
			}
			line := []string{program, "run", "--config", file, "--state", state}
			if name == "written before" {
				p := start(t, line[0], line[1:]...)
				awaitPage(t, page)
				p.signal(syscall.SIGTERM)
				if err := p.wait(patience); err != nil {
					t.Fatalf("%v\n%s", err, p.said())
				}
			}
			const readOnly = `mount --bind "$0" "$0" && mount -o remount,ro,bind "$0" && exec "$@"`
			line = append([]string{"unshare", "--mount", "sh", "-c", readOnly, state}, line...)
			p := start(t, line[0], line[1:]...)
			awaitPage(t, page)
			var said string
			var code int
			for until := time.Now().Add(patience); !strings.Contains(said, "storage      wrong"); time.Sleep(200 * time.Millisecond) {
				if time.Now().After(until) {
					t.Fatalf("health ends with %d and says\n%s", code, said)
				}
				health := exec.Command(program, "health", "--config", file)
				out, _ := health.Output()
				said, code = string(out), health.ProcessState.ExitCode()
			}
			if code != 3 || !strings.Contains(said, "sampling     ok") {
				t.Errorf("health ends with %d and says\n%s", code, said)
			}
			if out, err := exec.Command(line[0], line[1:]...).CombinedOutput(); err == nil || !strings.Contains(string(out), "another fluewright is at work here") {
				t.Errorf("a second one beside it: %v\n%s", err, out)
			}
			<-time.After(8 * time.Second) // a few times what is kept is due
			p.signal(syscall.SIGTERM)
			if err := p.wait(patience); err != nil {
				t.Errorf("%v\n%s", err, p.said())
			}
			all := map[string]int{}
			for entry := range strings.Lines(p.said()) {
				if _, message, ok := strings.Cut(entry, " msg="); ok {
					message, _, _ = strings.Cut(message, " error=")
					all[message]++
				}
			}
			for message, n := range all {
				if n > 2 { // once while it runs, and once at the end
					t.Errorf("%d times: %s", n, message)
				}
			}
		})
	}
}
