package signal

import (
	"fmt"
	"math"
)

// maxOrder is the highest polynomial that SavGolWeights fits.
const maxOrder = 5

// SavGolWeights fills w with the weights, oldest sample first, that give the deriv-th
// derivative at sample number at (0 is the oldest, len(w)−1 the newest, halves allowed)
// of the polynomial of that order fitted by least squares to len(w) samples one step
// apart. The estimate is Σ wᵢ·vᵢ divided by stepᵈᵉʳⁱᵛ (Savitzky & Golay 1964, Anal.
// Chem. 36, 1627).
//
// The fit is the projection on the discrete orthogonal polynomials of the window (Gram):
// P₀ = 1, Pₖ₊₁ = x·Pₖ − bₖ·Pₖ₋₁ with bₖ = k²(n² − k²)/(4(4k² − 1)), x counted from the
// window's middle, and wᵢ = Σ Pₖ(xᵢ)·Pₖ⁽ᵈ⁾(x)/‖Pₖ‖². Nothing is inverted, so that the
// error stays near 1e-15 of the largest weight.
func SavGolWeights(w []float64, order, deriv int, at float64) error {
	n := float64(len(w))
	switch {
	case order < 0 || order > maxOrder || len(w) <= order:
		return fmt.Errorf("fit order %d to %d samples: want an order from 0 to %d and more samples than it", order, len(w), maxOrder)
	case deriv < 0 || deriv > order:
		return fmt.Errorf("derivative %d of a fit of order %d", deriv, order)
	case !within(at, 0, n-1):
		return fmt.Errorf("estimate at sample %g of %d", at, len(w))
	}
	middle := mul(n-1, 0.5)
	var here [maxOrder + 1]float64 // Pₖ⁽ᵈᵉʳⁱᵛ⁾(at) / ‖Pₖ‖²
	for d := range deriv + 1 {
		// The derivative of order d needs that of order d−1, which is what `here` holds.
		below := here
		for k := range order + 1 {
			here[k] = step(&here, k, n, at-middle)
			if k == 0 && d > 0 {
				here[0] = 0
			}
			if k > 0 && d > 0 {
				here[k] += mul(float64(d), below[k-1])
			}
		}
	}
	norm := n
	for k := range order + 1 {
		if k > 0 {
			norm = mul(norm, gram(float64(k), n))
		}
		here[k] /= norm
	}
	for i := range w {
		var p [maxOrder + 1]float64
		w[i] = 0
		for k := range order + 1 {
			p[k] = step(&p, k, n, float64(i)-middle)
			w[i] += mul(p[k], here[k])
		}
	}
	return nil
}

// step returns Pₖ(x) from those below it in p.
func step(p *[maxOrder + 1]float64, k int, n, x float64) float64 {
	switch k {
	case 0:
		return 1
	case 1:
		return mul(x, p[0])
	default:
		return mul(x, p[k-1]) - mul(gram(float64(k-1), n), p[k-2])
	}
}

// gram returns bₖ, the ratio of the squared norms of Pₖ and Pₖ₋₁ over n samples.
func gram(k, n float64) float64 {
	return mul(mul(k, k), mul(n, n)-mul(k, k)) / (4 * (mul(4*k, k) - 1))
}

// SavGol estimates level and slope at the newest of evenly spaced samples by a
// polynomial fitted to the last ones. It looks at no later sample, so that it has no
// delay but more noise than the usual centred filter; NoiseGain says how much.
type SavGol struct {
	step         float64
	level, slope []float64 // weights
	ring         []float64
	next, filled int
}

// NewSavGol makes an estimator that fits a polynomial of that order to so many samples,
// step seconds apart.
func NewSavGol(samples, order int, step float64) (*SavGol, error) {
	if order < 1 || !within(step, minStep, maxTime) {
		return nil, fmt.Errorf("Savitzky–Golay of order %d at %g s: want at least 1 and a positive, finite step", order, step)
	}
	s := &SavGol{
		step:  step,
		level: make([]float64, max(samples, 0)),
		slope: make([]float64, max(samples, 0)),
		ring:  make([]float64, max(samples, 0)),
	}
	newest := float64(samples - 1)
	if err := SavGolWeights(s.level, order, 0, newest); err != nil {
		return nil, fmt.Errorf("Savitzky–Golay level: %w", err)
	}
	if err := SavGolWeights(s.slope, order, 1, newest); err != nil {
		return nil, fmt.Errorf("Savitzky–Golay slope: %w", err)
	}
	return s, nil
}

// Update takes the next sample. A rejected one leaves a hole in the even spacing: the
// window begins anew behind it.
func (s *SavGol) Update(v float64) Verdict {
	if verdict := judgeValue(v); verdict != Accepted {
		s.filled = 0
		return verdict
	}
	s.ring[s.next] = v
	s.next = (s.next + 1) % len(s.ring)
	s.filled = min(s.filled+1, len(s.ring))
	return Accepted
}

// Estimate returns level and slope (a second) at the newest sample, and false until the
// window is full.
func (s *SavGol) Estimate() (level, slope float64, ok bool) {
	if s.filled < len(s.ring) {
		return 0, 0, false
	}
	for i := range s.ring {
		v := s.ring[(s.next+i)%len(s.ring)]
		level += mul(s.level[i], v)
		slope += mul(s.slope[i], v)
	}
	return level, slope / s.step, true
}

// NoiseGain returns by what the standard deviation of independent noise on the samples
// is to be multiplied to give that of level and slope: √Σw².
func (s *SavGol) NoiseGain() (level, slope float64) {
	return rootSquares(s.level), rootSquares(s.slope) / s.step
}

func rootSquares(w []float64) float64 {
	sum := 0.0
	for _, x := range w {
		sum += mul(x, x)
	}
	return math.Sqrt(sum)
}
