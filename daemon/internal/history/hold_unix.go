//go:build unix

package history

import (
	"os"

	"golang.org/x/sys/unix"
)

const noFollow = unix.O_NOFOLLOW

// hold locks a file for as long as it is open, or its process lives.
func hold(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) }

// free reports whether nobody holds a file.
func free(f *os.File) bool { return hold(f) == nil }
