package bus

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"fluewright/sensors"
)

// Adapter is a bus of the computer: an I2C bus, or a chip select of an SPI bus.
type Adapter struct {
	Device string // "/dev/i2c-1", "/dev/spidev0.0"
	SPI    bool
	Name   string   // the adapter's, as the kernel calls it; empty for SPI
	Links  []string // further names of the device file, which outlive a renumbering
	// Bound are the addresses that a driver of the kernel holds, with the driver's name:
	// nobody else should talk to them.
	Bound map[uint16]string
	// Fault is why the bus cannot be used although the hardware has it; nil when there is
	// a device file. Whether that may be opened is seen when it is.
	Fault *sensors.Fault
}

// Adapters lists the buses of the computer without opening one. A kind of which there is
// none has one entry, with what is missing.
func Adapters() []Adapter { return computer.adapters() }

func (s *system) adapters() []Adapter {
	var all []Adapter
	for _, k := range []kind{i2cKind, spiKind} {
		found := s.adaptersOf(k)
		if len(found) == 0 {
			found = []Adapter{{Device: k.usual, SPI: k.isSPI(), Fault: s.explain(k.usual, k, syscall.ENOENT)}}
		}
		all = append(all, found...)
	}
	return all
}

func (k kind) isSPI() bool { return k.prefix == spiKind.prefix }

func (s *system) adaptersOf(k kind) []Adapter {
	var all []Adapter
	add := func(numbers string, there bool) {
		a := Adapter{Device: "/dev/" + k.prefix + numbers, SPI: k.isSPI()}
		if slices.ContainsFunc(all, func(b Adapter) bool { return b.Device == a.Device }) || !numbered(numbers, a.SPI) {
			return
		}
		if !there {
			a.Fault = s.explain(a.Device, k, syscall.ENOENT)
		}
		if !a.SPI {
			a.Name = s.text(filepath.Join("/sys/class/i2c-dev", k.prefix+numbers, "name"))
			if a.Name == "" {
				a.Name = s.text(filepath.Join("/sys/bus/i2c/devices", k.prefix+numbers, "name"))
			}
			a.Bound = s.bound(numbers)
		}
		a.Links = s.links(a.Device)
		all = append(all, a)
	}
	for _, path := range s.glob("/dev/" + k.prefix + "*") {
		add(strings.TrimPrefix(path, "/dev/"+k.prefix), true)
	}
	// Hardware that has no device file yet. What the kernel lists under spi is a chip
	// select, with the numbers of the device file.
	for _, path := range s.glob(filepath.Join("/sys", k.devices, k.entry+"*")) {
		add(strings.TrimPrefix(filepath.Base(path), k.entry), false)
	}
	slices.SortFunc(all, func(a, b Adapter) int {
		return cmp.Or(cmp.Compare(len(a.Device), len(b.Device)), cmp.Compare(a.Device, b.Device))
	})
	return all
}

// numbered reports whether what follows the prefix are the numbers of a device file.
func numbered(numbers string, isSPI bool) bool {
	if isSPI {
		_, _, ok := spidev("/dev/spidev" + numbers)
		return ok
	}
	_, err := strconv.ParseUint(numbers, 10, 16)
	return err == nil
}

// bound reads which addresses of an I2C bus a driver of the kernel has.
func (s *system) bound(number string) map[uint16]string {
	held := map[uint16]string{}
	for _, path := range s.glob("/sys/bus/i2c/devices/" + number + "-*") {
		_, hex, _ := strings.Cut(filepath.Base(path), "-")
		address, err := strconv.ParseUint(hex, 16, 16)
		if err != nil {
			continue
		}
		if driver, err := os.Readlink(s.root + path + "/driver"); err == nil {
			held[uint16(address)] = filepath.Base(driver)
		}
	}
	return held
}

// links returns the names that lead to the device file.
func (s *system) links(device string) []string {
	var all []string
	for _, pattern := range []string{"/dev/*", "/dev/*/by-path/*", "/dev/*-by-path/*"} {
		for _, path := range s.glob(pattern) {
			info, err := os.Lstat(s.root + path)
			if err == nil && info.Mode()&os.ModeSymlink != 0 && path != device && s.resolve(path) == s.resolve(device) {
				all = append(all, path)
			}
		}
	}
	return all
}

// glob returns the files that the pattern means, sorted, as the computer calls them.
func (s *system) glob(pattern string) []string {
	found, err := filepath.Glob(s.root + pattern)
	if err != nil {
		panic(fmt.Sprintf("pattern %q: %v", pattern, err)) // ours, and well formed
	}
	for i := range found {
		found[i] = strings.TrimPrefix(found[i], s.root)
	}
	return found
}

// text is what a file of /sys says; empty when it says nothing.
func (s *system) text(path string) string {
	b, err := os.ReadFile(s.root + path)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
