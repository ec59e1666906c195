package burnlog

import (
	"bufio"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"fluewright/analysis/frame"
)

// Reader reads a burn log row by row.
type Reader struct {
	csv     *csv.Reader
	columns []column
	start   time.Time
	last    time.Time
	seconds bool
	rows    int
}

// NewReader reads the head of a log, compressed or not.
func NewReader(r io.Reader) (*Reader, error) {
	buffered := bufio.NewReaderSize(r, 1<<16)
	if magic, err := buffered.Peek(2); err == nil && magic[0] == 0x1f && magic[1] == 0x8b {
		plain, err := gzip.NewReader(buffered)
		if err != nil {
			return nil, fmt.Errorf("open gzip: %w", err)
		}
		buffered = bufio.NewReaderSize(plain, 1<<16)
	}
	if bom, err := buffered.Peek(3); err == nil && string(bom) == "\ufeff" {
		if _, err := buffered.Discard(3); err != nil {
			return nil, fmt.Errorf("read log: %w", err)
		}
	}
	c := csv.NewReader(buffered)
	c.ReuseRecord = true
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("row 1: the log is empty")
	} else if err != nil {
		return nil, fmt.Errorf("row 1: %w", err)
	}
	if strings.TrimSpace(head[0]) != "time" {
		return nil, fmt.Errorf("row 1: the first column is %q: want \"time\"", head[0])
	}
	out := &Reader{csv: c}
	var seen [frame.Count]bool
	for _, h := range head[1:] {
		col, err := columnOf(strings.TrimSpace(h))
		if err != nil {
			return nil, fmt.Errorf("row 1: %w", err)
		}
		if seen[col.channel] {
			return nil, fmt.Errorf("row 1: %v stands twice", col.channel)
		}
		seen[col.channel] = true
		out.columns = append(out.columns, col)
	}
	if len(out.columns) == 0 {
		return nil, fmt.Errorf("row 1: no channel: want some of %s", strings.Join(headings(), " "))
	}
	return out, nil
}

// Fitted says which channels the log has a column for.
func (r *Reader) Fitted() (fitted [frame.Count]bool) {
	for _, c := range r.columns {
		fitted[c.channel] = true
	}
	return fitted
}

// Rows is how many data rows have been read.
func (r *Reader) Rows() int { return r.rows }

// Next returns the next row as a frame and its time on the log's clock. The frame's
// time counts from the first row. It returns io.EOF after the last row; any other error
// names the row.
func (r *Reader) Next() (time.Time, frame.Frame, error) {
	record, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		return time.Time{}, frame.Frame{}, io.EOF
	}
	if err != nil {
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			return time.Time{}, frame.Frame{}, fmt.Errorf("row %d: %w", bad.Line, bad.Err)
		}
		return time.Time{}, frame.Frame{}, fmt.Errorf("read after row %d: %w", r.rows+1, err)
	}
	t, f, err := r.row(record)
	if err != nil {
		line, _ := r.csv.FieldPos(0)
		return time.Time{}, frame.Frame{}, fmt.Errorf("row %d: %w", line, err)
	}
	r.rows++
	return t, f, nil
}

func (r *Reader) row(record []string) (time.Time, frame.Frame, error) {
	var f frame.Frame
	t, err := r.time(strings.TrimSpace(record[0]))
	if err != nil {
		return t, f, err
	}
	if r.rows == 0 {
		r.start = t
	} else if t.Before(r.last) {
		return t, f, fmt.Errorf("time %s is before the row above", record[0])
	}
	r.last = t
	f.At = t.Sub(r.start)
	for i, col := range r.columns {
		field := strings.TrimSpace(record[i+1])
		if field == "" {
			continue // no reading
		}
		v, err := strconv.ParseFloat(field, 64)
		v = col.si(v)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return t, f, fmt.Errorf("%v %q is not a number: leave the field empty for no reading", col.channel, field)
		}
		f.Inputs[col.channel] = frame.Input{Value: v, Quality: frame.Good}
	}
	return t, f, nil
}

// time reads a time stamp; the first row decides between RFC 3339 and seconds.
func (r *Reader) time(s string) (time.Time, error) {
	if r.rows > 0 && !r.seconds || r.rows == 0 && strings.Contains(s, "T") {
		t, err := time.Parse(time.RFC3339, s)
		if err != nil {
			return t, fmt.Errorf("time %q: want RFC 3339, as 2026-01-31T21:04:05Z", s)
		}
		return t, nil
	}
	const most = 1e11 // seconds: beyond any log, within what a time can hold
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(math.Abs(v) < most) {
		return time.Time{}, fmt.Errorf("time %q: want RFC 3339, as 2026-01-31T21:04:05Z, or seconds", s)
	}
	r.seconds = true
	whole := math.Floor(v)
	return time.Unix(int64(whole), int64(math.Round((v-whole)*1e9))).UTC(), nil
}
