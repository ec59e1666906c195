package signal

import "math"

// Verdict is what an estimator made of a sample.
type Verdict uint8

// The verdicts. Whatever is not Accepted has left the estimate as it was, except where
// a method says otherwise.
const (
	Accepted  Verdict = iota
	NotFinite         // value or time is NaN or infinite
	TooLarge          // no quantity of a furnace has a value or time that large
	NotLater          // time has not moved on since the last sample
)

// String names the verdict.
func (v Verdict) String() string {
	switch v {
	case Accepted:
		return "accepted"
	case NotFinite:
		return "not finite"
	case TooLarge:
		return "too large"
	default:
		return "not later than the last sample"
	}
}

// Bounds of what is taken for a sample. They are far from anything that a furnace does
// and keep every product below from overflowing.
const (
	maxValue = 1e9
	maxTime  = 1e12 // s
	minStep  = 1e-6 // s
)

func judgeValue(v float64) Verdict { return judge(v, maxValue) }

func judge(v, limit float64) Verdict {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return NotFinite
	case math.Abs(v) > limit:
		return TooLarge
	default:
		return Accepted
	}
}

// judgeSample judges a sample of time t and value v that follows one of time last.
func judgeSample(t, v float64, started bool, last float64) Verdict {
	if verdict := judge(t, maxTime); verdict != Accepted {
		return verdict
	}
	if verdict := judgeValue(v); verdict != Accepted {
		return verdict
	}
	if started && !(t-last >= minStep) {
		return NotLater
	}
	return Accepted
}

// mul returns x·y, rounded: the conversion forbids fusing it with a following sum.
func mul(x, y float64) float64 { return float64(x * y) }

// within reports whether x is a number from low to high.
func within(x, low, high float64) bool { return x >= low && x <= high }

// rise returns a = 1 − exp(−x) and b = 1 − a/x for x > 0: how far a first-order lag has
// come x time constants after a step, and after the beginning of a ramp as a part of it.
// The error is below 1e-15.
//
// exp(−x) = 2⁻ⁿ·exp(−r) with n = round(x/ln 2), and the exponential of the rest by its
// Taylor series (|r| ≤ ln 2 / 2, so that what is left out is below 1e-17). math.Exp would
// do but for its last bit, which is not the same on every architecture.
func rise(x float64) (a, b float64) {
	const (
		ln2     = 0.693147180559945309417232121458176568
		ln2High = 6.93147180369123816490e-01 // its upper 32 bits, so that n·ln2High is exact
		ln2Low  = 1.90821492927058770002e-10
	)
	if x > 50 { // exp(−50) is below half a bit of 1
		return 1, 1 - 1/x
	}
	n := math.Floor(x/ln2 + 0.5)
	r := x - mul(n, ln2High) - mul(n, ln2Low)
	// 1 − exp(−r) = r·(1 − r/2·(1 − r/3·(…)))
	s := 1.0
	for k := 14.0; k >= 3; k-- {
		s = 1 - mul(r/k, s)
	}
	b = mul(r/2, s)
	a = mul(r, 1-b)
	if n == 0 {
		return a, b // without the cancellation of 1 − a/x for small x
	}
	a = 1 - math.Ldexp(1-a, -int(n))
	return a, 1 - a/x
}
