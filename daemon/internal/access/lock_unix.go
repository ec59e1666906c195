//go:build unix

package access

import (
	"os"

	"golang.org/x/sys/unix"
)

// lockDir waits until nobody else changes the accounts. It is the directory itself that is
// locked: a file for it, made by root, could not be opened by the service.
func lockDir(dir string) (unlock func(), err error) {
	d, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(d.Fd()), unix.LOCK_EX); err != nil {
		_ = d.Close()
		return nil, err
	}
	return func() { _ = d.Close() }, nil // which ends the lock
}
