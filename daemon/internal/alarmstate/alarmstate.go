// Package alarmstate keeps the alarms of a site over restarts, in one small file: that one
// stands, who has taken it, what is shelved and until when.
package alarmstate

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/atomicfile"
)

const (
	// FileName is the file's name in the state directory.
	FileName = "alarms.json"
	// BrokenName is that of one that could not be read and was set aside.
	BrokenName = "alarms.json.broken"
)

// largest is more than any panel needs.
const largest = 1 << 20

// Parse reads a file's text. Whatever is not as this program writes it is an error: what a
// person has said of an alarm must not be guessed.
func Parse(data []byte) (alarm.Snapshot, error) {
	var s alarm.Snapshot
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return alarm.Snapshot{}, fmt.Errorf("read kept alarms: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return alarm.Snapshot{}, errors.New("read kept alarms: there is something behind the end")
	}
	if s.Version != alarm.SnapshotVersion {
		return alarm.Snapshot{}, fmt.Errorf("read kept alarms: version %d, want %d", s.Version, alarm.SnapshotVersion)
	}
	return s, nil
}

// Load reads the alarms in the state directory; found is false if there is no file.
func Load(dir string) (s alarm.Snapshot, found bool, err error) {
	file, err := os.Open(filepath.Join(dir, FileName))
	if errors.Is(err, fs.ErrNotExist) {
		return s, false, nil
	}
	if err != nil {
		return s, false, fmt.Errorf("read kept alarms: %w", err)
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, largest))
	if err != nil {
		return s, false, fmt.Errorf("read kept alarms: %w", err)
	}
	s, err = Parse(data)
	return s, err == nil, err
}

// SetAside renames a file that could not be read, for whoever wants to know why.
func SetAside(dir string) error {
	if err := os.Rename(filepath.Join(dir, FileName), filepath.Join(dir, BrokenName)); err != nil {
		return fmt.Errorf("set kept alarms aside: %w", err)
	}
	return nil
}

// Save writes the alarms into the state directory; a power cut leaves the old file or the
// new one.
func Save(dir string, s alarm.Snapshot) error {
	data, err := json.Marshal(s)
	if err == nil {
		err = atomicfile.Write(dir, FileName, append(data, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keep alarms: %w", err)
	}
	return nil
}
