package main_test

import (
	"encoding/json"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// The built program lists what a real broker keeps, the worst first, with a user who may only
// read.
func TestSites(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "mosquitto", "mosquitto_pub", "mosquitto_passwd")
	t.Parallel()
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	for _, user := range [][]string{{"-c", "desk"}, {"", "reader"}, {"", "nobody"}} {
		args := []string{"-b", file("users"), user[1], "s3cret"}
		if user[0] != "" {
			args = append([]string{user[0]}, args...)
		}
		output(t, "mosquitto_passwd", args...)
	}
	writeFile(t, file("secret"), "s3cret\n")
	writeFile(t, file("acl"), "user desk\ntopic readwrite #\nuser reader\ntopic read fluewright/#\nuser nobody\ntopic read elsewhere/#\n")
	address := porttest.Free(t).String()
	writeFile(t, file("conf"), fmt.Sprintf("listener %s 127.0.0.1\nuser root\npassword_file %s\nacl_file %s\n", address[strings.LastIndex(address, ":")+1:], file("users"), file("acl")))
	start(t, "mosquitto", "-c", file("conf"))
	reachable(t, address)
	keep := func(topic, body string) {
		t.Helper()
		output(t, "mosquitto_pub", at(address, "-u", "desk", "-P", "s3cret", "-r", "-t", "fluewright/"+topic, "-m", body)...)
	}
	stamp := func(ago time.Duration) string { return time.Now().Add(-ago).UTC().Format(time.RFC3339) }
	site := func(name, state, level string, ago time.Duration) {
		keep(name+"/availability", fmt.Sprintf(`{"version":1,"state":%q,"boot":"b1","since":%q,"software":"1.2.0"}`, state, stamp(time.Hour)))
		keep(name+"/state", fmt.Sprintf(`{"version":1,"time":%q,"clock_trusted":true,"boot":"b1","at":9,"verdict":{"level":%q,"headline":"","action":""},"phase":"coals","alarms":[]}`, stamp(ago), level))
	}
	site("barn", "online", "well", 5*time.Second)
	site("attic", "lost", "well", time.Minute)
	site("cellar", "online", "alarm", 5*time.Second)
	keep("cellar/alarm/overheat/flue", fmt.Sprintf(`{"version":1,"boot":"b1","at":10,"alarm":"overheat","channel":"flue","state":"raised","priority":"high","acknowledged":false,"since":%q,"message":"The flue is too hot."}`, stamp(2*time.Minute)))
	program := build(t, "fluewright/daemon/fluewright")
	ask := func(user string, args ...string) (out, talk string) {
		t.Helper()
		cmd := exec.Command(program, append([]string{"sites", "--broker", "tcp://" + address, "--user", user, "--password-file", file("secret")}, args...)...)
		var said strings.Builder
		cmd.Stderr = &said
		b, err := cmd.Output()
		if err != nil {
			t.Fatalf("%v\n%s", err, said.String())
		}
		return string(b), said.String()
	}
	out, talk := ask("reader")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != 4 {
		t.Fatalf("%s", out)
	}
	for i, want := range [][]string{
		{"SITE", "HOW IT IS", "ALARMS", "LAST WORD", "RUNS SINCE", "CLOCK", "VERSION"},
		{"cellar", "alarm", "overheat flue (high, not taken, 2 min)", "set", "1.2.0"},
		{"attic", "lost", "?"},
		{"barn", "no alarm", "none"},
	} {
		for _, w := range want {
			if !strings.Contains(lines[i], w) {
				t.Errorf("line %d has no %q: %s", i, w, lines[i])
			}
		}
	}
	if !strings.Contains(talk, "3 sites: 1 with an alarm, 1 gone, 0 not known to be well, 1 well.") {
		t.Errorf("%s", talk)
	}
	var list struct {
		Complete bool
		Sites    []struct {
			Site, Level string
			Alarms      []struct{ Message string }
		}
	}
	out, _ = ask("reader", "--json", "cellar", "barn")
	if err := json.Unmarshal([]byte(out), &list); err != nil {
		t.Fatal(err)
	}
	if s := list.Sites; !list.Complete || len(s) != 2 || s[0].Level != "hazard" || s[1].Level != "well" || s[0].Alarms[0].Message != "The flue is too hot." {
		t.Errorf("%s", out)
	}
	// Who may not read is told nothing, and that is not that all is well.
	if out, talk = ask("nobody"); strings.Contains(out, "no alarm") || !strings.Contains(talk, "or this user may not read it") {
		t.Errorf("%s%s", out, talk)
	}
	// A monitor that speaks while somebody listens.
	go func() {
		time.Sleep(500 * time.Millisecond)
		_ = exec.Command("mosquitto_pub", at(address, "-u", "desk", "-P", "s3cret", "-t", "fluewright/barn/availability", "-m", `{"state":"lost","boot":"b1"}`)...).Run()
	}()
	if out, _ = ask("reader", "--for", "6s", "barn"); !strings.Contains(out, "lost") {
		t.Errorf("%s", out)
	}
}
