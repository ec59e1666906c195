package trend

import (
	"context"

	"fluewright/daemon/internal/history"
)

// Log is the history that is being kept, read from its newest event back; see
// [history.Store]. What is made of it here reads a bounded number of events, however long
// the history is.
type Log interface {
	Source
	Newest(ctx context.Context, kind string, before int64, most int) ([]history.Event, error)
	Following(ctx context.Context, kind string, after int64, most int) ([]history.Event, error)
	Nth(ctx context.Context, kind string, n int) (e history.Event, ok bool, err error)
	Count(ctx context.Context, kind string, upTo int64) (int, error)
}

// piece is how many events are read at once, so that whoever writes has its turn between.
const piece = 250
