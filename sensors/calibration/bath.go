package calibration

import (
	"fmt"
	"math"
	"time"

	"fluewright/sensors"
)

// A probe in a stirred bath (judgement, no source).
const (
	bathSpread = 0.5 // K
	bathDrift  = 0.3
	bathOver   = time.Minute
)

// Bath waits for a probe to be steady in a bath of known temperature: melting ice, or
// boiling water.
type Bath struct{ readings steady }

// NewBath begins to wait.
func NewBath() *Bath { return &Bath{steady{over: bathOver}} }

// Add takes a reading of the hot junction; done is true when there is a minute of them.
func (b *Bath) Add(at time.Duration, r sensors.Reading) (done bool, err error) {
	switch {
	case r.Quality == sensors.Faulty:
		return false, fmt.Errorf("read the probe: %w", r.Fault)
	case r.Quality < sensors.Suspect:
		return false, fmt.Errorf("read the probe: the reading is %s", r.Quality)
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return false, fmt.Errorf("read the probe: %v is no temperature", r.Value)
	}
	return b.readings.add(at, r.Value), nil
}

// Progress is how much of it is done, 0 to 1.
func (b *Bath) Progress() float64 { return b.readings.progress() }

// Result returns what the probe reads in the bath, °C.
func (b *Bath) Result() (Mean, error) {
	if len(b.readings.values) < 3*batches {
		return Mean{}, fmt.Errorf("only %d readings: want %d at least", len(b.readings.values), 3*batches)
	}
	return b.readings.mean(bathSpread, bathDrift, "K")
}
