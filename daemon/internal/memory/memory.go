// Package memory keeps what the analysis must not forget over restarts, in one small file:
// which alarms stand, who has taken them, what is shelved and until when; and what was
// learnt of regulator, chimney and upkeep.
package memory

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/atomicfile"
)

const (
	// FileName is the file's name in the state directory.
	FileName = "memory.json"
	// BrokenName is that of one that could not be read and was set aside.
	BrokenName = "memory.json.broken"
)

// largest is more than any panel needs.
const largest = 1 << 20

// Parse reads a file's text. Whatever is not as this program writes it is an error: what a
// person has said of an alarm must not be guessed.
func Parse(data []byte) (analysis.Snapshot, error) {
	var s analysis.Snapshot
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return analysis.Snapshot{}, fmt.Errorf("read what was kept: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return analysis.Snapshot{}, errors.New("read what was kept: there is something behind the end")
	}
	if s.Version != alarm.SnapshotVersion {
		return analysis.Snapshot{}, fmt.Errorf("read what was kept: version %d, want %d", s.Version, alarm.SnapshotVersion)
	}
	return s, nil
}

// Load reads the alarms in the state directory; found is false if there is no file.
func Load(dir string) (s analysis.Snapshot, found bool, err error) {
	file, err := os.Open(filepath.Join(dir, FileName))
	if errors.Is(err, fs.ErrNotExist) {
		return s, false, nil
	}
	if err != nil {
		return s, false, fmt.Errorf("read what was kept: %w", err)
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, largest))
	if err != nil {
		return s, false, fmt.Errorf("read what was kept: %w", err)
	}
	s, err = Parse(data)
	return s, err == nil, err
}

// SetAside renames a file that could not be read, for whoever wants to know why.
func SetAside(dir string) error {
	if err := os.Rename(filepath.Join(dir, FileName), filepath.Join(dir, BrokenName)); err != nil {
		return fmt.Errorf("set what was kept aside: %w", err)
	}
	return nil
}

// Save writes the alarms into the state directory; a power cut leaves the old file or the
// new one.
func Save(dir string, s analysis.Snapshot) error {
	data, err := json.Marshal(s)
	if err == nil {
		err = atomicfile.Write(dir, FileName, append(data, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keep alarms: %w", err)
	}
	return nil
}
