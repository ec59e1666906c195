package instruments

import (
	"context"
	"iter"
	"math"
	"slices"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// Rows is a history's.
type Rows interface {
	Rows(ctx context.Context, from, to time.Time) iter.Seq2[history.Row, error]
}

// ScatterSpan is what the scatter is taken over.
const ScatterSpan = 5 * time.Minute

// fewest is how many steps a scatter takes: with fewer, chance is most of it.
const fewest = 30

// Scatter returns the robust standard deviation of one reading of each channel over the span
// before now: that of the steps from reading to reading, over √2, so that slow change is left
// out and single spikes count little. It is NaN where there were too few.
func Scatter(ctx context.Context, h Rows, now time.Time) (all [frame.Count]float64, err error) {
	var steps [frame.Count][]float64
	var last history.Row
	some := false
	for row, err := range h.Rows(ctx, now.Add(-ScatterSpan), now) {
		if err != nil {
			return all, err
		}
		for c := range row.Values {
			if d := row.Values[c] - last.Values[c]; some && !math.IsNaN(d) {
				steps[c] = append(steps[c], d)
			}
		}
		last, some = row, true
	}
	for c := range all {
		all[c] = math.NaN()
		if len(steps[c]) >= fewest {
			all[c] = deviation(steps[c]) / math.Sqrt2
		}
	}
	return all, nil
}

// deviation is 1.4826 times the median of the distances from the median, which is the
// standard deviation of what is normally distributed.
func deviation(v []float64) float64 {
	m := median(v)
	for i := range v {
		v[i] = math.Abs(v[i] - m)
	}
	return 1.4826 * median(v)
}

func median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}
