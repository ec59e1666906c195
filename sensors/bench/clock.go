package bench

import (
	"context"
	"time"

	"fluewright/sensors"
)

// Clock is time that runs faster or slower than the computer's. It starts at the
// computer's time and may be used by many goroutines.
type Clock struct {
	start time.Time
	speed float64
}

// NewClock returns a clock that runs speed times as fast as the computer's; speed must
// be above 0, and 1 is real time.
func NewClock(speed float64) *Clock {
	return &Clock{start: time.Now(), speed: speed}
}

// Now returns the bench's time, with a monotonic reading.
func (c *Clock) Now() time.Time {
	return c.start.Add(time.Duration(float64(time.Since(c.start)) * c.speed))
}

// Sleep waits for d of the bench's time.
func (c *Clock) Sleep(ctx context.Context, d time.Duration) error {
	return sensors.SystemClock{}.Sleep(ctx, time.Duration(float64(d)/c.speed))
}

// Speed returns how many times as fast as the computer's time it runs.
func (c *Clock) Speed() float64 { return c.speed }
