package app

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// ErrInUse is returned when another process works with the same state directory, and so
// with the same chips.
var ErrInUse = errors.New("another fluewright is at work here: stop it first, for example with systemctl stop fluewright")

// lockState keeps the state directory, and the chips behind it, for this process until
// release is called. The lock goes with the process, however it ends. Nothing needs to be
// written for it: a card that has failed is read-only, and the furnace is watched all the same.
func lockState(dir string) (release func() error, err error) {
	name := filepath.Join(dir, "lock")
	file, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		var second error
		if file, second = os.Open(name); errors.Is(second, fs.ErrNotExist) {
			file, second = os.Open(dir)
		}
		if second != nil {
			return nil, fmt.Errorf("lock state directory: %w", err)
		}
	}
	if err := lockFile(file); err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", dir, err), file.Close())
	}
	return file.Close, nil
}
