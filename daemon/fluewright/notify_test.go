package main_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/notify"
	"fluewright/daemon/internal/notify/notifytest"
)

// The built program tries the owner's transports, and says what came of each.
func TestNotifyTest(t *testing.T) {
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("it builds for this machine")
	}
	server := notifytest.Start(t)
	hook := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusForbidden) }))
	defer hook.Close()
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	config := file("fluewright.toml", fmt.Sprintf(`
[site]
name = "cellar"
time-zone = "Asia/Kathmandu"
[[notify.transport]]
name = "phone"
kind = "push"
server = %q
topic-file = %q
acknowledge-topic-file = %q
[[notify.transport]]
name = "hook"
kind = "webhook"
url = %q
[[notify.person]]
name = "owner"
via = ["phone"]
[[notify.person]]
name = "neighbour"
via = ["hook"]
`, server.URL, file("topic", "owner"), file("answers", "answers"), hook.URL+"/secret"))
	program := build(t, ".")
	run := func(args ...string) (code int, out string) {
		cmd := exec.CommandContext(t.Context(), program, append([]string{"notify", "--test", "--config", config}, args...)...)
		var text bytes.Buffer
		cmd.Stdout, cmd.Stderr = &text, &text
		err := cmd.Run()
		var exit *exec.ExitError
		if err != nil && !errors.As(err, &exit) {
			t.Fatal(err)
		}
		return cmd.ProcessState.ExitCode(), text.String()
	}
	pressed := make(chan error, 1)
	go func() {
		in := <-server.Arrived
		there := time.Now().In(time.FixedZone("Nepal", 5*3600+45*60))
		if !strings.HasPrefix(in.Message, there.Format("15:04")) && !strings.HasPrefix(in.Message, there.Add(-time.Minute).Format("15:04")) {
			t.Errorf("where it is %s the message says %q", there.Format("15:04"), in.Message)
		}
		pressed <- in.Press()
	}()
	code, out := run("--person", "owner", "--wait", "30s")
	if err := <-pressed; err != nil {
		t.Fatal(err)
	}
	if code != 0 || !strings.Contains(out, "owner by phone: acknowledged after") {
		t.Errorf("with a person who answers: exit code %d\n%s", code, out)
	}
	code, out = run("--person", "owner", "--wait", "1s")
	if code != 3 || !strings.Contains(out, "owner by phone: FAILED, nobody pressed") {
		t.Errorf("with nobody who answers: exit code %d\n%s", code, out)
	}
	code, out = run("--person", "neighbour")
	if code != 3 || !strings.Contains(out, "neighbour by hook: FAILED, the receiver answers 403 Forbidden") || strings.Contains(out, "secret") {
		t.Errorf("refused: exit code %d\n%s", code, out)
	}
	code, out = run("--person", "neighbour", "--json")
	var tried []notify.Tried
	if err := json.Unmarshal([]byte(out), &tried); err != nil || code != 3 || len(tried) != 1 || tried[0].Sent {
		t.Errorf("as JSON: %v, exit code %d\n%s", err, code, out)
	}
	code, out = run("--person", "somebody")
	if code != 1 || !strings.Contains(out, "the configuration has owner, neighbour") {
		t.Errorf("somebody else: exit code %d\n%s", code, out)
	}
}
