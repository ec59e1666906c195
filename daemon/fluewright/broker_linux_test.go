package main_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"fluewright/daemon/internal/memory"
	"fluewright/daemon/internal/mqtt/broker"
	"fluewright/daemon/internal/porttest"
)

const guardedConfig = `
[site]
name = "cellar"
[alarms.overheat]
hold = "1 s"
clear-after = "1 s"
[mqtt]
embedded = %q
[web]
listen = %q
[[broker.user]]
name = "owner"
role = "owner"
password-file = %q
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "/dev/spidev90.0"
thermocouple = "K"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "/dev/i2c-91"
`

// standingAlarm is what the broker says of an alarm.
type standingAlarm struct {
	State, Boot string
	Blind       bool
	retained    bool
}

// owner connects as soon as the broker listens, and hears what it says of the flue's overheat.
func owner(t *testing.T, address string) <-chan standingAlarm {
	t.Helper()
	heard := make(chan standingAlarm, 100)
	o := paho.NewClientOptions().AddBroker("tcp://" + address).SetUsername("owner").SetPassword("s3cret-of-owner").SetAutoReconnect(false)
	for deadline := time.Now().Add(patience); ; time.Sleep(time.Millisecond) {
		c := paho.NewClient(o)
		if token := c.Connect(); token.WaitTimeout(5*time.Second) && token.Error() == nil {
			t.Cleanup(func() { c.Disconnect(10) })
			token := c.Subscribe("fluewright/cellar/alarm/overheat/flue", 1, func(_ paho.Client, m paho.Message) {
				one := standingAlarm{retained: m.Retained()}
				_ = json.Unmarshal(m.Payload(), &one)
				heard <- one
			})
			if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
				t.Fatalf("not subscribed: %v", token.Error())
			}
			return heard
		}
		if time.Now().After(deadline) {
			t.Fatal("the broker does not come up")
		}
	}
}

// The built program, killed while an alarm stands: who subscribes to the broker within when it
// is back finds the alarm before the monitor has judged anything, and nobody says meanwhile
// that it is over, also where the analysis has lost its memory. Nobody comes in without a
// password.
func TestAKillTakesNoAlarmFromTheBrokerWithin(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "mosquitto_sub")
	t.Parallel()
	dir := t.TempDir()
	bench := startBench(t, dir, "--dev-offset", "90")
	file, state, address := filepath.Join(dir, "fluewright.toml"), filepath.Join(dir, "state"), porttest.Free(t).String()
	if err := os.Mkdir(state, 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "password"), "s3cret-of-owner\n")
	writeFile(t, file, fmt.Sprintf(guardedConfig, address, porttest.Free(t).String(), filepath.Join(dir, "password")))
	bench.do("pin flue 300", "pin draft 12")
	run := func() *process { return start(t, build(t, "."), "run", "--config", file, "--state", state) }
	next := func(heard <-chan standingAlarm) standingAlarm {
		t.Helper()
		select {
		case one := <-heard:
			return one
		case <-time.After(patience):
			t.Fatal("nothing is said of the alarm")
		}
		return standingAlarm{}
	}

	daemon := run()
	heard := owner(t, address)
	bench.do("pin flue 650")
	one := next(heard)
	for one.State != "raised" {
		one = next(heard)
	}
	for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if text, _ := os.ReadFile(filepath.Join(state, broker.FileName)); strings.Contains(string(text), "overheat/flue") {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the alarm is not kept")
		}
	}
	over := map[string]bool{} // runs that were killed
	for _, round := range []string{"with its memory", "without its memory"} {
		over[one.Boot] = true
		daemon.signal(syscall.SIGKILL)
		_ = daemon.wait(ending)
		if round == "without its memory" {
			if err := os.Remove(filepath.Join(state, memory.FileName)); err != nil {
				t.Fatal(err)
			}
		}
		daemon = run()
		heard = owner(t, address)
		one = next(heard)
		// With its memory the monitor may have said so itself by now.
		if one.State != "raised" || !one.retained || round == "without its memory" && !over[one.Boot] {
			t.Errorf("%s: the first that is said is %+v; killed were %v", round, one, over)
		}
		for over[one.Boot] {
			one = next(heard)
		}
		if one.State != "raised" {
			t.Errorf("%s: then it says %+v", round, one)
		}
	}
	bench.do("pin flue 300")
	for one.State == "raised" {
		one = next(heard)
	}
	if one.State != "cleared" {
		t.Errorf("in the end it is %s", one.State)
	}
	sub := start(t, "mosquitto_sub", at(address, "-t", "#", "-W", "5")...)
	if err := sub.wait(10 * time.Second); err == nil || err == errTooLong {
		t.Errorf("a stranger reads: %v", err)
	}
	out := output(t, "mosquitto_sub", at(address, "-u", "owner", "-P", "s3cret-of-owner", "-t", "fluewright/cellar/availability", "-C", "1", "-W", "5")...)
	if !strings.Contains(out, `"state":"online"`) {
		t.Errorf("the owner reads %q", out)
	}
	daemon.signal(syscall.SIGTERM)
	if err := daemon.wait(ending); err != nil {
		t.Errorf("%v\n%s", err, daemon.said())
	}
}
