package main_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/enrol"
	"fluewright/daemon/internal/enrol/fleettest"
	"fluewright/daemon/internal/porttest"
)

const enrolledConfig = `
[site]
name = "cellar-7"
[alarms.overheat]
hold = "1 s"
clear-after = "1 s"
[web]
listen = %q
read-without-sign-in = "this-computer"
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "/dev/spidev140.0"
thermocouple = "K"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "/dev/i2c-141"
`

// board is a monitor that is enrolled as the page says, with the built program.
type board struct {
	t                  *testing.T
	config, state, web string
	authority          *fleettest.Authority
}

// enrol runs fluewright enrol on the board.
func (b *board) enrol(args ...string) string {
	b.t.Helper()
	cmd := exec.Command(build(b.t, "."), append([]string{"enrol", "--config", b.config, "--state", b.state}, args...)...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		b.t.Fatalf("enrol %v: %v\n%s", args, err, &said)
	}
	if strings.Contains(string(out)+said.String(), "PRIVATE") {
		b.t.Errorf("enrol %v tells a key", args)
	}
	return string(out)
}

// serial is that of the certificate that the board holds.
func (b *board) serial() string {
	b.t.Helper()
	var held enrol.Held
	if err := json.Unmarshal([]byte(b.enrol("--check", "--json")), &held); err != nil {
		b.t.Fatal(err)
	}
	return held.Serial
}

// A monitor from the box to the desk, with the built program, the authority of the page and a
// broker that is not ours: enrolled, heard, asked, renewed while it runs, and in the end put
// out.
func TestAMonitorOfAFleet(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	needRealParts(t, "mosquitto", "openssl", "bash")
	t.Parallel()
	a := fleettest.NewAuthority(t)
	broker := fleettest.NewBroker(t, a)
	dir := t.TempDir()
	bench := startBench(t, dir, "--dev-offset", "140")
	bench.do("pin flue 300", "pin draft 12")
	b := &board{t: t, config: filepath.Join(dir, "fluewright.toml"), state: filepath.Join(dir, "state"), web: porttest.Free(t).String(), authority: a}
	if err := os.Mkdir(b.state, 0o700); err != nil {
		t.Fatal(err)
	}
	base := fmt.Sprintf(enrolledConfig, b.web)
	writeFile(t, b.config, base)

	root := a.Path("root/certificate.pem")
	lines := b.enrol("--certificate", a.Sign("cellar-7", b.enrol()), "--ca-file", root)
	writeFile(t, b.config, base+strings.Replace(lines, "ssl://broker.example:8883", fleettest.URL(broker.Sites), 1))
	if again := b.enrol("--certificate", a.Path("cellar-7.pem")); again != "" {
		t.Errorf("what the configuration says already is said again:\n%s", again)
	}
	first := b.serial()

	desk := a.Person("desk", "")
	technician := fleettest.Join(t, broker.People, a.TLS(desk), fleettest.Hello{})
	technician.Hear("fluewright/#")
	heard := func(topic, part string) func() bool {
		return func() bool {
			for _, h := range technician.All() {
				if strings.HasPrefix(h, topic+" ") && strings.Contains(h, part) {
					return true
				}
			}
			return false
		}
	}
	daemon := start(t, build(t, "."), "run", "--config", b.config, "--state", b.state)
	soon(t, "it is there", heard("fluewright/cellar-7/availability", `"state":"online"`))
	bench.do("pin flue 650")
	soon(t, "the alarm", heard("fluewright/cellar-7/alarm/overheat/flue", `"state":"raised"`))
	bench.do("pin flue 300")
	soon(t, "its end", heard("fluewright/cellar-7/alarm/overheat/flue", `"state":"cleared"`))

	t.Run("a technician asks for a trend", func(t *testing.T) {
		soon(t, "a history", func() bool {
			cmd := exec.Command(build(t, "."), "trend", "--broker", fleettest.URL(broker.People), "--site", "cellar-7",
				"--ca-file", root, "--cert-file", desk.Cert, "--key-file", desk.Key)
			cmd.Env = append(os.Environ(), "XDG_CACHE_HOME="+dir)
			out, err := cmd.Output()
			return err == nil && strings.HasPrefix(string(out), "time,") && strings.Count(string(out), "\n") > 2
		})
	})
	t.Run("it says how its certificate does", func(t *testing.T) {
		if text := get(t, "http://"+b.web+"/metrics"); !strings.Contains(text, "fluewright_mqtt_certificate_expiry_timestamp_seconds ") {
			t.Error("no metric")
		}
		out, _ := exec.Command(build(t, "."), "health", "--config", b.config).Output()
		if !strings.Contains(string(out), "certificate ") || !strings.Contains(string(out), "MQTT broker") {
			t.Errorf("health says\n%s", out)
		}
	})
	t.Run("renewed while it runs", func(t *testing.T) {
		request := b.enrol("--renew")
		if b.serial() != first {
			t.Error("it changes before the new one is there")
		}
		b.enrol("--certificate", a.Sign("cellar-7", request, "RENEW=yes"))
		second := b.serial()
		if second == first {
			t.Fatal("it is the old one")
		}
		// The old one is worth nothing from here on: only the new one brings it back.
		a.Do("revoke-serial", "SERIAL="+first)
		broker.Lists(a)
		broker.Stop()
		broker.Start()
		technician = fleettest.Join(t, broker.People, a.TLS(desk), fleettest.Hello{})
		technician.Hear("fluewright/#")
		bench.do("pin flue 640")
		soon(t, "it is back", heard("fluewright/cellar-7/alarm/overheat/flue", `"occurrence":2`))
	})
	t.Run("put out", func(t *testing.T) {
		a.Do("revoke", "SITE=cellar-7")
		broker.Lists(a)
		broker.Stop()
		broker.Start()
		technician = fleettest.Join(t, broker.People, a.TLS(desk), fleettest.Hello{})
		technician.Hear("fluewright/+/event")
		soon(t, "it is refused", func() bool { return strings.Contains(broker.Log(), "certificate verify failed") })
		if all := technician.All(); len(all) > 0 || strings.Contains(broker.Log(), "as cellar-7") {
			t.Errorf("it is heard: %q", all)
		}
		bench.do("pin flue 300")
		soon(t, "it watches on", func() bool {
			return strings.Contains(get(t, "http://"+b.web+"/metrics"), `fluewright_alarm_active{alarm="overheat",channel="flue",priority="high"} 0`)
		})
	})
	daemon.signal(syscall.SIGTERM)
	if err := daemon.wait(5 * time.Second); err != nil {
		t.Errorf("%v\n%s", err, daemon.said())
	}
	if said := daemon.said(); strings.Contains(said, "PRIVATE") {
		t.Error("the log holds a key")
	}
}

// soon waits until something holds.
func soon(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(90 * time.Second); !holds(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("not yet: %s", what)
		}
	}
}
