package history

import (
	"errors"
	"os"
	"path/filepath"
)

// lockName is the file whose lock its process holds for as long as it needs the directory. A
// kill ends the lock, and leaves the copy behind: as large as the history, perhaps in memory.
const lockName = "in-use"

// ownDir makes a directory for a copy, locked, after it has taken those away that nobody
// needs any more.
func ownDir() (dir string, lock *os.File, err error) {
	const pattern = "fluewright-history-*"
	left, err := filepath.Glob(filepath.Join(os.TempDir(), pattern, lockName))
	if err != nil {
		return "", nil, err
	}
	for _, name := range left {
		sweep(name)
	}
	if dir, err = os.MkdirTemp("", pattern); err != nil {
		return "", nil, err
	}
	// The name comes last: before it is locked nobody finds it.
	fresh := filepath.Join(dir, lockName+"-new")
	if lock, err = os.Create(fresh); err != nil {
		return "", nil, errors.Join(err, os.RemoveAll(dir))
	}
	if err = hold(lock); err == nil {
		err = os.Rename(fresh, filepath.Join(dir, lockName))
	}
	if err != nil {
		return "", nil, errors.Join(err, lock.Close(), os.RemoveAll(dir))
	}
	return dir, lock, nil
}

// sweep takes the directory of a lock away if nobody holds it. That of another user stays: it
// cannot be opened.
func sweep(name string) {
	lock, err := os.OpenFile(name, os.O_RDWR|noFollow, 0)
	if err != nil {
		return
	}
	defer lock.Close()
	if free(lock) {
		_ = os.RemoveAll(filepath.Dir(name)) // the next one tries again
	}
}
