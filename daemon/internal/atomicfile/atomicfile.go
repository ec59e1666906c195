// Package atomicfile replaces small files so that a power cut leaves the old one or the
// new one, whole.
package atomicfile

import (
	"bufio"
	"errors"
	"io"
	"os"
	"path/filepath"
)

// Write puts a whole new file, readable by all, in the place of the one called name in
// dir: under another name, to the disk, renamed, and the directory to the disk too.
func Write(dir, name string, data []byte) error {
	return WriteFrom(dir, name, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// WritePrivate is Write of a file that only the directory's owner can read: root, who works
// on a service's file, leaves it to the service.
func WritePrivate(dir, name string, data []byte) error {
	return replace(dir, name, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	}, func(f *os.File) error {
		return errors.Join(f.Chmod(0o600), chownLike(dir, f))
	})
}

// WriteFrom is Write of what a function writes.
func WriteFrom(dir, name string, write func(io.Writer) error) error {
	return replace(dir, name, write, func(f *os.File) error { return f.Chmod(0o644) })
}

func replace(dir, name string, write func(io.Writer) error, finish func(*os.File) error) (err error) {
	temp, err := os.CreateTemp(dir, name+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = os.Remove(temp.Name())
		}
	}()
	buffered := bufio.NewWriter(temp)
	if err = write(buffered); err == nil {
		err = buffered.Flush()
	}
	if err == nil {
		err = finish(temp)
	}
	if err == nil {
		err = temp.Sync()
	}
	if err = errors.Join(err, temp.Close()); err != nil {
		return err
	}
	if err := os.Rename(temp.Name(), filepath.Join(dir, name)); err != nil {
		return err
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
