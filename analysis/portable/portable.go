// Package portable is for elementary functions that give the same bits on every
// architecture, so that the same burn log gives the same assessment on the board and on
// the developer's machine.
//
// The standard library promises no such thing: math.Exp is hand-written assembly on
// amd64 and arm64, and where the instruction set has a fused multiply-add (arm64,
// riscv64) the compiler may fuse x*y + z, in the standard library's pure Go as well. The
// functions here use only + - * / on float64, each product that feeds a sum rounded by an
// explicit conversion, which the language specification says prevents fusion. What is
// exact anyway (math.Sqrt, Abs, Floor, Frexp, Ldexp, Min, Max) may be used beside them.
package portable

import "math"

const (
	log2e = 1.44269504088896338700e+00
	// ln 2 in two parts; the high part has 20 trailing zero bits, so that its product
	// with a binary exponent is exact.
	ln2Hi = 6.93147180369123816490e-01
	ln2Lo = 1.90821492927058770002e-10
)

// expTerms are 1/n! for n = 13 down to 2: Taylor's series of (e^r - 1 - r)/r², which on
// |r| <= ln(2)/2 leaves less than 4e-18.
var expTerms = [...]float64{
	1.0 / 6227020800, 1.0 / 479001600, 1.0 / 39916800, 1.0 / 3628800, 1.0 / 362880, 1.0 / 40320,
	1.0 / 5040, 1.0 / 720, 1.0 / 120, 1.0 / 24, 1.0 / 6, 1.0 / 2,
}

// logTerms are 2/(2n+1) for n = 11 down to 1, the series of ln((1+s)/(1-s))/s - 2 in s².
var logTerms = [...]float64{
	2.0 / 23, 2.0 / 21, 2.0 / 19, 2.0 / 17, 2.0 / 15, 2.0 / 13, 2.0 / 11, 2.0 / 9, 2.0 / 7, 2.0 / 5, 2.0 / 3,
}

// Poly returns the polynomial whose coefficients are c, highest power first, at x, by
// Horner's rule.
func Poly(x float64, c []float64) float64 {
	var sum float64
	for _, k := range c {
		sum = float64(sum*x) + k
	}
	return sum
}

// Exp returns e^x, 0 and +Inf beyond the range of float64. It differs from math.Exp by at
// most two units in the last place.
func Exp(x float64) float64 {
	switch {
	case math.IsNaN(x):
		return x
	case x > 709.782712893384:
		return math.Inf(1)
	case x < -745.1332191019412:
		return 0
	}
	k := math.Floor(float64(x*log2e) + 0.5)
	r := (x - float64(k*ln2Hi)) - float64(k*ln2Lo)
	e := 1 + (r + float64(float64(r*r)*Poly(r, expTerms[:])))
	if n := int(k); n > -1000 && n < 1000 {
		return float64(e * math.Float64frombits(uint64(n+1023)<<52)) // exact, and faster than Ldexp
	}
	return math.Ldexp(e, int(k))
}

// Log returns the natural logarithm of x: NaN below 0, -Inf at 0. It differs from math.Log
// by at most two units in the last place.
func Log(x float64) float64 {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 1):
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	frac, exp := math.Frexp(x)
	if frac < math.Sqrt2/2 {
		frac *= 2
		exp--
	}
	f, k := frac-1, float64(exp)
	s := f / (2 + f)
	z := float64(s * s)
	r := float64(z * Poly(z, logTerms[:]))
	half := float64(0.5 * float64(f*f))
	return float64(k*ln2Hi) - ((half - (float64(s*(half+r)) + float64(k*ln2Lo))) - f)
}

// Log10 returns the decimal logarithm of x, as Log does.
func Log10(x float64) float64 { return float64(Log(x) * (1 / math.Ln10)) }

// Pow returns x^y for x > 0. The error grows with |y ln x|, to 3e-14 at 80: enough for the
// small exponents of heat transfer and the standard atmosphere.
func Pow(x, y float64) float64 { return Exp(y * Log(x)) }
