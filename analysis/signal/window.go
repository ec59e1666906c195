package signal

import "fmt"

// Window keeps the latest samples of a channel in their order: no more than fit, and
// none older than its span.
type Window struct {
	span   float64
	t, v   []float64 // twice as long as the window, so that it is always in one piece
	start  int
	length int
}

// NewWindow makes an empty window for at most capacity samples of the last span
// seconds.
func NewWindow(capacity int, span float64) (*Window, error) {
	if capacity < 1 || !within(span, minStep, maxTime) {
		return nil, fmt.Errorf("window of %d samples over %g s: want at least 1 sample and a positive, finite span", capacity, span)
	}
	return &Window{span: span, t: make([]float64, 2*capacity), v: make([]float64, 2*capacity)}, nil
}

// Add appends a sample and drops those that have become too old or too many. A sample
// that it rejects drops nothing.
func (w *Window) Add(t, v float64) Verdict {
	end := w.start + w.length
	if verdict := judgeSample(t, v, w.length > 0, w.t[max(end-1, 0)]); verdict != Accepted {
		return verdict
	}
	if w.length == len(w.t)/2 {
		w.start, w.length = w.start+1, w.length-1
	}
	if end == len(w.t) {
		copy(w.t, w.t[w.start:end])
		copy(w.v, w.v[w.start:end])
		w.start, end = 0, w.length
	}
	w.t[end], w.v[end] = t, v
	w.length++
	for t-w.t[w.start] > w.span {
		w.start, w.length = w.start+1, w.length-1
	}
	return Accepted
}

// Samples returns times and values, oldest first. They are the window's own: read
// them, and no later than the next Add.
func (w *Window) Samples() (t, v []float64) {
	return w.t[w.start : w.start+w.length], w.v[w.start : w.start+w.length]
}

// Len returns the number of samples.
func (w *Window) Len() int { return w.length }

// Clear forgets all samples.
func (w *Window) Clear() { w.start, w.length = 0, 0 }
