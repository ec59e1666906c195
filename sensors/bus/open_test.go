package bus

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
	"periph.io/x/conn/v3/spi/spitest"

	"fluewright/sensors"
)

// board is a computer with the given files and nothing else.
func board(t *testing.T, files ...string) *system {
	t.Helper()
	root := t.TempDir()
	for _, f := range files {
		path := filepath.Join(root, f)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return &system{root: root, open: openDevice, newSPI: func(int, int) (spi.PortCloser, error) {
		return &spitest.Playback{}, nil
	}}
}

func TestWhatIsMissing(t *testing.T) {
	denied := func(s *system) *system {
		s.open = func(string) (int, error) { return -1, syscall.EACCES }
		return s
	}
	for _, tc := range []struct {
		name   string
		system *system
		device string
		code   sensors.Code
		advice []string // each must be in it
		absent []string // and none of these
	}{
		{
			"I2C not enabled, module not loaded", board(t), "/dev/i2c-1", sensors.DeviceMissing,
			[]string{"dtparam=i2c_arm=on", "modprobe i2c-dev"},
			[]string{"There is"},
		},
		{
			"I2C not enabled, module loaded, others there",
			board(t, "/sys/class/i2c-dev/x", "/dev/i2c-13", "/dev/i2c-20"), "/dev/i2c-1", sensors.DeviceMissing,
			[]string{"dtparam=i2c_arm=on", "There is /dev/i2c-13, /dev/i2c-20."},
			[]string{"modprobe"},
		},
		{
			"I2C enabled, module not loaded", board(t, "/sys/bus/i2c/devices/i2c-1/name"), "/dev/i2c-1", sensors.DeviceMissing,
			[]string{"modprobe i2c-dev", "/etc/modules-load.d"},
			[]string{"dtparam"},
		},
		{
			"SPI not enabled", board(t), "/dev/spidev0.0", sensors.DeviceMissing,
			[]string{"dtparam=spi=on", "modprobe spidev"},
			[]string{"i2c"},
		},
		{
			"SPI chip select bound to another driver",
			board(t, "/sys/bus/spi/devices/spi0.0/modalias", "/sys/class/spidev/x"), "/dev/spidev0.0", sensors.DeviceMissing,
			[]string{"another driver holds it"},
			[]string{"dtparam", "modprobe"},
		},
		{
			"I2C not permitted, file of root's group", denied(board(t, "/dev/i2c-1")), "/dev/i2c-1", sensors.NotPermitted,
			[]string{"group i2c", "SupplementaryGroups=i2c"},
			[]string{"dtparam"},
		},
		{
			"SPI not permitted", denied(board(t, "/dev/spidev0.1")), "/dev/spidev0.1", sensors.NotPermitted,
			[]string{"group spi", "SupplementaryGroups=spi"},
			nil,
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var err error
			if strings.Contains(tc.device, "spi") {
				_, err = tc.system.openSPI(tc.device)
			} else {
				_, err = tc.system.openI2C(tc.device)
			}
			var f *sensors.Fault
			if !errors.As(err, &f) {
				t.Fatalf("open: %v, want a fault", err)
			}
			if f.Code != tc.code || f.Device != tc.device {
				t.Errorf("%s of %s, want %s of %s", f.Code, f.Device, tc.code, tc.device)
			}
			var errno syscall.Errno
			if !errors.As(err, &errno) {
				t.Errorf("%v has lost its errno", err)
			}
			for _, s := range tc.advice {
				if !strings.Contains(f.Hint(), s) {
					t.Errorf("advice %q does not say %q", f.Hint(), s)
				}
			}
			for _, s := range tc.absent {
				if strings.Contains(f.Hint(), s) {
					t.Errorf("advice %q says %q", f.Hint(), s)
				}
			}
		})
	}
}

func TestOneDeviceOpensOnce(t *testing.T) {
	s := board(t, "/dev/i2c-1", "/dev/spidev0.0")
	if err := os.MkdirAll(filepath.Join(s.root, "/dev/i2c-by-path"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("../i2c-1", filepath.Join(s.root, "/dev/i2c-by-path/soc")); err != nil {
		t.Fatal(err)
	}
	b, err := s.openI2C("/dev/i2c-1")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.openI2C("/dev/i2c-by-path/soc"); !errors.Is(err, ErrInUse) {
		t.Errorf("the same bus by another name: %v, want %v", err, ErrInUse)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b, err = s.openI2C("/dev/i2c-by-path/soc")
	if err != nil {
		t.Fatalf("after close: %v", err)
	}
	defer b.Close()

	p, err := s.openSPI("/dev/spidev0.0")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if _, err := s.openSPI("/dev/spidev0.0"); !errors.Is(err, ErrInUse) {
		t.Errorf("the same chip select: %v, want %v", err, ErrInUse)
	}
}

func TestFailedOpenGivesTheClaimBack(t *testing.T) {
	s := board(t)
	for range 2 {
		if _, err := s.openI2C("/dev/i2c-1"); sensors.CodeOf(err) != sensors.DeviceMissing {
			t.Errorf("I2C: %v, want %s", err, sensors.DeviceMissing)
		}
		if _, err := s.openSPI("/dev/spidev0.0"); sensors.CodeOf(err) != sensors.DeviceMissing {
			t.Errorf("SPI: %v, want %s", err, sensors.DeviceMissing)
		}
	}
}

func TestSPINames(t *testing.T) {
	s := board(t, "/dev/spidev3.1", "/dev/null-of-spi")
	if err := os.Symlink("spidev3.1", filepath.Join(s.root, "/dev/flue-spi")); err != nil {
		t.Fatal(err)
	}
	var got [][2]int
	s.newSPI = func(bus, cs int) (spi.PortCloser, error) {
		got = append(got, [2]int{bus, cs})
		return &spitest.Playback{}, nil
	}
	for _, name := range []string{"/dev/spidev3.1", "/dev/flue-spi"} {
		p, err := s.openSPI(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	}
	if diff := cmp.Diff([][2]int{{3, 1}, {3, 1}}, got); diff != "" {
		t.Errorf("bus and chip select (-want +got):\n%s", diff)
	}
	if _, err := s.openSPI("/dev/null-of-spi"); sensors.CodeOf(err) != sensors.DeviceMissing {
		t.Errorf("not a spidev: %v, want %s", err, sensors.DeviceMissing)
	}
}

func TestBusesOfTheRegistry(t *testing.T) {
	const i2cName, spiName = "bench-i2c", "bench-spi"
	if err := i2creg.Register(i2cName, []string{"alias-i2c"}, 7, func() (i2c.BusCloser, error) {
		return &i2ctest.Playback{DontPanic: true}, nil
	}); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = i2creg.Unregister(i2cName) }()
	if err := spireg.Register(spiName, nil, -1, func() (spi.PortCloser, error) {
		return &spitest.Playback{}, nil
	}); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = spireg.Unregister(spiName) }()

	b, err := OpenI2C("7")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{i2cName, "alias-i2c", "7"} {
		if _, err := OpenI2C(name); !errors.Is(err, ErrInUse) {
			t.Errorf("%s: %v, want %v", name, err, ErrInUse)
		}
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	p, err := OpenSPI(spiName)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	for _, name := range []string{"nothing", ""} {
		if _, err := OpenI2C(name); sensors.CodeOf(err) != sensors.DeviceMissing {
			t.Errorf("OpenI2C(%q): %v, want %s", name, err, sensors.DeviceMissing)
		}
		if _, err := OpenSPI(name); sensors.CodeOf(err) != sensors.DeviceMissing {
			t.Errorf("OpenSPI(%q): %v, want %s", name, err, sensors.DeviceMissing)
		}
	}
}

// host.Init registers the device files under their own names; they must not lead to
// periph's I2C bus.
func TestRegistryDoesNotLeadToPeriphsBus(t *testing.T) {
	if err := i2creg.Register("/dev/i2c-99", []string{"I2C99"}, 99, func() (i2c.BusCloser, error) {
		t.Error("periph's bus was opened")
		return nil, errors.New("no")
	}); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = i2creg.Unregister("/dev/i2c-99") }()
	s := board(t, "/dev/i2c-99")
	b, err := s.openI2C("I2C99")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if got := b.String(); got != "/dev/i2c-99" {
		t.Errorf("opened %s, want /dev/i2c-99", got)
	}
}

func TestClosedPort(t *testing.T) {
	s := board(t, "/dev/spidev0.0")
	p, err := s.openSPI("/dev/spidev0.0")
	if err != nil {
		t.Fatal(err)
	}
	c, err := p.Connect(physic.MegaHertz, spi.Mode1, 8)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := p.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	}
	_, connect := p.Connect(physic.MegaHertz, spi.Mode1, 8)
	for name, err := range map[string]error{
		"transfer":    c.Tx([]byte{0}, nil),
		"packets":     c.TxPackets(nil),
		"connect":     connect,
		"limit speed": p.LimitSpeed(physic.MegaHertz),
	} {
		if !errors.Is(err, os.ErrClosed) {
			t.Errorf("%s after close: %v, want %v", name, err, os.ErrClosed)
		}
	}
}

func TestSharedBus(t *testing.T) {
	opened := 0
	if err := i2creg.Register("bench-shared", nil, -1, func() (i2c.BusCloser, error) {
		opened++
		return &i2ctest.Playback{DontPanic: true}, nil
	}); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = i2creg.Unregister("bench-shared") }()
	s := NewSharedI2C("bench-shared")
	for range 2 {
		if _, err := s.Bus(); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	if _, err := s.Bus(); err != nil {
		t.Fatalf("after close: %v", err)
	}
	if opened != 2 {
		t.Errorf("opened %d times, want 2", opened)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
