package bus

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"fluewright/sensors"
)

func TestAdapters(t *testing.T) {
	s := board(t, "/dev/i2c-1", "/dev/i2c-13", "/dev/i2c-x", "/dev/spidev0.0", "/sys/class/i2c-dev/x", "/sys/class/spidev/x",
		"/sys/bus/i2c/devices/i2c-13/name", "/sys/bus/i2c/devices/i2c-20/name", "/sys/bus/spi/devices/spi0.1/modalias")
	write := func(path, text string) {
		t.Helper()
		path = filepath.Join(s.root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	link := func(path, to string) {
		t.Helper()
		path = filepath.Join(s.root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(to, path); err != nil {
			t.Fatal(err)
		}
	}
	write("/sys/class/i2c-dev/i2c-1/name", "bcm2835 (i2c@7e804000)\n")
	write("/sys/bus/i2c/devices/1-0068/name", "ds3231\n")
	write("/sys/bus/i2c/devices/1-0076/name", "bme280\n") // declared, with no driver behind it
	link("/sys/bus/i2c/devices/1-0068/driver", "../../drivers/rtc-ds1307")
	link("/dev/i2c/by-path/platform-fe804000.i2c", "../../i2c-1")
	link("/dev/flue-spi", "spidev0.0")

	got := s.adapters()
	want := []Adapter{
		{
			Device: "/dev/i2c-1", Name: "bcm2835 (i2c@7e804000)",
			Links: []string{"/dev/i2c/by-path/platform-fe804000.i2c"}, Bound: map[uint16]string{0x68: "rtc-ds1307"},
		},
		{Device: "/dev/i2c-13"},
		{Device: "/dev/i2c-20"},
		{Device: "/dev/spidev0.0", SPI: true, Links: []string{"/dev/flue-spi"}},
		{Device: "/dev/spidev0.1", SPI: true},
	}
	if diff := cmp.Diff(want, got, cmpopts.IgnoreFields(Adapter{}, "Fault"), cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("adapters (-want +got):\n%s", diff)
	}
	for _, a := range got {
		missing := a.Device == "/dev/i2c-20" || a.Device == "/dev/spidev0.1"
		if (a.Fault != nil) != missing {
			t.Errorf("%s: fault %v", a.Device, a.Fault)
		}
		if missing && !strings.Contains(a.Fault.Hint(), "another driver holds it") {
			t.Errorf("%s: %s", a.Device, a.Fault.Hint())
		}
	}
}

// A board on which nothing was enabled: one entry a kind, with what is missing.
func TestNoAdapters(t *testing.T) {
	s := board(t)
	for _, a := range s.adapters() {
		if a.Fault == nil || a.Fault.Code != sensors.DeviceMissing || !strings.Contains(a.Fault.Hint(), "dtparam") {
			t.Errorf("%s: %v", a.Device, a.Fault)
		}
	}
}
