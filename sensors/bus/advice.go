package bus

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"fluewright/sensors"
)

// openFault is a fault of the board with the given advice.
func openFault(name string, err error, advice string) *sensors.Fault {
	return &sensors.Fault{Code: Classify(err), Device: name, Detail: "open", Advice: advice, Err: err}
}

func notRegistered(name, kind string) *sensors.Fault {
	return &sensors.Fault{
		Code: sensors.DeviceMissing, Device: name,
		Detail: fmt.Sprintf("no %s bus of this name is registered", kind),
		Advice: "Name a device file, such as /dev/i2c-1 or /dev/spidev0.0.",
	}
}

// kind is one of the two families of device files, with what it takes to have one.
type kind struct {
	prefix  string // of the device file's name
	class   string // in /sys/class once the module is loaded
	devices string // in /sys: the hardware, whether or not the module is loaded
	entry   string // before the numbers in devices
	module  string
	group   string
	usual   string // the device file of most boards
	enable  string // what makes the hardware appear
}

// The groups are Raspberry Pi OS's (99-com.rules of raspberrypi-sys-mods), the overlays
// those of the firmware's /boot/overlays/README.
var (
	i2cKind = kind{
		prefix: "i2c-", class: "i2c-dev", devices: "bus/i2c/devices", entry: "i2c-", module: "i2c-dev", group: "i2c", usual: "/dev/i2c-1",
		enable: "dtparam=i2c_arm=on in config.txt (it gives /dev/i2c-1; another number needs an overlay such as dtoverlay=i2c-gpio,bus=N), then restart",
	}
	spiKind = kind{
		prefix: "spidev", class: "spidev", devices: "bus/spi/devices", entry: "spi", module: "spidev", group: "spi", usual: "/dev/spidev0.0",
		enable: "dtparam=spi=on in config.txt (it gives /dev/spidev0.0 and /dev/spidev0.1), then restart",
	}
)

// explain turns a failed open of a device file into a fault that says what is missing.
func (s *system) explain(name string, k kind, err error) *sensors.Fault {
	f := openFault(name, err, "")
	switch {
	case f.Code == sensors.NotPermitted:
		f.Advice = s.permissionAdvice(name, k)
	case errors.Is(err, syscall.ENXIO):
		// Of open(2): a device file without a driver behind it, not a silent chip.
		f.Code = sensors.DeviceMissing
		f.Advice = s.missingAdvice(name, k)
	case f.Code == sensors.DeviceMissing:
		f.Advice = s.missingAdvice(name, k)
	}
	return f
}

// missingAdvice tells a bus that is not enabled from a module that is not loaded, by
// what /sys shows.
func (s *system) missingAdvice(name string, k kind) string {
	numbers, _ := strings.CutPrefix(filepath.Base(name), k.prefix)
	_, hardware := os.Stat(filepath.Join(s.root, "/sys", k.devices, k.entry+numbers))
	_, module := os.Stat(filepath.Join(s.root, "/sys/class", k.class))
	load := fmt.Sprintf("modprobe %s, and a line %q in /etc/modules-load.d", k.module, k.module)
	switch {
	case hardware == nil && module != nil:
		return "The bus is there but its device file is not: load the module: " + load + "."
	case hardware == nil:
		return fmt.Sprintf("The bus is there but has no device file %s: another driver holds it, or udev has not made it.", name)
	}
	advice := "Enable the bus: " + k.enable + "."
	if module != nil {
		advice += " The module is not loaded either: " + load + "."
	}
	if there, err := filepath.Glob(filepath.Join(s.root, "/dev", k.prefix+"*")); err == nil && len(there) > 0 {
		for i := range there {
			there[i] = strings.TrimPrefix(there[i], s.root)
		}
		advice += " There is " + strings.Join(there, ", ") + "."
	}
	return advice
}

// permissionAdvice names the group that may open the file.
func (s *system) permissionAdvice(name string, k kind) string {
	group, rule := k.group, ""
	if info, err := os.Stat(s.root + name); err == nil {
		owner, known := fileGroup(info)
		switch {
		case known && owner != "root" && info.Mode().Perm()&0o060 == 0o060:
			group = owner
		default:
			rule = fmt.Sprintf(" The file does not belong to such a group yet: add a udev rule with GROUP=%q, MODE=\"0660\".", group)
		}
	}
	return fmt.Sprintf("Add the user to the group %s (usermod -aG %s USER); for a service, SupplementaryGroups=%s in its unit.%s",
		group, group, group, rule)
}

// fileGroup returns the name of the group that the file belongs to.
func fileGroup(info os.FileInfo) (string, bool) {
	gid, ok := groupOf(info)
	if !ok {
		return "", false
	}
	g, err := user.LookupGroupId(strconv.Itoa(gid))
	if err != nil {
		return "", false
	}
	return g.Name, true
}
