package bus

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"fluewright/sensors"
)

// other is another program on the same computer: what it has open, this one cannot know.
func other(s *system) *system { return &system{root: s.root, open: s.open, newSPI: s.newSPI} }

func TestTwoProgramsNeverShareABus(t *testing.T) {
	daemon := board(t, "/dev/i2c-1", "/dev/spidev0.0", "/dev/spidev0.1")
	probe := other(daemon)
	b, err := daemon.openI2C("/dev/i2c-1")
	if err != nil {
		t.Fatal(err)
	}
	p, err := daemon.openSPI("/dev/spidev0.0")
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // a refusal leaves nothing behind
		if _, err := probe.openI2C("/dev/i2c-1"); sensors.CodeOf(err) != sensors.BusInUse {
			t.Errorf("I2C: %v, want %s", err, sensors.BusInUse)
		}
		if _, err := probe.openSPI("/dev/spidev0.0"); sensors.CodeOf(err) != sensors.BusInUse {
			t.Errorf("SPI: %v, want %s", err, sensors.BusInUse)
		}
	}
	free, err := probe.openSPI("/dev/spidev0.1")
	if err != nil {
		t.Fatalf("the other chip select: %v", err)
	}
	if err := errors.Join(free.Close(), b.Close(), p.Close()); err != nil {
		t.Fatal(err)
	}
	b, err = probe.openI2C("/dev/i2c-1")
	if err != nil {
		t.Fatalf("I2C after close: %v", err)
	}
	p, err = probe.openSPI("/dev/spidev0.0")
	if err != nil {
		t.Fatalf("SPI after close: %v", err)
	}
	if err := errors.Join(b.Close(), p.Close()); err != nil {
		t.Fatal(err)
	}
}

func TestWhoHasTheBus(t *testing.T) {
	daemon := board(t, "/dev/i2c-1")
	b, err := daemon.openI2C("/dev/i2c-1")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	// A lock's line as proc(5) describes it, with the numbers of this file.
	var st unix.Stat_t
	if err := unix.Stat(filepath.Join(daemon.root, "/dev/i2c-1"), &st); err != nil {
		t.Fatal(err)
	}
	dev := uint64(st.Dev)
	write := func(path, text string) {
		t.Helper()
		path = filepath.Join(daemon.root, path)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(text), 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	at := fmt.Sprintf("%02x:%02x:%d", unix.Major(dev), unix.Minor(dev), st.Ino)
	write("/proc/locks", "1: POSIX  ADVISORY  WRITE 7 "+at+" 0 EOF\n2: FLOCK  ADVISORY  WRITE 8 00:01:1 0 EOF\n"+
		"3: FLOCK  ADVISORY  WRITE 812 "+at+" 0 EOF\n3: -> FLOCK  ADVISORY  WRITE 9 "+at+" 0 EOF\n")
	write("/proc/812/comm", "fluewright\n")
	_, err = other(daemon).openI2C("/dev/i2c-1")
	var f *sensors.Fault
	if !errors.As(err, &f) || f.Detail != "process 812, fluewright" {
		t.Errorf("%v, want process 812, fluewright", err)
	}
}

// The kernel's own list has this process in it, unless a sandbox shows none.
func TestKernelNamesTheHolder(t *testing.T) {
	daemon := board(t, "/dev/i2c-1")
	b, err := daemon.openI2C("/dev/i2c-1")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	probe := other(daemon)
	fd, err := probe.open(probe.root + "/dev/i2c-1")
	if err != nil {
		t.Fatal(err)
	}
	defer closeDevice(fd)
	s := &system{} // with the real /proc
	if got, want := s.holder(fd), fmt.Sprintf("process %d, ", os.Getpid()); got != "" && !strings.HasPrefix(got, want) {
		t.Errorf("held by %q, want %q…", got, want)
	}
}
