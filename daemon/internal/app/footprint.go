package app

import (
	"context"
	"log/slog"
	"time"
)

// The start needs most of the program's file once, and the kernel maps sixteen pages for each
// that is asked for. giveBackFirst and giveBackEvery say how long after the start that is given
// back at first, and how often what has come since.
const (
	giveBackFirst = 20 * time.Second
	giveBackEvery = time.Hour
)

// footprint keeps what is mapped of the program's file near what is used of it. What is used
// comes back from the kernel's memory at the next touch, within microseconds.
func footprint(log *slog.Logger) func(context.Context) error {
	return func(ctx context.Context) error {
		for wait := giveBackFirst; ; wait = giveBackEvery {
			select {
			case <-ctx.Done():
				return nil
			case <-time.After(wait):
			}
			if err := unmapOwnFile(); err != nil {
				log.Debug("what the start needed of the program's file stays mapped", "error", err)
				return nil
			}
		}
	}
}
