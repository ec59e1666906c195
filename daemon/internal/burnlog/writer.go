package burnlog

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"fluewright/analysis/frame"
)

// timeLayout keeps milliseconds, which is what frames are stamped to.
const timeLayout = "2006-01-02T15:04:05.000Z07:00"

// Writer writes a burn log.
type Writer struct {
	csv      *csv.Writer
	channels []frame.Channel
	record   []string
}

// NewWriter writes the head of a log with a column for each fitted channel.
func NewWriter(w io.Writer, fitted [frame.Count]bool) (*Writer, error) {
	out := &Writer{csv: csv.NewWriter(w)}
	head := []string{"time"}
	for _, c := range frame.All() {
		if fitted[c] {
			out.channels = append(out.channels, c)
			head = append(head, Heading(c))
		}
	}
	out.record = make([]string, len(head))
	if err := out.csv.Write(head); err != nil {
		return nil, fmt.Errorf("write head: %w", err)
	}
	return out, nil
}

// Write adds one frame, stamped t. Numbers are written so that reading them back gives
// the same bits; a channel without a usable value is left empty.
func (w *Writer) Write(t time.Time, f frame.Frame) error {
	w.record[0] = t.Format(timeLayout)
	for i, c := range w.channels {
		w.record[i+1] = ""
		if in := f.Inputs[c]; in.Usable() {
			w.record[i+1] = strconv.FormatFloat(in.Value, 'f', -1, 64)
		}
	}
	if err := w.csv.Write(w.record); err != nil {
		return fmt.Errorf("write row: %w", err)
	}
	return nil
}

// Flush hands what was written to the writer below.
func (w *Writer) Flush() error {
	w.csv.Flush()
	if err := w.csv.Error(); err != nil {
		return fmt.Errorf("write log: %w", err)
	}
	return nil
}
