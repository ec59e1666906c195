package sensors

import (
	"context"
	"fmt"
	"time"
)

// Sensor is one chip as a reading loop sees it. Its methods are called from one
// goroutine, the bus's, and never at the same time.
type Sensor interface {
	fmt.Stringer // chip and where it sits: "max31856 on /dev/spidev0.0"

	// Start identifies the chip, checks that it is the configured part, puts it into
	// its measuring state and reads that back. It is called before the first Sense and
	// again after each fault that calls for it; it may wait, on the clock that the
	// driver was given, as long as the datasheet asks.
	Start(ctx context.Context) error

	// Sense looks at the chip once. It returns a *Fault, wrapped or not, whenever the
	// words cannot be trusted; a Fault with code NotReady means that the chip has
	// nothing new yet and is no failure.
	Sense(ctx context.Context) (Sample, error)

	// Halt leaves the chip in its idle state. It may be called twice.
	Halt() error
}

// Identified is a sensor that can tell its specimen from another of the same part.
type Identified interface {
	// Serial is the number that answered at the last Start, empty before.
	Serial() string
}

// Clock is the time that a reading loop and its drivers live in: the system's, or a
// bench's that runs faster.
type Clock interface {
	// Now carries a monotonic reading, so that differences survive a clock step.
	Now() time.Time
	// Sleep waits for d, or returns ctx's error when it ends first.
	Sleep(ctx context.Context, d time.Duration) error
}

// SystemClock is the computer's own time.
type SystemClock struct{}

// Now returns time.Now.
func (SystemClock) Now() time.Time { return time.Now() }

// Sleep waits for d.
func (SystemClock) Sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
