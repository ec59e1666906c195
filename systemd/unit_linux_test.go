// Package systemd_test holds the unit against systemd's own judgement.
package systemd_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
)

// installed is a copy of the units whose program is there, as it is where they are
// installed, and of their drop-ins.
func installed(t *testing.T, dropIns ...string) (service, socket string) {
	t.Helper()
	need(t, "systemd-analyze")
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	text := read(t, "fluewright.service")
	there := strings.Replace(text, "ExecStart=/usr/bin/fluewright ", "ExecStart="+program+" ", 1)
	if there == text {
		t.Fatal("the unit does not start /usr/bin/fluewright")
	}
	dir := t.TempDir()
	service, socket = filepath.Join(dir, "fluewright.service"), filepath.Join(dir, "fluewright.socket")
	write(t, service, there)
	write(t, socket, read(t, "fluewright.socket"))
	for _, d := range dropIns {
		write(t, filepath.Join(service+".d", filepath.Base(d)), read(t, d))
	}
	return service, socket
}

// need skips a test whose program is not there, and fails it where it has to be.
func need(t *testing.T, program string) {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("the test itself runs in an emulator; it is for real machines")
	}
	if _, err := exec.LookPath(program); err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal(program + " is missing")
		}
		t.Skip(program + " is missing")
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

const credentials = "package/credentials.conf"

func TestNothingIsToBeSaidOfTheUnits(t *testing.T) {
	service, socket := installed(t, credentials)
	said, err := exec.Command("systemd-analyze", "verify", "--man=no", service, socket).CombinedOutput()
	if err != nil || len(said) > 0 {
		t.Errorf("%v: %s", err, said)
	}
	// The drop-in was looked at: a wrong one is told.
	write(t, filepath.Join(service+".d", "wrong.conf"), "[Service]\nLoadCredential=../no:/such\n")
	said, _ = exec.Command("systemd-analyze", "verify", "--man=no", service, socket).CombinedOutput()
	if !strings.Contains(string(said), "wrong.conf") {
		t.Errorf("of a wrong drop-in it says %q", said)
	}
}

// A secret is found where the reference configuration says that it is.
func TestSecretsAreWhereTheConfigurationLooks(t *testing.T) {
	reference := read(t, "../configs/fluewright.toml")
	for _, secret := range settings(read(t, credentials))["[Service]LoadCredential"] {
		name, _, _ := strings.Cut(secret, ":")
		if !strings.Contains(reference, `"/run/credentials/fluewright.service/`+name+`"`) {
			t.Errorf("the reference configuration knows no %s", name)
		}
	}
}

func TestTheUnitIsLittleExposed(t *testing.T) {
	service, _ := installed(t)
	said, err := exec.Command("systemd-analyze", "security", "--offline=true", "--threshold=15", "--no-pager", service).CombinedOutput()
	if err != nil {
		t.Errorf("%v: %s", err, said)
	}
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	t.Log(lines[len(lines)-1])
}

// settings returns what a unit says, by section and key.
func settings(text string) map[string][]string {
	all := map[string][]string{}
	section := ""
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			section = line
		} else if key, value, ok := strings.Cut(line, "="); ok && !strings.HasPrefix(line, "#") {
			all[section+key] = append(all[section+key], strings.Fields(value)...)
		}
	}
	return all
}

// A service that is started again for ever, whatever it dies of: one that the service
// manager gives up leaves a furnace that nobody watches.
func TestTheServiceManagerNeverGivesUp(t *testing.T) {
	says := settings(read(t, "fluewright.service"))
	for key, want := range map[string]string{
		"[Unit]StartLimitIntervalSec": "0", "[Service]Restart": "always", "[Service]Type": "notify", "[Service]WatchdogSec": "30s",
		"[Service]StateDirectory": "fluewright", "[Install]WantedBy": "multi-user.target",
	} {
		if got := strings.Join(says[key], " "); got != want {
			t.Errorf("%s is %q, want %q", key, got, want)
		}
	}
	for key, values := range says {
		for _, v := range values {
			if strings.HasPrefix(v, "network") || strings.HasPrefix(v, "time-") {
				t.Errorf("%s waits for %s, and a furnace does not", key, v)
			}
		}
	}
	if got := settings(read(t, "fluewright.socket")); strings.Join(got["[Socket]TriggerLimitIntervalSec"], "") != "0" {
		t.Error("whoever calls often shuts the socket")
	}
}

// Which devices a unit may open is resolved when it starts: the modules must be there, the
// groups too, and spidev's group of devices is called spi (Linux, drivers/spi/spidev.c).
func TestTheDevicesCanBeOpened(t *testing.T) {
	says := settings(read(t, "fluewright.service"))
	modules, users, rules := read(t, "fluewright.modules.conf"), read(t, "fluewright.sysusers.conf"), read(t, "fluewright.rules")
	for _, d := range []struct{ allowed, module, group string }{{"char-i2c", "i2c-dev", "i2c"}, {"char-spi", "spidev", "spi"}} {
		if !slices.Contains(says["[Service]DeviceAllow"], d.allowed) {
			t.Errorf("%s is not allowed: %q", d.allowed, says["[Service]DeviceAllow"])
		}
		loader := "modprobe@" + strings.ReplaceAll(d.module, "-", "_") + ".service"
		if !slices.Contains(says["[Unit]Wants"], loader) || !slices.Contains(says["[Unit]After"], loader) {
			t.Errorf("the unit does not wait for %s", loader)
		}
		if !strings.Contains(modules, d.module+"\n") {
			t.Errorf("%s is not loaded at the start", d.module)
		}
		if !slices.Contains(says["[Service]SupplementaryGroups"], d.group) || !strings.Contains(users, "g "+d.group+" -\n") ||
			!strings.Contains(users, "m fluewright "+d.group+"\n") || !strings.Contains(rules, `GROUP="`+d.group+`"`) {
			t.Errorf("the group %s is missing somewhere", d.group)
		}
	}
}

// Users and directories come to be on a system that has neither.
func TestUsersAndDirectories(t *testing.T) {
	need(t, "systemd-sysusers")
	need(t, "systemd-tmpfiles")
	if os.Geteuid() != 0 {
		t.Skip("directories are given to others by root alone")
	}
	root := t.TempDir()
	write(t, filepath.Join(root, "etc/fluewright/fluewright.toml"), "")
	for _, c := range []string{"sysusers", "tmpfiles"} {
		write(t, filepath.Join(root, "usr/lib", c+".d/fluewright.conf"), read(t, "fluewright."+c+".conf"))
	}
	for range 2 { // at each update again
		for _, c := range [][]string{{"systemd-sysusers", "--root=" + root}, {"systemd-tmpfiles", "--root=" + root, "--create"}} {
			if said, err := exec.Command(c[0], append(c[1:], "fluewright.conf")...).CombinedOutput(); err != nil {
				t.Fatalf("%v: %v: %s", c, err, said)
			}
		}
	}
	users, groups := read(t, filepath.Join(root, "etc/passwd")), read(t, filepath.Join(root, "etc/group"))
	if !strings.Contains(users, "\nfluewright:") && !strings.HasPrefix(users, "fluewright:") {
		t.Errorf("there is no user: %s", users)
	}
	for path, mode := range map[string]os.FileMode{
		"var/lib/fluewright": os.ModeDir | 0o700, "etc/fluewright": os.ModeDir | 0o750, "etc/fluewright/fluewright.toml": 0o640,
	} {
		info, err := os.Stat(filepath.Join(root, path))
		if err != nil {
			t.Error(err)
			continue
		}
		owner := info.Sys().(*syscall.Stat_t)
		group := fmt.Sprintf(":%d:", owner.Gid)
		if info.Mode() != mode || !strings.Contains(groups, "fluewright:x"+group) && !strings.Contains(groups, "fluewright:!*"+group) {
			t.Errorf("%s is %v and of the group %d, of\n%s", path, info.Mode(), owner.Gid, groups)
		}
		if (owner.Uid != 0) != (path == "var/lib/fluewright") {
			t.Errorf("%s belongs to %d", path, owner.Uid)
		}
	}
}
