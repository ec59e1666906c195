package bus

import (
	"errors"
	"os"
	"syscall"
	"testing"
	"unsafe"

	"periph.io/x/conn/v3/physic"
)

// The kernel's struct i2c_msg and i2c_rdwr_ioctl_data hold a pointer each, so their
// sizes follow from the pointer's (linux/i2c.h, linux/i2c-dev.h).
func TestKernelLayout(t *testing.T) {
	word := unsafe.Sizeof(uintptr(0))
	if got, want := unsafe.Sizeof(message{}), 8+word; got != want {
		t.Errorf("i2c_msg has %d bytes, want %d", got, want)
	}
	if got := unsafe.Offsetof(message{}.buf); got != 8 {
		t.Errorf("i2c_msg.buf at %d, want 8", got)
	}
	if got, want := unsafe.Sizeof(request{}), 2*word; got != want {
		t.Errorf("i2c_rdwr_ioctl_data has %d bytes, want %d", got, want)
	}
}

// refused reports whether the kernel said that the file knows no such request; QEMU's
// user emulation, under which the tests run for arm, says ENOSYS before the kernel can.
func refused(errno syscall.Errno) bool {
	return errno == syscall.ENOTTY || errno == syscall.ENOSYS
}

// /dev/null is a device file that knows no I2C: the request reaches the kernel and
// comes back with its errno.
func TestTransferKeepsErrno(t *testing.T) {
	b, err := OpenI2C("/dev/null")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for name, buf := range map[string][2][]byte{
		"write":          {{1}, nil},
		"read":           {nil, make([]byte, 9)},
		"write and read": {{1}, make([]byte, 2)},
	} {
		err := b.Tx(0x25, buf[0], buf[1])
		var errno syscall.Errno
		if !errors.As(err, &errno) || !refused(errno) {
			t.Errorf("%s: %v, want ENOTTY", name, err)
		}
	}
}

func TestRefusedBeforeTheKernel(t *testing.T) {
	b, err := OpenI2C("/dev/null")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for name, err := range map[string]error{
		"ten-bit address": b.Tx(0x80, []byte{1}, nil),
		"empty":           b.Tx(0x25, nil, nil),
		"too long":        b.Tx(0x25, make([]byte, maxTransfer+1), nil),
	} {
		if !errors.Is(err, syscall.EINVAL) {
			t.Errorf("%s: %v, want EINVAL", name, err)
		}
	}
	if err := b.SetSpeed(100 * physic.KiloHertz); !errors.Is(err, errors.ErrUnsupported) {
		t.Errorf("SetSpeed: %v, want unsupported", err)
	}
}

func TestClosedBus(t *testing.T) {
	b, err := OpenI2C("/dev/null")
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := b.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	}
	if err := b.Tx(0x25, []byte{1}, nil); !errors.Is(err, os.ErrClosed) {
		t.Errorf("transfer after close: %v, want %v", err, os.ErrClosed)
	}
}

func TestTransferDoesNotAllocate(t *testing.T) {
	b, err := OpenI2C("/dev/zero")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	d := b.(*devI2C)
	w, r := []byte{1}, make([]byte, 9)
	if n := testing.AllocsPerRun(100, func() {
		if _, _, errno := d.exchange(0x25, w, r); !refused(errno) {
			t.Fatalf("errno %v, want ENOTTY", errno)
		}
	}); n != 0 {
		t.Errorf("%v allocations in a transfer, want none", n)
	}
}
