//go:build unix

package fetch

import (
	"os"

	"golang.org/x/sys/unix"
)

// lock keeps a part for this process, and reports whether it could.
func lock(f *os.File) bool { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) == nil }
