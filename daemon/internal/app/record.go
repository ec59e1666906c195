package app

import (
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
	"fluewright/daemon/internal/status"
)

// recorder writes the frames of a run as a burn log. Its time is the wall clock of the
// first frame plus monotonic time, so that a step of the clock does not tear the log.
type recorder struct {
	log    *burnlog.Writer
	closes []io.Closer // inner first
	start  time.Time
	err    error // the first; nothing is recorded after it
}

// newRecorder creates the log at path, compressed if the name ends in ".gz".
func newRecorder(path string, fitted [frame.Count]bool) (*recorder, error) {
	file, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("create burn log: %w", err)
	}
	r := &recorder{closes: []io.Closer{file}}
	var out io.Writer = file
	if strings.HasSuffix(path, ".gz") {
		z := gzip.NewWriter(file)
		r.closes = []io.Closer{z, file}
		out = z
	}
	if r.log, err = burnlog.NewWriter(out, fitted); err != nil {
		return nil, errors.Join(fmt.Errorf("create burn log: %w", err), r.Close())
	}
	return r, nil
}

// record adds one tick. A log that cannot be written must not end the watch over the
// fire: the error is kept for Close, and returned once, so that it can be told.
func (r *recorder) record(s *status.Status) error {
	if r.err != nil {
		return nil
	}
	if r.start.IsZero() {
		r.start = s.Wall.Add(-s.Frame.At)
	}
	if err := r.log.Write(r.start.Add(s.Frame.At), s.Frame); err != nil {
		r.err = fmt.Errorf("record burn log: %w", err)
	}
	return r.err
}

// Close writes what is left and closes the file.
func (r *recorder) Close() error {
	errs := []error{r.err}
	if r.log != nil {
		errs = append(errs, r.log.Flush())
	}
	for _, c := range r.closes {
		errs = append(errs, c.Close())
	}
	return errors.Join(errs...)
}
