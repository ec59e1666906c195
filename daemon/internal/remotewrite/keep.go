package remotewrite

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fluewright/daemon/internal/atomicfile"
)

// fileName is where a destination's cursor is kept.
func fileName(name string) string { return "remote-write-" + name + ".json" }

// load reads a cursor. Without one it is at the beginning of the run.
func load(dir, name string) (c cursor, err error) {
	if dir == "" {
		return cursor{}, nil
	}
	data, err := os.ReadFile(filepath.Join(dir, fileName(name)))
	if errors.Is(err, fs.ErrNotExist) {
		return cursor{}, nil
	}
	if err == nil {
		c, err = decodeCursor(data)
	}
	if err != nil {
		return cursor{}, fmt.Errorf("read where %s was: %w", name, err)
	}
	return c, nil
}

// decodeCursor refuses what the history's numbers cannot be.
func decodeCursor(data []byte) (c cursor, err error) {
	if err := json.Unmarshal(data, &c); err != nil {
		return cursor{}, err
	}
	if c.Run < 0 || c.Run >= 1<<22 || c.MS < -1 || c.MS >= 1<<40 || c.Wall < 0 || c.Wall >= 1<<43 {
		return cursor{}, errors.New("its numbers are impossible")
	}
	return c, nil
}

func (c cursor) save(dir, name string) error {
	data, err := json.Marshal(c)
	if err != nil {
		return err
	}
	if err := atomicfile.Write(dir, fileName(name), data); err != nil {
		return fmt.Errorf("keep where %s is: %w", name, err)
	}
	return nil
}
