package signal

import "fmt"

// Shift is which way a mean has moved.
type Shift int8

// The shifts.
const (
	ShiftDown Shift = iota - 1
	NoShift
	ShiftUp
)

// String names the shift.
func (s Shift) String() string {
	switch s {
	case ShiftDown:
		return "down"
	case ShiftUp:
		return "up"
	default:
		return "none"
	}
}

// CUSUM finds a small but lasting shift of a mean, both ways (Page 1954, Biometrika 41,
// 100):
//
//	C⁺ ← max(0, C⁺ + z − k), C⁻ ← max(0, C⁻ − z − k), a shift when either exceeds h
//
// where z is the sample less the mean, over the standard deviation. k is half the shift
// that matters. For k = 0.5 and h = 4 it takes 168 samples on average to a false alarm
// and 8.38 to find a shift of one standard deviation; for h = 5 these are 465 and 10.4
// (Lucas & Crosier 1982, Technometrics 24, 199, and the integral equation). The numbers
// hold for independent samples: the noise of a thermocouple read once a second is not,
// and false alarms come far sooner.
type CUSUM struct {
	k, h, head float64
	up, down   float64
}

// NewCUSUM makes a CUSUM with reference value k and decision value h, in standard
// deviations. Both sums begin at headStart: 0, or h/2 to find at once a shift that was
// there from the beginning.
func NewCUSUM(k, h, headStart float64) (*CUSUM, error) {
	if !within(k, 0, maxValue) || !within(h, minStep, maxValue) || !within(headStart, 0, h) {
		return nil, fmt.Errorf("CUSUM with k %g, h %g, head start %g: want k ≥ 0, h > 0 and a head start from 0 to h", k, h, headStart)
	}
	c := &CUSUM{k: k, h: h, head: headStart}
	c.Reset()
	return c, nil
}

// Update takes the next standardised sample and says whether the mean has shifted. The
// sums go on growing behind a finding; the caller resets them when it has dealt with
// it. A rejected sample changes nothing, and its Shift is NoShift.
func (c *CUSUM) Update(z float64) (Shift, Verdict) {
	if verdict := judgeValue(z); verdict != Accepted {
		return NoShift, verdict
	}
	c.up = max(0, c.up+z-c.k)
	c.down = max(0, c.down-z-c.k)
	switch {
	case c.up > c.h && c.up >= c.down:
		return ShiftUp, Accepted
	case c.down > c.h:
		return ShiftDown, Accepted
	default:
		return NoShift, Accepted
	}
}

// Sums returns C⁺ and C⁻.
func (c *CUSUM) Sums() (up, down float64) { return c.up, c.down }

// Reset sets both sums back to the head start.
func (c *CUSUM) Reset() { c.up, c.down = c.head, c.head }
