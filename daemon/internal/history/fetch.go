package history

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// mostUnpacked bounds what a bundle may grow to: more than any history's ceiling.
const mostUnpacked = 4 << 30

var (
	errForeign = errors.New("it is neither a history nor a bundle")
	errMoving  = errors.New("it changes faster than it can be copied")
)

// fetch puts a copy of the history at path into a file.
func fetch(path, into string) error {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		path = filepath.Join(path, FileName)
	}
	from, err := os.Open(path)
	if err != nil {
		return err
	}
	defer from.Close()
	magic := make([]byte, 16)
	n, err := io.ReadFull(from, magic)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return err
	}
	switch head := string(magic[:n]); {
	case head == "SQLite format 3\x00":
		return copySteady(path, into)
	case len(head) > 4 && head[:4] == "PK\x03\x04":
		return unpackBundle(path, into)
	default:
		return errForeign
	}
}

// copySteady copies a file and its log while nobody writes them. The daemon writes for a
// moment and then not for seconds, so that a few tries are enough.
func copySteady(path, into string) error {
	const tries = 10
	for i := range tries {
		if i > 0 {
			time.Sleep(300 * time.Millisecond)
		}
		before := look(path)
		if err := copyFile(path, into); err != nil {
			return err
		}
		if err := copyFile(path+"-wal", into+"-wal"); errors.Is(err, fs.ErrNotExist) {
			_ = os.Remove(into + "-wal") // of a try before
		} else if err != nil {
			return err
		}
		if look(path) == before {
			return nil
		}
	}
	return errMoving
}

// looks is what a file and its log look like from outside.
type looks [2]struct {
	size int64
	at   time.Time
}

func look(path string) (l looks) {
	for i, name := range []string{path, path + "-wal"} {
		if info, err := os.Stat(name); err == nil {
			l[i].size, l[i].at = info.Size(), info.ModTime()
		}
	}
	return l
}

func copyFile(path, into string) (err error) {
	from, err := os.Open(path)
	if err != nil {
		return err
	}
	defer from.Close()
	return fill(into, from)
}

func fill(path string, from io.Reader) (err error) {
	to, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, to.Close()) }()
	_, err = io.Copy(to, from)
	return err
}

// unpackBundle takes the history out of a bundle.
func unpackBundle(path, into string) error {
	z, err := zip.OpenReader(path)
	if err != nil {
		return fmt.Errorf("open bundle: %w", err)
	}
	defer z.Close()
	from, err := z.Open(FileName)
	if err != nil {
		return errForeign
	}
	defer from.Close()
	most := &io.LimitedReader{R: from, N: mostUnpacked}
	if err := fill(into, most); err != nil {
		return fmt.Errorf("unpack bundle: %w", err)
	}
	if most.N == 0 {
		return fmt.Errorf("unpack bundle: more than %d bytes", int64(mostUnpacked))
	}
	return nil
}
