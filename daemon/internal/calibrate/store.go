// Package calibrate keeps what the sensors of a site are off by, in one small file, and
// leads a person through finding it out.
//
// A calibration belongs to one specimen: it is refused for another part, and for another
// serial number where the chip has one. It is never lost to a power cut, and a file that
// is not whole is an error and not the absence of a calibration.
package calibrate

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/atomicfile"
	"fluewright/sensors/calibration"
)

// FileName is the file's name in the state directory.
const FileName = "calibration.json"

const version = 1

// Method is how a calibration was found.
type Method string

// The methods.
const (
	Zeroed   Method = "zero"      // of a pressure sensor, both ports open
	OnePoint Method = "one-point" // of a thermocouple, in ice or in boiling water
	TwoPoint Method = "two-point" // in both
)

// Entry is the calibration of one channel's chip.
type Entry struct {
	Channel string `json:"channel"`
	Chip    string `json:"chip"`
	Serial  string `json:"serial,omitempty"`
	Method  Method `json:"method"`
	// Gain and Offset give the corrected reading: gain·reading + offset, in °C or Pa.
	Gain   float64 `json:"gain"`
	Offset float64 `json:"offset"`
	// Uncertainty is the half-width of the 95 % interval of what was read.
	Uncertainty float64             `json:"uncertainty"`
	Points      []calibration.Point `json:"points,omitempty"`
	// Time is the wall clock, ClockTrusted whether it was synchronised.
	Time         time.Time `json:"time"`
	ClockTrusted bool      `json:"clock_trusted"`
	// Celsius is how warm it was where the sensor is; left out if nobody measured it.
	Celsius *float64 `json:"celsius,omitempty"`
}

// Correction is what the entry does to a reading.
func (e Entry) Correction() calibration.Correction {
	return calibration.Correction{Gain: e.Gain, Offset: e.Offset}
}

// Refuses says why the entry does not hold for the chip that is there, empty if it does.
func (e Entry) Refuses(chip, serial string) string {
	switch {
	case e.Chip != chip:
		return fmt.Sprintf("it is of a %s, and a %s is configured", e.Chip, chip)
	case e.Serial != serial:
		return fmt.Sprintf("it is of the chip with serial number %s, and %s answers", orNone(e.Serial), orNone(serial))
	}
	return ""
}

func orNone(serial string) string {
	if serial == "" {
		return "(none)"
	}
	return serial
}

// bounds of an entry that this program can have written: see package calibration.
func (e Entry) check() error {
	c, known := frame.Parse(e.Channel)
	furthest := 20.0 // K: what a gain of 5 % and an offset can come to at the ice point
	if c == frame.Draft {
		furthest = 5 // Pa
	}
	switch {
	case !known:
		return fmt.Errorf("no channel %q", e.Channel)
	case e.Chip == "":
		return fmt.Errorf("%s: no chip", e.Channel)
	case !slices.Contains([]Method{Zeroed, OnePoint, TwoPoint}, e.Method) || (e.Method == Zeroed) != (c == frame.Draft):
		return fmt.Errorf("%s: no method %q", e.Channel, e.Method)
	case !(math.Abs(e.Gain-1) <= 0.05) || e.Method != TwoPoint && e.Gain != 1:
		return fmt.Errorf("%s: gain of %g", e.Channel, e.Gain)
	case !(math.Abs(e.Offset) <= furthest):
		return fmt.Errorf("%s: offset of %g", e.Channel, e.Offset)
	}
	return nil
}

// File is all calibrations of a site.
type File struct {
	Version int     `json:"version"`
	Entries []Entry `json:"entries"`
}

// For returns the entry of a channel.
func (f *File) For(c frame.Channel) (Entry, bool) {
	if i := slices.IndexFunc(f.Entries, func(e Entry) bool { return e.Channel == c.String() }); i >= 0 {
		return f.Entries[i], true
	}
	return Entry{}, false
}

// Put adds an entry, in place of the channel's former one.
func (f *File) Put(e Entry) {
	f.Entries = slices.DeleteFunc(f.Entries, func(o Entry) bool { return o.Channel == e.Channel })
	f.Entries = append(f.Entries, e)
}

// Parse reads a file's text. Whatever is not as this program writes it is an error: a
// correction that nobody understands must not be applied, nor quietly left out.
func Parse(data []byte) (*File, error) {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	var f File
	if err := d.Decode(&f); err != nil {
		return nil, fmt.Errorf("read calibrations: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("read calibrations: there is something behind the end")
	}
	if f.Version != version {
		return nil, fmt.Errorf("read calibrations: version %d, want %d", f.Version, version)
	}
	seen := map[string]bool{}
	for _, e := range f.Entries {
		if err := e.check(); err != nil {
			return nil, fmt.Errorf("read calibrations: %w", err)
		}
		if seen[e.Channel] {
			return nil, fmt.Errorf("read calibrations: %s stands there twice", e.Channel)
		}
		seen[e.Channel] = true
	}
	return &f, nil
}

// Load reads the calibrations in the state directory; none if there is no file.
func Load(dir string) (*File, error) {
	data, err := os.ReadFile(filepath.Join(dir, FileName))
	if errors.Is(err, fs.ErrNotExist) {
		return &File{Version: version}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read calibrations: %w", err)
	}
	f, err := Parse(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Join(dir, FileName), err)
	}
	return f, nil
}

// Save writes the calibrations into the state directory, so that a power cut leaves the
// old file or the new one.
func (f *File) Save(dir string) error {
	f.Version = version
	for _, e := range f.Entries {
		if err := e.check(); err != nil {
			return fmt.Errorf("write calibrations: %w", err)
		}
	}
	data, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return fmt.Errorf("write calibrations: %w", err)
	}
	if err := atomicfile.Write(dir, FileName, append(data, '\n')); err != nil {
		return fmt.Errorf("write calibrations: %w", err)
	}
	return nil
}
