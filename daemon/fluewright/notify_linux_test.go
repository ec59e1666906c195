package main_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/notify/notifytest"
	"fluewright/daemon/internal/porttest"
)

// From a bad frame in a device file to the owner's telephone, with the built program killed
// at each step of the delivery: everything arrives, in order, and what arrives twice has the
// same name.
func TestAKillKeepsNobodyFromBeingTold(t *testing.T) {
	if testing.Short() {
		t.Skip("it burns for more than a minute")
	}
	needRealParts(t)
	t.Parallel()
	dir := t.TempDir()
	bench := startBench(t, dir)
	server := notifytest.Start(t)
	file, state, topic := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state"), filepath.Join(dir, "topic")
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, topic, "owner")
	writeFile(t, file, fmt.Sprintf(`
[site]
name = "cellar"
[alarms.overheat]
hold = "1 s"
clear-after = "1 s"
[mqtt]
embedded = %q
[web]
listen = %q
[[notify.transport]]
name = "phone"
kind = "push"
server = %q
topic-file = %q
[[notify.person]]
name = "owner"
priorities = ["high"]
via = ["phone"]
`, porttest.Free(t).String(), porttest.Free(t).String(), server.URL, topic))
	// about is the next message of the flue, or of its end. On a busy machine the one before
	// may come once more until then: the run that was ended had not learned that it was taken.
	before := ""
	about := func(what string) notifytest.Published {
		t.Helper()
		limit := time.After(patience)
		for {
			select {
			case in := <-server.Arrived:
				t.Logf("%s: %s", in.Sequence, in.Title)
				if in.Sequence == before {
					continue
				}
				if strings.HasPrefix(in.Title, what) && strings.Contains(in.Title, "flue: too hot") {
					return in
				}
				t.Errorf("%q comes where %s is due", in.Title, what)
			case <-limit:
				t.Fatalf("%s does not come", what)
			}
		}
	}
	bench.do("pin flue 300", "pin chamber 600", "pin draft 12")
	for round, how := range []string{"before it is answered", "at once", "a little later"} {
		no := fmt.Sprint(round + 1)
		for _, turn := range []struct{ pin, word, name string }{
			{"pin flue 650", "ALARM", "cellar-overheat-flue-" + no + "-raised-0-owner-phone"},
			{"pin flue 300", "Over", "cellar-overheat-flue-" + no + "-over-1-owner-phone"},
		} {
			server.Mute(how == "before it is answered")
			daemon := start(t, build(t, "."), "run", "--config", file, "--state", state)
			<-time.After(2 * time.Second) // it has begun, or begins with the alarm
			bench.do(turn.pin)
			began := time.Now()
			if got := about(turn.word); got.Sequence != turn.name {
				t.Errorf("killed %s: %s has the name %q, want %q", how, turn.word, got.Sequence, turn.name)
			} else {
				t.Logf("%v after the pin", got.At.Sub(began))
			}
			if how == "a little later" {
				<-time.After(500 * time.Millisecond)
			}
			before = turn.name
			daemon.signal(syscall.SIGKILL)
			_ = daemon.wait(ending)
			server.Mute(false)

			// The next run tells it again if it cannot know that it was told, under its name.
			daemon = start(t, build(t, "."), "run", "--config", file, "--state", state)
			again := time.After(5 * time.Second)
			for waiting := true; waiting; {
				select {
				case in := <-server.Arrived:
					if in.Sequence != turn.name {
						t.Errorf("killed %s: then %q comes: %s", how, in.Sequence, in.Title)
					}
					if how == "a little later" {
						t.Errorf("killed %s: %q comes again", how, in.Sequence)
					}
					waiting = false
				case <-again:
					if how == "before it is answered" {
						t.Errorf("killed %s: %q is not told by the next run", how, turn.word)
					}
					waiting = false
				}
			}
			<-time.After(500 * time.Millisecond) // it learns that it was taken
			daemon.signal(syscall.SIGTERM)
			_ = daemon.wait(ending)
		}
	}
}
