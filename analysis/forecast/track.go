package forecast

import (
	"time"

	"fluewright/analysis/signal"
)

// The filter's ideas of a temperature in a fire. Its curvature wanders by some 2e-3 K/s²
// in the minutes in which a fire changes its mind, which makes this process; with noise of
// 1 K on samples a second apart the filter then looks back over about half a minute.
const (
	process   = 4e-9 // (K/s²)²/s
	maxGap    = 2 * time.Minute
	leastTime = 45 * time.Second // of samples, before a slope is believed
)

// Bounds of the noise that is believed, K²: a step of 0.25 K at the least, and a wire
// beside a motor at the most.
const (
	leastNoise = 0.3 * 0.3
	mostNoise  = 6.0 * 6.0
	noiseOver  = 60.0 // samples
)

// Bounds of how far the process gives way, and over how many samples its strain is felt.
const (
	mostHaste    = 1e5
	mostSurprise = 1e4
	strainOver   = 6.0
)

// state is a channel's temperature as the filter sees it.
type state struct {
	level, slope, curvature    float64 // °C, K/s, K/s²
	slopeError, curvatureError float64 // standard deviations
	covariance                 float64 // of slope and curvature
	noise                      float64 // K, of one sample
	known                      bool
}

// track follows one channel.
type track struct {
	filter *signal.Kalman
	strain float64    // mean square of the latest surprises: 1 while the process is believed
	recent [3]float64 // the latest samples, newest last
	count  int
	noise  float64 // K²
	last   time.Duration
	since  time.Duration // of the first sample after a gap
}

func newTrack() (*track, error) {
	filter, err := signal.NewKalman(signal.KalmanConfig{
		States:      3,
		Process:     process,
		Measurement: leastNoise,
		// A furnace may be anywhere when the filter starts, and rise by 1 K/s.
		Prior:  [3]float64{1e6, 0.25, 1e-5},
		MaxGap: maxGap.Seconds(),
	})
	if err != nil {
		return nil, err
	}
	return &track{filter: filter, noise: 1, strain: 1}, nil
}

// step takes a sample. The median of three is what the filter sees: a single wrong sample
// must not look like a fire, and a true rise loses one sample's time by it.
func (t *track) step(at time.Duration, v float64) {
	switch dt := at - t.last; {
	case t.count > 0 && dt <= 0:
		return
	case t.count == 0 || dt > maxGap:
		*t = track{filter: t.filter, noise: t.noise, strain: 1, since: at}
	}
	t.recent = [3]float64{t.recent[1], t.recent[2], v}
	t.count++
	t.last = at
	if t.count < 3 {
		return
	}
	t.listen()
	// A fire that does what the process does not expect is followed more closely.
	t.filter.Expect(process*min(float64(t.strain*t.strain), mostHaste), t.noise)
	if t.filter.Update(at.Seconds(), middle(t.recent)) == signal.Accepted {
		z := t.filter.Surprise()
		t.strain += (min(float64(z*z), mostSurprise) - t.strain) / strainOver
		t.strain = max(1, t.strain)
	}
}

// listen estimates the noise of a sample from second differences, which know nothing of
// level and slope: their variance is six times that of independent noise.
func (t *track) listen() {
	d := t.recent[0] - float64(2*t.recent[1]) + t.recent[2]
	square := min(float64(d*d)/6, mostNoise)
	weight := 1 / min(float64(t.count), noiseOver)
	t.noise += float64(weight * (square - t.noise))
	t.noise = max(leastNoise, t.noise)
}

// state returns what is known at the time of the last sample.
func (t *track) state() (s state) {
	e, ok := t.filter.Estimate()
	if !ok || t.count < 3 || t.last-t.since < leastTime {
		return s
	}
	return state{
		level: e.Level, slope: e.Slope, curvature: e.Curvature,
		slopeError:     root(e.Covariance[1][1]),
		curvatureError: root(e.Covariance[2][2]),
		covariance:     e.Covariance[1][2],
		noise:          root(t.noise),
		known:          true,
	}
}

// middle returns the median of three.
func middle(v [3]float64) float64 {
	return max(min(v[0], v[1]), min(max(v[0], v[1]), v[2]))
}
