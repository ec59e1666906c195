package path

import (
	"math"
	"math/bits"
	"slices"
	"time"
)

// What a probe may be exposed to, °C: hotter is no wood gas, colder no winter. Both are
// far out, since they only bound how fast a probe can possibly move.
const (
	hottest = 1400.0
	coldest = -60.0
)

const (
	window = 5 // accepted samples that a new one is held against
	// outlier is in standard deviations, the custom for this filter (Hampel 1974).
	outlier = 3
	// madToSigma is 1/Φ⁻¹(3/4): a normal distribution's standard deviation over its
	// median absolute deviation.
	madToSigma = 1.4826022185056018
	// margin by which the sheath may be quicker than its time constant says: makers'
	// response times differ by a factor of two for the same sheath, and gas in a flue
	// moves faster than the air that they were measured in.
	margin = 3
	// bare is the time constant that is assumed of an unknown probe: a thin one without
	// a sheath (judgement, no source). It lets only gross spikes be recognised.
	bare = 2 * time.Second
	// inARow is how many samples are withheld one after another.
	inARow = 2
)

// Many spikes in the last looks make a reading doubtful.
const (
	noisyLooks  = 60
	noisySpikes = 3
)

// spike withholds samples that no probe can have measured: they are far from the last
// ones (Hampel's criterion, its scale floored, or a quiet signal's every last digit would
// be one) and they are further than the sheath lets the probe move.
type spike struct {
	tau, floor float64

	ring    [window]float64
	n, next int
	last    float64 // accepted
	at      time.Time
	row     int  // withheld one after another
	up      bool // the last of them was above
	history uint64
}

func newSpike(p Probe) spike {
	tau := p.TimeConstant / margin
	if p.TimeConstant == 0 {
		tau = bare
	}
	return spike{tau: tau.Seconds(), floor: p.Noise}
}

// step reports whether the sample has to be withheld.
func (s *spike) step(at time.Time, v float64) bool {
	s.history <<= 1
	if s.n > 0 && s.impossible(at, v) && s.far(v) {
		up := v > s.last
		// Seen a second time on the same side, it is real: what jumped was the world, or
		// the probe was put elsewhere.
		if again := s.row > 0 && up == s.up; !again && s.row < inARow {
			s.row, s.up = s.row+1, up
			s.history |= 1
			return true
		}
		s.n = 0
	}
	s.row = 0
	s.last, s.at = v, at
	s.ring[s.next] = v
	s.next = (s.next + 1) % window
	s.n = min(s.n+1, window)
	if s.n == 1 { // a new level
		s.ring[0], s.next = v, 1
	}
	return false
}

// impossible reports whether a first-order probe could not have come from the last value
// to this one, however hot or cold it had become around it: it moves by less than
// (T∞ − T)·(1 − exp(−dt/τ)).
func (s *spike) impossible(at time.Time, v float64) bool {
	dt := max(at.Sub(s.at).Seconds(), 0)
	share := -math.Expm1(-dt / s.tau)
	noise := outlier * s.floor
	return v-s.last > (hottest-s.last)*share+noise || s.last-v > (s.last-coldest)*share+noise
}

// far is Hampel's criterion against the accepted samples.
func (s *spike) far(v float64) bool {
	var sorted [window]float64
	w := sorted[:copy(sorted[:], s.ring[:s.n])]
	slices.Sort(w)
	middle := w[len(w)/2]
	for i, x := range w {
		w[i] = math.Abs(x - middle)
	}
	slices.Sort(w)
	sigma := max(madToSigma*w[len(w)/2], s.floor)
	return math.Abs(v-middle) > outlier*sigma
}

// noisy reports whether spikes have become frequent.
func (s *spike) noisy() bool {
	return bits.OnesCount64(s.history&(1<<noisyLooks-1)) >= noisySpikes
}

// forget lets the next sample be whatever it is.
func (s *spike) forget() { s.n, s.next, s.row = 0, 0, 0 }
