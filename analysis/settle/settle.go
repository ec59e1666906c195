// Package settle tells when a reading is steady enough to be written down, and with what
// uncertainty. It changes when the test does; what is measured, and how steady it must be,
// is the caller's affair.
//
// The test is one of equivalence, not a timer: over the latest stretch the trend, with
// its own uncertainty, must stay within a tolerance, and the mean must be known to half of
// it. A calm chimney passes within three minutes, a gusty one takes longer, and one that
// still warms up never does. Neighbouring readings are not independent (a gust lasts
// seconds, a sheath lags by tens of them), so readings are first averaged over batches, and
// what correlation is left between these widens the errors.
//
// Zero values have seen nothing. Pure; the same bits on every architecture. A Watch has
// only numbers that JSON carries exactly, so that it may be kept and go on.
package settle

import (
	"math"
	"time"
)

const (
	// batch is what is averaged: long against a gust and the swing of a gate.
	batch = 10 * time.Second
	// longest gap between two readings that belong to one stretch.
	gap = 2 * time.Minute
	// most batches that are kept, and how many each stretch that is tried has, longest first.
	most = 48
	// confidence of the two one-sided tests: 95 % each, which makes an interval of 90 %.
	z = 1.645
)

var stretches = [...]int{48, 30, 18}

// Mean is a steady reading.
type Mean struct {
	Value  float64       `json:"value"`
	Error  float64       `json:"error"`  // standard error of Value
	Spread float64       `json:"spread"` // standard deviation of single batches about the trend
	Trend  float64       `json:"trend"`  // change over the stretch by its straight line
	Over   time.Duration `json:"over_ns"`
}

// Watch follows one quantity.
type Watch struct {
	Means []float64     `json:"means,omitempty"` // of full batches, oldest first
	Last  time.Duration `json:"last_ns"`
	Sum   float64       `json:"sum"`  // value times s of the batch under way
	Held  float64       `json:"held"` // s that it holds
	Begun bool          `json:"begun"`
}

// Add takes a reading at a time. NaN is no reading. A gap of two minutes begins anew, time
// that runs backwards counts as none.
func (w *Watch) Add(at time.Duration, v float64) {
	dt := at - w.Last
	if !w.Begun || dt > gap || dt < 0 {
		w.Reset()
		w.Begun, w.Last = true, at
		return
	}
	if math.IsNaN(v) || math.IsInf(v, 0) || dt == 0 {
		return // the time until the next reading is that one's
	}
	w.Last = at
	w.Sum += float64(v * dt.Seconds())
	w.Held += dt.Seconds()
	if w.Held < batch.Seconds() {
		return
	}
	if len(w.Means) == most {
		copy(w.Means, w.Means[1:])
		w.Means = w.Means[:most-1]
	}
	w.Means = append(w.Means, w.Sum/w.Held)
	w.Sum, w.Held = 0, 0
}

// Reset forgets everything: what is measured has been changed on purpose.
func (w *Watch) Reset() {
	*w = Watch{Means: w.Means[:0]}
}

// For is how long has been watched.
func (w *Watch) For() time.Duration { return time.Duration(len(w.Means)) * batch }

// Steady returns the mean over the longest stretch that passes: trend and its uncertainty
// within ±tolerance, in the unit of the readings, the mean known to half of it. Otherwise
// the latest stretch as it is, and false; the zero Mean if there is not even that.
func (w *Watch) Steady(tolerance float64) (Mean, bool) {
	var latest Mean
	for _, n := range stretches {
		if len(w.Means) < n {
			continue
		}
		m, slopeError := fit(w.Means[len(w.Means)-n:])
		latest = m
		if math.Abs(m.Trend)+float64(z*slopeError) <= tolerance && float64(z*m.Error) <= tolerance/2 {
			return m, true
		}
	}
	return latest, false
}

// fit draws a straight line through evenly spaced batches and returns their mean and the
// standard error of the trend over all of them.
func fit(y []float64) (m Mean, trendError float64) {
	n := float64(len(y))
	for _, v := range y {
		m.Value += v
	}
	m.Value /= n
	middle := float64((n - 1) / 2)
	var xy, xx float64
	for i, v := range y {
		x := float64(i) - middle
		xy += float64(x * (v - m.Value))
		xx += float64(x * x)
	}
	slope := xy / xx
	var rr, lagged, before float64
	for i, v := range y {
		r := v - m.Value - float64(slope*(float64(i)-middle))
		rr += float64(r * r)
		if i > 0 {
			lagged += float64(r * before)
		}
		before = r
	}
	variance := rr / (n - 2)
	m.Spread = math.Sqrt(variance)
	m.Trend = float64(slope * n)
	m.Over = time.Duration(len(y)) * batch
	// Batches that follow each other with correlation ρ are worth (1-ρ)/(1+ρ) of as many;
	// a negative one is not believed.
	correlation := 0.0
	if rr > 0 {
		correlation = max(0, min(0.8, lagged/rr))
	}
	worth := (1 + correlation) / (1 - correlation)
	m.Error = math.Sqrt(variance * worth / n)
	return m, float64(math.Sqrt(variance*worth/xx) * n)
}
