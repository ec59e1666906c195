//go:build amd64 || arm64 || riscv64

package devfs

import (
	"context"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fuse"
	"golang.org/x/sys/unix"
)

// caller is the thread that is waiting in an ioctl.
type caller struct{ pid int }

func callerOf(ctx context.Context) (caller, syscall.Errno) {
	c, ok := fuse.FromContext(ctx)
	if !ok {
		return caller{}, syscall.EFAULT
	}
	return caller{int(c.Pid)}, 0
}

// read fills b from the caller's memory at addr.
func (c caller) read(addr uint64, b []byte) syscall.Errno {
	return c.move(addr, b, unix.ProcessVMReadv)
}

// write puts b into the caller's memory at addr.
func (c caller) write(addr uint64, b []byte) syscall.Errno {
	return c.move(addr, b, unix.ProcessVMWritev)
}

func (c caller) move(addr uint64, b []byte, how func(int, []unix.Iovec, []unix.RemoteIovec, uint) (int, error)) syscall.Errno {
	if len(b) == 0 {
		return 0
	}
	local := []unix.Iovec{{Base: &b[0]}}
	local[0].SetLen(len(b))
	n, err := how(c.pid, local, []unix.RemoteIovec{{Base: uintptr(addr), Len: len(b)}}, 0)
	if err != nil {
		return errnoOf(err)
	}
	if n != len(b) {
		return syscall.EFAULT
	}
	return 0
}
