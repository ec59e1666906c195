package bus

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"sync"
	"syscall"
	"unsafe"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// From linux/i2c-dev.h and linux/i2c.h.
const (
	ioctlRdwr   = 0x0707 // I2C_RDWR
	flagRead    = 0x0001 // I2C_M_RD
	maxTransfer = 8192   // i2c-dev refuses longer messages
)

// message is struct i2c_msg.
type message struct {
	addr   uint16
	flags  uint16
	length uint16
	buf    unsafe.Pointer
}

// request is struct i2c_rdwr_ioctl_data.
type request struct {
	msgs  unsafe.Pointer
	count uint32
}

// devI2C is an open /dev/i2c-N. It exists because periph's sysfs.I2C converts the
// addresses of stack variables before it takes a lock, and was measured to return
// unfilled buffers without an error when the stack moved in between; it also loses the
// errno. Here what the kernel sees lies in this struct, on the heap, or is pinned, and
// the conversion stands inside the system call, as package unsafe asks.
type devI2C struct {
	path    string
	release func()

	mu   sync.Mutex
	fd   int // −1 when closed
	msgs [2]message
	req  request
}

var _ i2c.BusCloser = (*devI2C)(nil)

func newDevI2C(path string, fd int, release func()) *devI2C {
	return &devI2C{path: path, fd: fd, release: release}
}

// openDevice is open(2) without Go's poller, which a device file does not need.
func openDevice(path string) (int, error) {
	for {
		fd, err := syscall.Open(path, syscall.O_RDWR|syscall.O_CLOEXEC, 0)
		if err != syscall.EINTR {
			return fd, err
		}
	}
}

func closeDevice(fd int) error { return syscall.Close(fd) }

// String returns the path.
func (b *devI2C) String() string { return b.path }

// Tx writes w and then reads r in one transaction, with a repeated start in between;
// either may be empty, and a read alone sends a plain read header. Timeout and retries
// are the kernel's: a transfer that has begun cannot be cancelled, and Close waits for
// it.
func (b *devI2C) Tx(addr uint16, w, r []byte) error {
	switch {
	case addr > 0x7F:
		return fmt.Errorf("%s: address 0x%x: only 7-bit addresses: %w", b.path, addr, syscall.EINVAL)
	case len(w) == 0 && len(r) == 0:
		return fmt.Errorf("%s: empty transfer: %w", b.path, syscall.EINVAL)
	case len(w) > maxTransfer || len(r) > maxTransfer:
		return fmt.Errorf("%s: transfer of more than %d bytes: %w", b.path, maxTransfer, syscall.EINVAL)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fd < 0 {
		return fmt.Errorf("%s: transfer: %w", b.path, os.ErrClosed)
	}
	want, done, errno := b.exchange(addr, w, r)
	switch {
	case errno != 0:
		return fmt.Errorf("%s: transfer with 0x%02x: %w", b.path, addr, errno)
	case done != want:
		return fmt.Errorf("%s: transfer with 0x%02x: %d of %d messages done: %w", b.path, addr, done, want, syscall.EIO)
	}
	return nil
}

// exchange asks the kernel for the messages and returns how many it was asked for and
// how many it did.
func (b *devI2C) exchange(addr uint16, w, r []byte) (want, done int, errno syscall.Errno) {
	var pins runtime.Pinner
	defer pins.Unpin()
	add := func(flags uint16, buf []byte) {
		if len(buf) == 0 {
			return
		}
		p := unsafe.SliceData(buf)
		pins.Pin(p)
		b.msgs[want] = message{addr: addr, flags: flags, length: uint16(len(buf)), buf: unsafe.Pointer(p)}
		want++
	}
	add(0, w)
	add(flagRead, r)
	b.req = request{msgs: unsafe.Pointer(&b.msgs), count: uint32(want)}
	pins.Pin(b)
	defer func() { b.msgs = [2]message{} }() // keep nothing of the caller's alive
	for {
		n, _, errno := syscall.Syscall(syscall.SYS_IOCTL, uintptr(b.fd), ioctlRdwr, uintptr(unsafe.Pointer(&b.req)))
		// A signal (the Go scheduler's) that came before the transfer began is no
		// failure; i2c-dev never reports one, a FUSE bench does.
		if errno != syscall.EINTR {
			return want, int(n), errno
		}
	}
}

// SetSpeed is not supported: on Linux the clock belongs to the board's configuration.
func (b *devI2C) SetSpeed(physic.Frequency) error {
	return fmt.Errorf("%s: set speed: %w", b.path, errors.ErrUnsupported)
}

// Close closes the device file; a second Close does nothing.
func (b *devI2C) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fd < 0 {
		return nil
	}
	fd := b.fd
	b.fd = -1
	defer b.release()
	if err := closeDevice(fd); err != nil {
		return fmt.Errorf("close %s: %w", b.path, err)
	}
	return nil
}
