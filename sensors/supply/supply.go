// Package supply watches the voltage that the board is fed with, where the board can
// tell: a dip resets the chips behind it and is the first suspect when they forget their
// settings.
package supply

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"fluewright/sensors"
)

// Monitor is the board's own under-voltage monitor: the hwmon device "rpi_volt" of a
// Raspberry Pi, whose in0_lcrit_alarm is 1 after a dip until the firmware takes it back
// (Linux, Documentation/hwmon/raspberrypi-hwmon.rst).
type Monitor struct {
	file string
	last bool
	dips uint64
}

// ErrNone is returned where the board cannot tell.
var ErrNone = errors.New("this board does not watch its supply")

// Find looks for the monitor below root, "/" on a real board.
func Find(root string) (*Monitor, error) {
	names, err := filepath.Glob(filepath.Join(root, "sys/class/hwmon/hwmon*/name"))
	if err != nil {
		return nil, fmt.Errorf("look for the supply monitor: %w", err)
	}
	for _, n := range names {
		name, err := os.ReadFile(n)
		if err != nil || strings.TrimSpace(string(name)) != "rpi_volt" {
			continue // another device's, which may also be on its way out
		}
		return &Monitor{file: filepath.Join(filepath.Dir(n), "in0_lcrit_alarm")}, nil
	}
	return nil, ErrNone
}

// Look reports whether the supply is low or was a moment ago; each time that it becomes so
// is counted as a dip.
func (m *Monitor) Look() (low bool, err error) {
	text, err := os.ReadFile(m.file)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			err = errors.Join(ErrNone, err)
		}
		return false, fmt.Errorf("look at the supply: %w", err)
	}
	switch strings.TrimSpace(string(text)) {
	case "0":
	case "1":
		low = true
	default:
		return false, fmt.Errorf("look at the supply: %q is neither 0 nor 1", text)
	}
	if low && !m.last {
		m.dips++
	}
	m.last = low
	return low, nil
}

// Dips returns how often the supply has become low.
func (m *Monitor) Dips() uint64 { return m.dips }

// Fault is the dip in words.
func Fault() *sensors.Fault { return &sensors.Fault{Code: sensors.SupplyDip, Device: "board"} }
