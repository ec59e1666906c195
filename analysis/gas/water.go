package gas

import (
	"math"

	"fluewright/analysis/portable"
)

// Coefficients n1 to n10 of IAPWS R7-97(2012), Table 34.
const (
	n1  = 0.11670521452767e4
	n2  = -0.72421316703206e6
	n3  = -0.17073846940092e2
	n4  = 0.12020824702470e5
	n5  = -0.32325550322333e7
	n6  = 0.14915108613530e2
	n7  = -0.48232657361591e4
	n8  = 0.40511340542057e6
	n9  = -0.23855557567849
	n10 = 0.65017534844798e3
)

const (
	triplePoint         = 0.01    // °C
	triplePressure      = 611.657 // Pa
	criticalTemperature = 373.946 // °C
	criticalPressure    = 22.064e6
	iceLowest           = -223.15 // °C, lower end of R14-08
)

// SaturationPressure returns the vapour pressure of water in Pa at t °C: over liquid by
// IAPWS-IF97 region 4, equation 30 (0.01 to 373.946 °C, within 0.025 %), below the triple
// point over ice by IAPWS R14-08, equation 6 (down to -223.15 °C, within 0.1 % above
// -83 °C). NaN outside.
func SaturationPressure(t float64) float64 {
	switch {
	case !(t >= iceLowest && t <= criticalTemperature+1e-9):
		return math.NaN()
	case t < triplePoint:
		return icePressure(t)
	}
	k := t + Kelvin
	theta := k + n9/(k-n10)
	square := float64(theta * theta)
	a := square + float64(n1*theta) + n2
	b := float64(n3*square) + float64(n4*theta) + n5
	c := float64(n6*square) + float64(n7*theta) + n8
	root := 2 * c / (-b + math.Sqrt(float64(b*b)-float64(4*a*c)))
	fourth := root * root * root * root
	return 1e6 * fourth
}

// SaturationTemperature returns the temperature in °C at which water of the vapour
// pressure p Pa condenses: IAPWS-IF97 region 4, equation 31 (triple to critical point,
// within 0.007 K), below the triple pressure the frost point, the inverse of R14-08 to
// 1e-9 K. NaN outside.
func SaturationTemperature(p float64) float64 {
	switch {
	case !(p > 0 && p <= criticalPressure):
		return math.NaN()
	case p < triplePressure:
		return frostPoint(p)
	}
	beta := math.Sqrt(math.Sqrt(p / 1e6))
	square := float64(beta * beta)
	e := square + float64(n3*beta) + n6
	f := float64(n1*square) + float64(n4*beta) + n7
	g := float64(n2*square) + float64(n5*beta) + n8
	d := 2 * g / (-f - math.Sqrt(float64(f*f)-float64(4*e*g)))
	sum := n10 + d
	return float64((sum-math.Sqrt(float64(sum*sum)-float64(4*(n9+float64(n10*d)))))/2) - Kelvin
}

// icePressure is equation 6 of IAPWS R14-08(2011), sublimation of ice Ih.
func icePressure(t float64) float64 {
	theta := (t + Kelvin) / (triplePoint + Kelvin)
	ln := portable.Log(theta)
	sum := float64(-0.212144006e2*portable.Exp(0.333333333e-2*ln)) +
		float64(0.273203819e2*portable.Exp(0.120666667e1*ln)) +
		float64(-0.610598130e1*portable.Exp(0.170333333e1*ln))
	return triplePressure * portable.Exp(sum/theta)
}

// frostPoint inverts icePressure. ln p is nearly linear in 1/T (Clausius-Clapeyron), so
// the secant in those two converges in a few steps.
func frostPoint(p float64) float64 {
	want := portable.Log(p / triplePressure)
	const slope = 6150.0 // latent heat of sublimation over R, K
	t := triplePoint
	for range 60 {
		t = math.Max(t, iceLowest)
		miss := portable.Log(icePressure(t)/triplePressure) - want
		k := t + Kelvin
		next := 1/(1/k+miss/slope) - Kelvin
		if math.Abs(next-t) < 1e-10 {
			return next
		}
		t = next
	}
	return math.NaN()
}
