package signal

import (
	"fmt"
	"math"
)

// KalmanConfig says what a Kalman filter takes for possible.
type KalmanConfig struct {
	// States is how much is estimated: 1 the level, 2 also its slope, 3 also its
	// curvature.
	States int
	// Process is the variance that the highest state gains a second: (K/s²)²/s of a
	// temperature's curvature. The smaller, the smoother and the slower.
	Process float64
	// Measurement is the variance of one sample, in the value's unit squared.
	Measurement float64
	// Prior holds the variances of level, slope and curvature before the first sample,
	// all about zero: a level that may be anywhere, a slope and a curvature as large as
	// the channel can have.
	Prior [3]float64
	// MaxGap is the longest step in seconds that the filter bridges. It bounds what a
	// step adds to the uncertainty: behind a longer one the filter begins anew instead
	// of following an old curvature into nothing.
	MaxGap float64
}

// KalmanEstimate is a channel's state at one time.
type KalmanEstimate struct {
	Time                    float64 // s
	Level, Slope, Curvature float64 // value; value a second; a second squared
	// Covariance is that of level, slope and curvature, in this order; rows and columns
	// of states that are not estimated are zero.
	Covariance [3][3]float64
}

// Kalman estimates level, slope and curvature of a channel from unevenly spaced
// samples, with their covariance.
//
// The state moves by x ← F·x, with F the Taylor series in the step dt; the highest
// state does a random walk whose increment has the variance Process·dt and reaches the
// others as g = (dt²/2, dt, 1) for three states, (dt/2, 1) for two (the piecewise
// constant model of Bar-Shalom, Li & Kirubarajan 2001, with a noise in proportion to the
// step). The update is in Joseph's
// form, which keeps the covariance positive.
type Kalman struct {
	config   KalmanConfig
	x        [3]float64
	p        [3][3]float64
	t        float64
	surprise float64
	started  bool
}

// Bounds of a filter's settings, from the finest to the coarsest that arithmetic bears.
const (
	minVariance = 1e-18
	maxVariance = 1e12
	maxMaxGap   = 1e6 // s
)

// NewKalman makes a filter that has seen nothing.
func NewKalman(c KalmanConfig) (*Kalman, error) {
	if c.States < 1 || c.States > 3 {
		return nil, fmt.Errorf("Kalman filter of %d states: want 1 to 3", c.States)
	}
	if !within(c.MaxGap, minStep, maxMaxGap) {
		return nil, fmt.Errorf("Kalman filter's longest gap %g s: want %g to %g", c.MaxGap, float64(minStep), float64(maxMaxGap))
	}
	for _, v := range append(c.Prior[:c.States:c.States], c.Process, c.Measurement) {
		if !within(v, minVariance, maxVariance) {
			return nil, fmt.Errorf("Kalman filter's variance %g: want %g to %g", v, minVariance, maxVariance)
		}
	}
	return &Kalman{config: c}, nil
}

// Update takes a sample. A rejected one changes nothing.
func (k *Kalman) Update(t, v float64) Verdict {
	if verdict := judgeSample(t, v, k.started, k.t); verdict != Accepted {
		return verdict
	}
	if !k.started || t-k.t > k.config.MaxGap {
		k.begin()
	} else {
		k.x, k.p = k.predict(t - k.t)
	}
	k.t, k.started = t, true
	k.correct(v)
	return Accepted
}

// Expect sets the variances of process and samples from now on, as KalmanConfig has them,
// where they are found out on the way. What no filter could have is brought into bounds;
// NaN is ignored.
func (k *Kalman) Expect(process, measurement float64) {
	bound := func(set *float64, v float64) {
		if !math.IsNaN(v) {
			*set = min(max(v, minVariance), maxVariance)
		}
	}
	bound(&k.config.Process, process)
	bound(&k.config.Measurement, measurement)
}

// begin forgets everything but the prior.
func (k *Kalman) begin() {
	k.x, k.p = [3]float64{}, [3][3]float64{}
	for i := range k.config.States {
		k.p[i][i] = k.config.Prior[i]
	}
}

// predict returns state and covariance dt seconds on.
func (k *Kalman) predict(dt float64) (x [3]float64, p [3][3]float64) {
	n := k.config.States
	half := mul(dt, dt) / 2
	f := [3][3]float64{{1, dt, half}, {0, 1, dt}, {0, 0, 1}}
	g := [3][3]float64{{1}, {dt / 2, 1}, {half, dt, 1}}[n-1]
	var fp [3][3]float64
	for i := range n {
		for j := range n {
			x[i] += mul(f[i][j], k.x[j])
			for l := range n {
				fp[i][j] += mul(f[i][l], k.p[l][j])
			}
		}
	}
	variance := mul(k.config.Process, dt)
	for i := range n {
		for j := range i + 1 {
			sum := mul(mul(g[i], g[j]), variance)
			for l := range n {
				sum += mul(fp[i][l], f[j][l])
			}
			p[i][j], p[j][i] = sum, sum
		}
	}
	return x, p
}

// correct takes the sample v into the predicted state.
func (k *Kalman) correct(v float64) {
	n, r := k.config.States, k.config.Measurement
	s := k.p[0][0] + r
	residual := v - k.x[0]
	k.surprise = residual / math.Sqrt(s)
	var gain [3]float64
	for i := range n {
		gain[i] = k.p[i][0] / s
		k.x[i] += mul(gain[i], residual)
	}
	// Joseph: P ← (I − K·H)·P·(I − K·H)ᵀ + K·R·Kᵀ, H = (1, 0, 0).
	var kept, p [3][3]float64
	for i := range n {
		for j := range n {
			kept[i][j] = k.p[i][j] - mul(gain[i], k.p[0][j])
		}
	}
	for i := range n {
		for j := range i + 1 {
			p[i][j] = kept[i][j] - mul(kept[i][0], gain[j]) + mul(mul(gain[i], gain[j]), r)
			p[j][i] = p[i][j]
		}
	}
	k.p = p
}

// Estimate returns the state after the last accepted sample, and false before the
// first.
func (k *Kalman) Estimate() (KalmanEstimate, bool) {
	return k.estimate(k.t, k.x, k.p), k.started
}

// Forecast returns the state that is to be expected at time t, with the uncertainty
// that has grown until then. It reports false before the first sample and for a time
// before the last one or more than 1e6 s behind it.
func (k *Kalman) Forecast(t float64) (KalmanEstimate, bool) {
	if !k.started || !within(t-k.t, 0, maxMaxGap) {
		return KalmanEstimate{}, false
	}
	x, p := k.predict(t - k.t)
	return k.estimate(t, x, p), true
}

func (k *Kalman) estimate(t float64, x [3]float64, p [3][3]float64) KalmanEstimate {
	return KalmanEstimate{Time: t, Level: x[0], Slope: x[1], Curvature: x[2], Covariance: p}
}

// Surprise returns by how many standard deviations the last accepted sample lay above
// what was forecast for it: of independent noise, a standard normal number, as CUSUM
// wants it.
func (k *Kalman) Surprise() float64 { return k.surprise }
