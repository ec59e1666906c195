package notify

import (
	"bytes"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"fluewright/daemon/internal/atomicfile"
)

const (
	// FileName is the name of the memory in the state directory.
	FileName = "notify.json"
	// BrokenName is that of one that could not be read and was set aside.
	BrokenName = "notify.json.broken"
	// KeyName is that of the key that tokens are made with, readable by the service alone.
	KeyName = "notify.key"
)

// largest is more than any site needs.
const largest = 1 << 20

// Parse reads the text of a memory.
func Parse(data []byte) (Memory, error) {
	var m Memory
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return Memory{}, fmt.Errorf("read who was told: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Memory{}, errors.New("read who was told: there is something behind the end")
	}
	return m, nil
}

// restore takes over what an earlier run has kept. It never fails: people are then told
// again of what stands.
func (c *Courier) restore(now Moment) {
	if c.o.State == "" {
		return
	}
	path := filepath.Join(c.o.State, FileName)
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return
	}
	var data []byte
	if err == nil {
		data, err = io.ReadAll(io.LimitReader(file, largest))
		_ = file.Close()
	}
	var m Memory
	if err == nil {
		m, err = Parse(data)
	}
	if err == nil {
		err = c.desk.Restore(m, now)
	}
	if err != nil {
		c.o.Log.Error("it is not known who was told; the file is set aside", "error", err)
		if err := os.Rename(path, filepath.Join(c.o.State, BrokenName)); err != nil {
			c.o.Log.Error("it could not be", "error", err)
		}
	}
}

// save keeps who was told. That it cannot be is said once.
func (c *Courier) save() {
	now, ok := c.now()
	if !ok || !c.unsaved || c.o.State == "" {
		return
	}
	data, err := json.Marshal(c.desk.Memory(now))
	if err == nil {
		err = atomicfile.Write(c.o.State, FileName, append(data, '\n'))
	}
	if err != nil && !c.failing {
		c.o.Log.Error("after a restart people would be told again", "error", err)
	}
	c.failing, c.unsaved = err != nil, err != nil
}

// loadKey reads the key in the state directory, or makes one. Without a directory it lasts
// as long as the program.
func loadKey(dir string) ([]byte, error) {
	fresh := make([]byte, KeyBytes)
	_, _ = rand.Read(fresh) // never fails
	if dir == "" {
		return fresh, nil
	}
	path := filepath.Join(dir, KeyName)
	key, err := os.ReadFile(path)
	switch {
	case err == nil && len(key) == KeyBytes:
		return key, nil
	case err == nil: // a write that was cut short: nobody has a token of it
		err = os.WriteFile(path, fresh, 0o600)
	case errors.Is(err, fs.ErrNotExist):
		err = os.WriteFile(path, fresh, 0o600)
	}
	if err != nil {
		return nil, fmt.Errorf("make the key for acknowledgements: %w", err)
	}
	return fresh, nil
}
