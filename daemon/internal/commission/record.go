package commission

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

// Parse reads a procedure's state as it was kept. Whatever is not as this program writes it
// is an error.
func Parse(data []byte) (*commissioning.State, error) {
	s := &commissioning.State{}
	if err := strict(data, s); err != nil {
		return nil, fmt.Errorf("read commissioning: %w", err)
	}
	if s.Version != commissioning.Version {
		return nil, fmt.Errorf("read commissioning: version %d, want %d", s.Version, commissioning.Version)
	}
	if s.Now >= commissioning.Steps || tasks[s.Task].Do == "" {
		return nil, fmt.Errorf("read commissioning: no step %d with task %q", s.Now, s.Task)
	}
	if s.Site != (commissioning.Site{}) {
		if err := s.Site.Validate(); err != nil {
			return nil, fmt.Errorf("read commissioning: %w", err)
		}
	}
	return s, nil
}

func strict(data []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("there is something behind the end")
	}
	return nil
}

// Instrument is a sensor that the numbers rest on.
type Instrument struct {
	Channels string `json:"channels"`
	Chip     string `json:"chip"`
	Serial   string `json:"serial,omitempty"` // empty: the chip has none
	Note     string `json:"note,omitempty"`   // of its calibration
}

// About is what a report says beside the procedure's own record.
type About struct {
	Site         string       `json:"site"`
	Made         time.Time    `json:"made"`
	ClockTrusted bool         `json:"clock_trusted"`
	Software     string       `json:"software"`
	Units        units.System `json:"units"`
	Demo         bool         `json:"demonstration"` // nothing here was measured
	Instruments  []Instrument `json:"instruments"`
}

// Record is a report as it is kept: everything, in SI, with a number and a hash.
type Record struct {
	Version int    `json:"version"`
	Number  string `json:"number"`
	SHA256  string `json:"sha256"` // of the record with number and hash empty
	About
	Verdict Verdict             `json:"verdict"`
	State   commissioning.State `json:"state"`
	Compare *Comparison         `json:"comparison,omitempty"` // of a season start
}

// recordVersion is that of Record as JSON.
const recordVersion = 1

// Verdict is what it all comes to.
type Verdict string

// The verdicts.
const (
	Pass          Verdict = "pass"
	PassCautions  Verdict = "pass with cautions"
	PassCorrected Verdict = "pass at corrected mark"
	NotComplete   Verdict = "not complete"
	Fail          Verdict = "fail"
	Stopped       Verdict = "stop"
)

// corrected is how far the mark must have gone to count as corrected.
const corrected = 0.5

// Judge returns what a procedure comes to so far.
func Judge(s *commissioning.State) Verdict {
	failed, skipped, cautions := false, false, false
	for _, r := range s.Results {
		for _, f := range r.Findings {
			if f.Grade == commissioning.Stop {
				return Stopped
			}
		}
		switch r.Outcome {
		case commissioning.Failure:
			failed = true
		case commissioning.Skipped, commissioning.NotDone:
			skipped = true
		case commissioning.Cautioned:
			cautions = true
		}
	}
	moved := s.Mark - s.Site.Regulator.Mark
	switch {
	case failed:
		return Fail
	case skipped || !s.Over():
		return NotComplete
	case moved >= corrected || moved <= -corrected:
		return PassCorrected
	case cautions:
		return PassCautions
	}
	return Pass
}

// NewRecord makes the record of a procedure, over or not, as it stands. before is that of
// the commissioning that a season start is compared with; nil: none is kept.
func NewRecord(s *commissioning.State, about About, before *Record) (Record, error) {
	r := Record{Version: recordVersion, About: about, Verdict: Judge(s), State: *s}
	r.Made = about.Made.Round(0).UTC().Truncate(time.Second)
	r.State.Watch = commissioning.Measuring{} // of the moment
	if s.Season && before != nil {
		c := Compare(before, s)
		r.Compare = &c
	}
	sum, err := r.hash()
	if err != nil {
		return Record{}, err
	}
	r.SHA256 = sum
	r.Number = fmt.Sprintf("FW-%s-%s", r.Made.Format("20060102"), strings.ToUpper(sum[:8]))
	return r, nil
}

// hash returns the SHA-256 of the canonical record: its JSON as this program writes it, on
// one line, number and hash empty.
func (r Record) hash() (string, error) {
	r.Number, r.SHA256 = "", ""
	text, err := json.Marshal(r)
	if err != nil {
		return "", fmt.Errorf("write record: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}

// ParseRecord reads a record, and refuses one whose hash is not its own.
func ParseRecord(data []byte) (Record, error) {
	var r Record
	if err := strict(data, &r); err != nil {
		return Record{}, fmt.Errorf("read record: %w", err)
	}
	if r.Version != recordVersion {
		return Record{}, fmt.Errorf("read record: version %d, want %d", r.Version, recordVersion)
	}
	sum, err := r.hash()
	if err != nil {
		return Record{}, err
	}
	if sum != r.SHA256 {
		return Record{}, errors.New("read record: its hash is not that of what it holds: it was changed")
	}
	return r, nil
}

// WriteJSON writes the record on indented lines; the hash is that of the same on one line.
func (r Record) WriteJSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	if err := enc.Encode(r); err != nil {
		return fmt.Errorf("write record: %w", err)
	}
	return nil
}
