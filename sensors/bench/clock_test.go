package bench

import (
	"context"
	"testing"
	"testing/synctest"
	"time"
)

func TestClockRunsAtItsSpeedWhileAllSleep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(60)
		began, start := time.Now(), c.Now()
		for range 10 {
			if err := c.Sleep(t.Context(), time.Minute); err != nil {
				t.Fatal(err)
			}
		}
		if got := c.Now().Sub(start); got != 10*time.Minute {
			t.Errorf("%v have passed by the clock", got)
		}
		if got := time.Since(began); got < 9999*time.Millisecond || got > 10001*time.Millisecond {
			t.Errorf("that took %v, want 10s", got)
		}
	})
}

// Two minutes of work in a time-lapse must not become two hours of missing readings.
func TestClockWaitsForWhoWorks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(600)
		start := c.Now()
		if err := c.Sleep(t.Context(), time.Minute); err != nil {
			t.Fatal(err)
		}
		<-time.After(500 * time.Millisecond) // work
		if got := c.Now().Sub(start); got != time.Minute+500*time.Millisecond {
			t.Errorf("%v have passed by the clock", got)
		}
		if err := c.Sleep(t.Context(), time.Minute); err != nil {
			t.Fatal(err)
		}
		if got := c.Now().Sub(start); got != 2*time.Minute+500*time.Millisecond {
			t.Errorf("%v have passed by the clock", got)
		}
	})
}

func TestClockDoesNotWaitForWhoHasEnded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(60)
		go func() { _ = c.Sleep(t.Context(), time.Minute) }() // and never again
		start := c.Now()
		if err := c.Sleep(t.Context(), 2*time.Minute); err != nil {
			t.Fatal(err)
		}
		if err := c.Sleep(t.Context(), time.Hour); err != nil {
			t.Fatal(err)
		}
		if got := c.Now().Sub(start); got < time.Hour+2*time.Minute || got > time.Hour+3*time.Minute {
			t.Errorf("%v have passed by the clock", got)
		}
	})
}

func TestClockSleepEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(60)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := c.Sleep(ctx, time.Hour); err != context.DeadlineExceeded {
			t.Errorf("%v", err)
		}
		if len(c.asleep) != 0 {
			t.Error("it is still listed as asleep")
		}
	})
}
