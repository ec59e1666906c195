package signal

import (
	"fmt"
	"math"
)

// madToSigma is 1/Φ⁻¹(3/4): a normal distribution's standard deviation over its median
// absolute deviation.
const madToSigma = 1.4826022185056018

// Judged is what a Hampel filter says of a sample.
type Judged struct {
	// Value is the sample, or the window's median in place of an outlier.
	Value float64
	Raw   float64 // the sample as it came
	// Outlier says that Value is not Raw.
	Outlier bool
	// Full says that the window was full: an earlier sample is passed on unjudged.
	Full bool
}

// Hampel replaces spikes: a sample further than threshold·σ from the median of its
// window becomes that median (Hampel 1974; Davies & Gather 1993, J. Am. Stat. Assoc. 88,
// 782). σ is 1.4826 times the median absolute deviation from the median, but never less
// than a floor. Without one, a quiet quantised signal whose deviations are mostly zero
// would make a spike of every step of its last digit.
//
// A true step passes for spikes until it fills half of the window.
type Hampel struct {
	before, after    int
	threshold, floor float64
	ring, sorted     []float64
	next, filled     int
}

// NewHampel makes a filter whose window has the judged sample, so many before it and
// after samples behind it: by so many its output is late. The classical window is
// symmetric; with none behind it judges the newest sample at once. threshold is in
// standard deviations, 3 by custom. floor is the least standard deviation that is
// believed, in the value's unit: about one step of the sensor.
func NewHampel(before, after int, threshold, floor float64) (*Hampel, error) {
	if before < 0 || after < 0 || before+after < 2 {
		return nil, fmt.Errorf("Hampel filter with %d samples before and %d behind: want at least 2 together", before, after)
	}
	if !within(threshold, 0, maxValue) || !within(floor, math.SmallestNonzeroFloat64, maxValue) {
		return nil, fmt.Errorf("Hampel filter at %g standard deviations of at least %g: want neither below zero and a floor above it", threshold, floor)
	}
	n := before + 1 + after
	return &Hampel{
		before: before, after: after, threshold: threshold, floor: floor,
		ring: make([]float64, n), sorted: make([]float64, n),
	}, nil
}

// Update takes the next sample and returns the judgement of the one that lies as far
// back as the filter is late; ready is false as long as there is none. A rejected
// sample does not enter the window.
func (h *Hampel) Update(v float64) (judged Judged, ready bool, verdict Verdict) {
	if verdict = judgeValue(v); verdict != Accepted {
		return Judged{}, false, verdict
	}
	n := len(h.ring)
	h.ring[h.next] = v
	h.next = (h.next + 1) % n
	h.filled = min(h.filled+1, n)
	if h.filled <= h.after {
		return Judged{}, false, Accepted
	}
	judged.Raw = h.ring[(h.next-1-h.after+2*n)%n]
	judged.Value = judged.Raw
	judged.Full = h.filled == n
	if !judged.Full {
		return judged, true, Accepted
	}
	copy(h.sorted, h.ring)
	middle := median(h.sorted)
	for i, x := range h.ring {
		h.sorted[i] = math.Abs(x - middle)
	}
	sigma := max(mul(madToSigma, median(h.sorted)), h.floor)
	if math.Abs(judged.Raw-middle) > mul(h.threshold, sigma) {
		judged.Value, judged.Outlier = middle, true
	}
	return judged, true, Accepted
}
