package bus

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"
	"testing"

	"fluewright/sensors"
)

// The errnos are those of Linux's Documentation/i2c/fault-codes.rst and i2c-bcm2835.c.
func TestClassify(t *testing.T) {
	wrapped := func(e error) error { return fmt.Errorf("transfer: %w", e) }
	for _, tc := range []struct {
		name string
		err  error
		want sensors.Code
	}{
		{"none", nil, ""},
		{"not acknowledged (bcm2835)", wrapped(syscall.Errno(121)), sensors.NoAnswer},
		{"not acknowledged (others)", wrapped(syscall.ENXIO), sensors.NoAnswer},
		{"adapter timeout", wrapped(syscall.ETIMEDOUT), sensors.BusDown},
		{"clock-stretch timeout", wrapped(syscall.EIO), sensors.BusError},
		{"arbitration lost", wrapped(syscall.EAGAIN), sensors.BusError},
		{"adapter without I2C_RDWR", wrapped(syscall.EOPNOTSUPP), sensors.BusError},
		{"no file", &fs.PathError{Op: "open", Path: "/dev/i2c-1", Err: syscall.ENOENT}, sensors.DeviceMissing},
		{"adapter removed", wrapped(syscall.ENODEV), sensors.DeviceMissing},
		{"spidev unbound", wrapped(syscall.Errno(108)), sensors.DeviceMissing},
		{"permission", wrapped(syscall.EACCES), sensors.NotPermitted},
		{"operation not permitted", wrapped(syscall.EPERM), sensors.NotPermitted},
		{"without errno", errors.New("i2ctest: unexpected Tx"), sensors.BusError},
		{"closed", wrapped(os.ErrClosed), sensors.BusError},
		{"without errno, not there", wrapped(fs.ErrNotExist), sensors.DeviceMissing},
		{"a fault already", wrapped(&sensors.Fault{Code: sensors.BadChecksum}), sensors.BadChecksum},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := Classify(tc.err); got != tc.want {
				t.Errorf("Classify(%v) = %q, want %q", tc.err, got, tc.want)
			}
		})
	}
}

func TestFaultKeepsErrno(t *testing.T) {
	err := error(Fault("chip on bus", "read", fmt.Errorf("transfer: %w", syscall.ETIMEDOUT)))
	var errno syscall.Errno
	if !errors.As(err, &errno) || errno != syscall.ETIMEDOUT {
		t.Errorf("errno of %v is %v, want ETIMEDOUT", err, errno)
	}
	if got := sensors.CodeOf(err); got != sensors.BusDown {
		t.Errorf("code %q, want %q", got, sensors.BusDown)
	}
}
