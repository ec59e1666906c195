package replay

import (
	"errors"
	"io"
	"iter"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/burnlog"
)

// row is one row of a log.
type row struct {
	at    time.Time
	frame frame.Frame
}

// batch is rows in their order, and what ended the reading behind them.
type batch struct {
	rows []row
	err  error
}

// Sizes of what is read ahead: some 200 kB.
const (
	batchRows = 256
	batches   = 4
)

// ahead reads a log in a goroutine of its own, since parsing takes about as long as
// judging does. The error, if there is one, comes behind the last row that was read.
func ahead(r *burnlog.Reader) iter.Seq2[row, error] {
	return func(yield func(row, error) bool) {
		full, empty, stop := make(chan batch, batches), make(chan []row, batches+1), make(chan struct{})
		defer close(stop)
		for range batches + 1 {
			empty <- make([]row, 0, batchRows)
		}
		go read(r, full, empty, stop)
		for b := range full {
			for i := range b.rows {
				if !yield(b.rows[i], nil) {
					return
				}
			}
			if b.err != nil {
				yield(row{}, b.err)
				return
			}
			empty <- b.rows[:0]
		}
	}
}

// read fills batches until the log or whoever wants it ends.
func read(r *burnlog.Reader, full chan<- batch, empty <-chan []row, stop <-chan struct{}) {
	defer close(full)
	for {
		var b batch
		select {
		case b.rows = <-empty:
		case <-stop:
			return
		}
		for len(b.rows) < cap(b.rows) && b.err == nil {
			var next row
			if next.at, next.frame, b.err = r.Next(); b.err == nil {
				b.rows = append(b.rows, next)
			}
		}
		end := errors.Is(b.err, io.EOF)
		if end {
			b.err = nil
		}
		select {
		case full <- b:
		case <-stop:
			return
		}
		if end || b.err != nil {
			return
		}
	}
}
