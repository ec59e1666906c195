package signal_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/signal"

	"pgregory.net/rapid"
)

// After one time constant in small steps 1 − 1/e of a step is reached (Euler's number by
// the standard library).
func TestTowardIsALag(t *testing.T) {
	got, over := 0.0, 100*time.Second
	for range 10000 {
		got = signal.Toward(got, 1, 10*time.Millisecond, over)
	}
	if want := 1 - 1/math.E; math.Abs(got-want) > 1e-4 {
		t.Errorf("after a time constant %v, want %v", got, want)
	}
}

// Whatever the step, an average stays between where it was and the value.
func TestTowardStaysBetween(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, v := rapid.Float64Range(-1e6, 1e6).Draw(t, "average"), rapid.Float64Range(-1e6, 1e6).Draw(t, "value")
		dt := time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "dt"))
		over := time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "over"))
		got := signal.Toward(a, v, dt, over)
		if slack := 1e-9; !(got >= min(a, v)-slack && got <= max(a, v)+slack) {
			t.Fatalf("%v from %v to %v", got, a, v)
		}
	})
}
