package supply

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// board makes a /sys with two hwmon devices.
func board(t *testing.T, second string) (root, alarm string) {
	t.Helper()
	root = t.TempDir()
	for i, name := range []string{"cpu_thermal", second} {
		dir := filepath.Join(root, "sys/class/hwmon/hwmon"+string(rune('0'+i)))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, "name"), name+"\n")
		alarm = filepath.Join(dir, "in0_lcrit_alarm")
	}
	return root, alarm
}

func write(t *testing.T, file, text string) {
	t.Helper()
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestDips(t *testing.T) {
	root, alarm := board(t, "rpi_volt")
	m, err := Find(root)
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range []string{"0\n", "1\n", "1\n", "0\n", "1\n"} {
		write(t, alarm, text)
		if low, err := m.Look(); err != nil || low != (text == "1\n") {
			t.Errorf("look %d: low %v, %v", i, low, err)
		}
	}
	if m.Dips() != 2 {
		t.Errorf("%d dips, want 2", m.Dips())
	}
	write(t, alarm, "perhaps")
	if _, err := m.Look(); err == nil {
		t.Error("a word was taken for a number")
	}
	if err := os.Remove(alarm); err != nil {
		t.Fatal(err)
	}
	if _, err := m.Look(); !errors.Is(err, ErrNone) {
		t.Errorf("error %v", err)
	}
}

func TestABoardThatCannotTell(t *testing.T) {
	root, _ := board(t, "other")
	for _, root := range []string{root, t.TempDir()} {
		if _, err := Find(root); !errors.Is(err, ErrNone) {
			t.Errorf("error %v", err)
		}
	}
}

func TestWords(t *testing.T) {
	f := Fault()
	if !strings.Contains(f.Error(), "supply voltage dipped") || !strings.Contains(f.Hint(), "power supply") {
		t.Errorf("%v; %s", f, f.Hint())
	}
}
