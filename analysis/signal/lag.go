package signal

import (
	"fmt"
	"math"
)

// Lag is a first-order lag, dy/dt = (u − y)/τ: what a sheath makes of the temperature
// around it, and the exponential smoother of unevenly spaced samples. Between two
// samples the input is taken for a straight line, for which the result is exact:
// y ← y + a·(u₀ − y) + b·(u₁ − u₀) with a = 1 − exp(−dt/τ) and b = 1 − a·τ/dt.
type Lag struct {
	tau     float64
	t, u, y float64
	started bool
}

// NewLag makes a lag of time constant tau in seconds.
func NewLag(tau float64) (*Lag, error) {
	if !within(tau, minStep, maxTime) {
		return nil, fmt.Errorf("lag of %g s: want a positive, finite time constant", tau)
	}
	return &Lag{tau: tau}, nil
}

// Update takes a sample and returns the lagged value; the first one finds the lag
// settled on it. A rejected sample changes nothing and returns the last value, 0 before
// the first.
func (l *Lag) Update(t, v float64) (float64, Verdict) {
	if verdict := judgeSample(t, v, l.started, l.t); verdict != Accepted {
		return l.y, verdict
	}
	if l.started {
		a, b := rise((t - l.t) / l.tau)
		l.y += mul(a, l.u-l.y) + mul(b, v-l.u)
	} else {
		l.y = v
	}
	l.t, l.u, l.started = t, v, true
	return l.y, Accepted
}

// NoiseGain returns the ratio of the standard deviations of output and input for
// independent noise on samples step seconds apart: the root of the sum of squares of
// the response to a single sample, b, a − b + (1 − a)·b, and from there falling by
// 1 − a.
func (l *Lag) NoiseGain(step float64) float64 {
	first, rest := l.response(step)
	return math.Sqrt(mul(first, first) + rest)
}

// response returns the response to a single sample: the first value, and the sum of the
// squares of all later ones.
func (l *Lag) response(step float64) (first, rest float64) {
	a, b := rise(step / l.tau)
	second := a - b + mul(1-a, b)
	return b, mul(second, second) / mul(a, 2-a)
}

// Compensator undoes a known first-order lag: T = y + τ·dy/dt, as far as noise allows.
// It is the lag's inverse behind a faster lag of τ/g: T = g·y + (1 − g)·lag(y), so that
// what remains is a first-order lag g times as fast, and no noise, whatever its
// spectrum, comes out more than g times as large. (With L the gain of the faster lag,
// |L|² ≤ Re L at every frequency, also sampled, hence |g + (1 − g)·L| ≤ g.)
//
// A time constant that is in truth smaller makes it overshoot; it is uncertain by a
// factor of two where the flow is (see the response times that makers print).
type Compensator struct {
	fast Lag
	gain float64
}

// NewCompensator makes a compensator for the time constant tau in seconds that
// multiplies noise at most by maxGain, 1 or more.
func NewCompensator(tau, maxGain float64) (*Compensator, error) {
	if !within(maxGain, 1, 1e3) {
		return nil, fmt.Errorf("compensate a lag with a noise gain of %g: want 1 to 1000", maxGain)
	}
	fast, err := NewLag(tau / maxGain)
	if err != nil {
		return nil, fmt.Errorf("compensate a lag: %w", err)
	}
	return &Compensator{fast: *fast, gain: maxGain}, nil
}

// Update takes a lagged sample and returns what it would be without the lag, the sample
// itself the first time. A rejected sample changes nothing and returns the last value,
// 0 before the first.
func (c *Compensator) Update(t, v float64) (float64, Verdict) {
	_, verdict := c.fast.Update(t, v)
	return mul(c.gain, c.fast.u) + mul(1-c.gain, c.fast.y), verdict
}

// Remaining returns the time constant in seconds that is left.
func (c *Compensator) Remaining() float64 { return c.fast.tau }

// NoiseGain returns the ratio of the standard deviations of output and input for
// independent noise on samples step seconds apart. It is below the gain that the
// compensator was made for.
func (c *Compensator) NoiseGain(step float64) float64 {
	first, rest := c.fast.response(step)
	first = c.gain + mul(1-c.gain, first)
	return math.Sqrt(mul(first, first) + mul(mul(1-c.gain, 1-c.gain), rest))
}
