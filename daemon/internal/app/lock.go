package app

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// ErrInUse is returned when another process works with the same state directory, and so
// with the same chips.
var ErrInUse = errors.New("another fluewright is at work here: stop it first, for example with systemctl stop fluewright")

// lockState keeps the state directory, and the chips behind it, for this process until
// release is called. The lock goes with the process, however it ends.
func lockState(dir string) (release func() error, err error) {
	file, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, fmt.Errorf("lock state directory: %w", err)
	}
	if err := lockFile(file); err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", dir, err), file.Close())
	}
	return file.Close, nil
}
