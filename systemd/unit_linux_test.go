// Package systemd_test holds the unit against systemd's own judgement.
package systemd_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// unit is a copy of the unit whose program is there, as it is where the unit is installed.
func unit(t *testing.T) string {
	t.Helper()
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("the test itself runs in an emulator; it is for real machines")
	}
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		if os.Getenv("FLUEWRIGHT_REAL") == "1" {
			t.Fatal("systemd-analyze is missing")
		}
		t.Skip("systemd-analyze is missing")
	}
	text, err := os.ReadFile("fluewright.service")
	if err != nil {
		t.Fatal(err)
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	there := strings.Replace(string(text), "ExecStart=/usr/bin/fluewright ", "ExecStart="+program+" ", 1)
	if there == string(text) {
		t.Fatal("the unit does not start /usr/bin/fluewright")
	}
	path := filepath.Join(t.TempDir(), "fluewright.service")
	if err := os.WriteFile(path, []byte(there), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestNothingIsToBeSaidOfTheUnit(t *testing.T) {
	said, err := exec.Command("systemd-analyze", "verify", "--man=no", unit(t)).CombinedOutput()
	if err != nil || len(said) > 0 {
		t.Errorf("%v: %s", err, said)
	}
}

func TestTheUnitIsLittleExposed(t *testing.T) {
	said, err := exec.Command("systemd-analyze", "security", "--offline=true", "--threshold=15", "--no-pager", unit(t)).CombinedOutput()
	if err != nil {
		t.Errorf("%v: %s", err, said)
	}
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	t.Log(lines[len(lines)-1])
}
