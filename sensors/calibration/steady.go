package calibration

import (
	"fmt"
	"math"
	"time"
)

// batches is into how many parts the readings are divided. Their means are nearly
// independent although neighbouring readings are not, and student is Student's t for 95 %
// and one degree of freedom less than there are.
const (
	batches = 10
	student = 2.262
)

// Mean is the mean of a time of quiet readings.
type Mean struct {
	Value float64
	// Uncertainty is the half-width of the 95 % interval of the mean, from the spread of
	// the batches. It says nothing of what is wrong with all readings alike.
	Uncertainty float64
	Readings    int
}

// NotQuietError says that readings move too much to be averaged.
type NotQuietError struct {
	// Spread is their standard deviation and Drift the second half's mean less the first's,
	// in the unit of the readings.
	Spread, Drift float64
	Unit          string
}

// Error says by how much.
func (e *NotQuietError) Error() string {
	return fmt.Sprintf("the reading is not quiet: it spreads by %.2f %s and drifts by %+.2f %s", e.Spread, e.Unit, e.Drift, e.Unit)
}

// steady collects readings over a time.
type steady struct {
	over   time.Duration
	start  time.Duration
	last   time.Duration
	values []float64
}

// add takes a reading at a time that must move on and reports whether that is enough.
func (s *steady) add(at time.Duration, v float64) (done bool) {
	switch {
	case len(s.values) == 0:
		s.start = at
	case at <= s.last:
		return false // the same reading again
	}
	s.last = at
	s.values = append(s.values, v)
	return at-s.start >= s.over && len(s.values) >= 3*batches
}

// progress is how much has been done, 0 to 1.
func (s *steady) progress() float64 {
	return min(1, (s.last-s.start).Seconds()/s.over.Seconds())
}

// mean averages, if the readings are quiet enough for that.
func (s *steady) mean(spread, drift float64, unit string) (Mean, error) {
	n := len(s.values)
	all := average(s.values)
	var squares float64
	for _, v := range s.values {
		squares += float64((v - all) * (v - all))
	}
	found := &NotQuietError{
		Spread: math.Sqrt(squares / float64(n-1)),
		Drift:  average(s.values[n/2:]) - average(s.values[:n/2]),
		Unit:   unit,
	}
	if !(found.Spread <= spread && math.Abs(found.Drift) <= drift) {
		return Mean{}, found
	}
	var means [batches]float64
	for i := range means {
		means[i] = average(s.values[i*n/batches : (i+1)*n/batches])
	}
	grand := average(means[:])
	squares = 0
	for _, m := range means {
		squares += float64((m - grand) * (m - grand))
	}
	return Mean{
		Value:       all,
		Uncertainty: student * math.Sqrt(squares/(batches-1)/batches),
		Readings:    n,
	}, nil
}

func average(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}
