package bus

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
	"periph.io/x/host/v3/sysfs"

	"fluewright/sensors"
)

// system is what opening needs of the computer, so that tests can take it away.
type system struct {
	root   string // before /dev and /sys
	open   func(path string) (int, error)
	newSPI func(bus, chipSelect int) (spi.PortCloser, error)
	claims claims
}

var computer = system{
	open: openDevice,
	newSPI: func(bus, chipSelect int) (spi.PortCloser, error) {
		return sysfs.NewSPI(bus, chipSelect)
	},
}

// Opener opens buses: the computer's own ([Computer]), or one that listens in.
type Opener struct {
	I2C func(name string) (i2c.BusCloser, error)
	SPI func(name string) (spi.PortCloser, error)
}

// Computer opens what is in or on this computer.
var Computer = Opener{I2C: OpenI2C, SPI: OpenSPI}

// OpenI2C opens a bus: a path under /dev is a device file of i2c-dev (or a link to
// one), any other name, alias or number is one of periph's registry. What fails is a
// *sensors.Fault of the board, except for a bus that this process has open already
// ([ErrInUse]). A device file is locked until Close, so that a daemon and a probe never
// talk on one bus: the second gets the fault [sensors.BusInUse].
func OpenI2C(name string) (i2c.BusCloser, error) { return computer.openI2C(name) }

// OpenSPI opens a chip select: /dev/spidevB.C or a link to it under /dev, or a name of
// periph's registry. Errors are as [OpenI2C]'s.
func OpenSPI(name string) (spi.PortCloser, error) { return computer.openSPI(name) }

func (s *system) openI2C(name string) (i2c.BusCloser, error) {
	var ref *i2creg.Ref
	if !isDevice(name) {
		for _, r := range i2creg.All() {
			if names(name, r.Name, r.Aliases, r.Number) {
				ref = r
			}
		}
		if ref == nil {
			return nil, notRegistered(name, "I2C")
		}
	}
	// What host.Init registers has the device file's name and leads to it.
	if ref != nil && isDevice(ref.Name) {
		name, ref = ref.Name, nil
	}
	if ref != nil {
		release, err := s.claims.take("i2c " + ref.Name)
		if err != nil {
			return nil, fmt.Errorf("open bus: %w", err)
		}
		b, err := ref.Open()
		if err != nil {
			release()
			return nil, openFault(name, err, "")
		}
		return &registeredI2C{BusCloser: b, release: release}, nil
	}
	release, err := s.claims.take(s.resolve(name))
	if err != nil {
		return nil, fmt.Errorf("open bus: %w", err)
	}
	fd, err := s.take(name, i2cKind)
	if err != nil {
		release()
		return nil, err
	}
	return newDevI2C(name, fd, release), nil
}

func (s *system) openSPI(name string) (spi.PortCloser, error) {
	var ref *spireg.Ref
	if !isDevice(name) {
		for _, r := range spireg.All() {
			if names(name, r.Name, r.Aliases, r.Number) {
				ref = r
			}
		}
		if ref == nil {
			return nil, notRegistered(name, "SPI")
		}
	}
	if ref != nil && isDevice(ref.Name) {
		name, ref = ref.Name, nil
	}
	key := s.resolve(name)
	if ref != nil {
		key = "spi " + ref.Name
	}
	release, err := s.claims.take(key)
	if err != nil {
		return nil, fmt.Errorf("open port: %w", err)
	}
	if ref != nil {
		p, err := ref.Open()
		if err != nil {
			release()
			return nil, openFault(name, err, "")
		}
		return &port{inner: p, release: release}, nil
	}
	// periph's opener loses the errno and knows no lock, so that ours looks first and
	// stays as long as periph's.
	fd, err := s.take(name, spiKind)
	if err != nil {
		release()
		return nil, err
	}
	giveBack := func() {
		_ = closeDevice(fd) // nothing was written to it
		release()
	}
	p, err := s.spidev(name)
	if err != nil {
		giveBack()
		return nil, err
	}
	return &port{inner: p, release: giveBack}, nil
}

// take opens a device file and locks it against other programs.
func (s *system) take(name string, k kind) (fd int, err error) {
	if fd, err = s.open(s.root + name); err != nil {
		return -1, s.explain(name, k, err)
	}
	if err := s.lock(name, fd); err != nil {
		_ = closeDevice(fd)
		return -1, err
	}
	return fd, nil
}

func (s *system) spidev(name string) (spi.PortCloser, error) {
	bus, chipSelect, ok := spidev(name)
	if !ok {
		bus, chipSelect, ok = spidev(strings.TrimPrefix(s.resolve(name), s.root))
	}
	if !ok {
		return nil, &sensors.Fault{
			Code: sensors.DeviceMissing, Device: name,
			Detail: "not a /dev/spidevB.C, nor a link to one",
			Advice: "Name the chip select as /dev/spidev0.0: bus 0, chip select 0.",
		}
	}
	p, err := s.newSPI(bus, chipSelect)
	if err != nil {
		return nil, openFault(name, err, "")
	}
	return p, nil
}

func isDevice(name string) bool { return strings.HasPrefix(name, "/dev/") }

// resolve follows links, so that two names of one device file are one claim.
func (s *system) resolve(name string) string {
	if real, err := filepath.EvalSymlinks(s.root + name); err == nil {
		return real
	}
	return s.root + name
}

// names reports whether name means this entry of a periph registry: the rules of
// i2creg.Open and spireg.Open, without their "first one there is".
func names(name, entry string, aliases []string, number int) bool {
	if name == entry {
		return true
	}
	if slices.Contains(aliases, name) {
		return true
	}
	n, err := strconv.Atoi(name)
	return err == nil && n == number && number >= 0
}

// spidev splits /dev/spidevB.C.
func spidev(path string) (bus, chipSelect int, ok bool) {
	numbers, ok := strings.CutPrefix(path, "/dev/spidev")
	if !ok {
		return 0, 0, false
	}
	b, c, ok := strings.Cut(numbers, ".")
	if !ok {
		return 0, 0, false
	}
	bus, errB := strconv.Atoi(b)
	chipSelect, errC := strconv.Atoi(c)
	return bus, chipSelect, errB == nil && errC == nil && bus >= 0 && chipSelect >= 0
}

// registeredI2C is a bus of the registry that gives its claim back.
type registeredI2C struct {
	i2c.BusCloser
	release func()
}

// Close closes the bus.
func (b *registeredI2C) Close() error {
	defer b.release()
	return b.BusCloser.Close()
}
