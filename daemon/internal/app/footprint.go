package app

import (
	"context"
	"log/slog"
	"time"
)

// The start needs most of the program's file once, and the kernel maps sixteen pages for
// each that is asked for: four fifths of what is mapped then is never read again. unmapEvery
// and unmapFirst say how often it is let go of, and how long after the start at first.
const (
	unmapFirst = 20 * time.Second
	unmapEvery = time.Hour
)

// footprint keeps what is mapped of the program's file to what is used. What is used comes
// back from the kernel's memory at the next touch, within microseconds.
func footprint(log *slog.Logger) func(context.Context) error {
	return func(ctx context.Context) error {
		for wait := unmapFirst; ; wait = unmapEvery {
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
