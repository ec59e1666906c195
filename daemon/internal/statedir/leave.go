package statedir

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// largest is more than any of the small files. The history is not copied: see the package.
const largest = 4 << 20

// leave copies the small files into the directory for programs of a format, unless that is
// there. Whatever of it is cut short is begun anew.
func leave(dir string, format int) (err error) {
	to := within(dir, format)
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("leave copies for programs of format %d: %w", format, err)
		}
	}()
	unfinished := to + ".new"
	if err := os.RemoveAll(unfinished); err != nil {
		return err
	}
	if err := os.Mkdir(unfinished, 0o700); err != nil {
		return err
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, f := range files {
		info, err := f.Info()
		if err != nil || !info.Mode().IsRegular() || info.Size() > largest || !small(f.Name()) {
			continue
		}
		if err := copyFile(filepath.Join(unfinished, f.Name()), filepath.Join(dir, f.Name()), info.Mode().Perm()); err != nil {
			return err
		}
	}
	if err := flush(unfinished); err != nil {
		return err
	}
	if err := os.Rename(unfinished, to); err != nil {
		return err
	}
	return flush(dir)
}

// small reports whether a file is one of those that are written whole and are worth a copy:
// all but the history, the marks, and what was set aside or never finished.
func small(name string) bool {
	switch filepath.Ext(name) {
	case ".json", ".key", ".pem":
		return !strings.HasPrefix(name, historyName)
	}
	return false
}

// historyName is what the names of a history's files begin with.
const historyName = "history"

// mostKept bounds how many directories with a history are kept.
const mostKept = 9

// putAway takes a directory for former programs away, or puts it out of the way if there is
// more in it than was copied.
func putAway(dir string) error {
	files, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(files, func(f fs.DirEntry) bool { return strings.HasPrefix(f.Name(), historyName) }) {
		return os.RemoveAll(dir)
	}
	for i := 1; i <= mostKept; i++ {
		name := fmt.Sprintf("%s.kept-%d", dir, i)
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			return os.Rename(dir, name)
		}
	}
	return fmt.Errorf("put %s out of the way: there are %d already", dir, mostKept)
}

func copyFile(to, from string, mode fs.FileMode) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, io.LimitReader(in, largest))
	if err == nil {
		err = out.Sync()
	}
	return errors.Join(err, out.Close())
}

// flush makes what a directory holds outlast a power cut.
func flush(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
