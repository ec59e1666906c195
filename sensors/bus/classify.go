package bus

import (
	"errors"
	"io/fs"
	"syscall"

	"fluewright/sensors"
)

// Linux numbers of errors that not every system names; the same on every architecture
// that this program is built for.
const (
	errnoRemoteIO = syscall.Errno(121) // EREMOTEIO
	errnoShutdown = syscall.Errno(108) // ESHUTDOWN
)

// Classify says which fault a failed transfer or open is, by its errno; "" for nil.
// The meanings are those of the kernel's Documentation/i2c/fault-codes.rst, and of
// i2c-bcm2835.c for EREMOTEIO (address not acknowledged) and EIO (clock-stretch
// timeout or a short transfer).
func Classify(err error) sensors.Code {
	if err == nil {
		return ""
	}
	if c := sensors.CodeOf(err); c != "" {
		return c
	}
	var errno syscall.Errno
	if !errors.As(err, &errno) {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return sensors.DeviceMissing
		case errors.Is(err, fs.ErrPermission):
			return sensors.NotPermitted
		}
		return sensors.BusError
	}
	switch errno {
	case errnoRemoteIO, syscall.ENXIO:
		return sensors.NoAnswer
	case syscall.ETIMEDOUT: // the adapter's own timeout: a line is held down
		return sensors.BusDown
	case syscall.ENOENT, syscall.ENODEV, errnoShutdown:
		return sensors.DeviceMissing
	case syscall.EACCES, syscall.EPERM:
		return sensors.NotPermitted
	}
	return sensors.BusError // EIO, EAGAIN (arbitration lost), EOPNOTSUPP, …
}

// Fault turns the error of a transfer with a chip into a fault of that chip; detail
// says which transfer it was.
func Fault(device, detail string, err error) *sensors.Fault {
	return &sensors.Fault{Code: Classify(err), Device: device, Detail: detail, Err: err}
}
