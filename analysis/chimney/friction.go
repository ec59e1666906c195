package chimney

import (
	"math"

	"fluewright/analysis/portable"
)

// colebrookConstant divides the relative roughness. EN 13384-1 and Colebrook's own paper
// have 3.71; many libraries round it to 3.7, which makes the factor up to 0.1 % larger.
const colebrookConstant = 3.71

// lowestReynolds is where EN 13384-1 stops: below it the flow counts as if at it.
const lowestReynolds = 2300

// Friction returns the Darcy friction factor of a round duct by Colebrook's equation,
// 1/√ψ = -2 lg(2.51/(Re √ψ) + r/(3.71 D)), solved to 1e-14. re is the Reynolds number,
// relative the roughness over the diameter, 0 to 0.1. Below Re 2300 the value at 2300 is
// returned, as in EN 13384-1. The equation itself is good to about 10 %, in sooty flues
// less.
func Friction(re, relative float64) float64 { return colebrook(re, relative, colebrookConstant) }

func colebrook(re, relative, constant float64) float64 {
	a := 2.51 / math.Max(re, lowestReynolds)
	b := relative / constant
	// Newton on x = 1/√ψ, x + 2 lg(a x + b) = 0, convex: it converges from either side.
	x := 6.0
	for range 20 {
		inner := float64(a*x) + b
		miss := x + float64(2*portable.Log10(inner))
		step := miss / (1 + 2/math.Ln10*a/inner)
		x -= step
		if math.Abs(step) < 1e-7*x {
			break // the error after a step goes with its square
		}
	}
	return 1 / float64(x*x)
}

// Conductivity returns the thermal conductivity of flue gas at t °C, W/(m K):
// 0.0223 + 0.000065 t, the form of EN 13384-1 (from memory), for 0 to 400 °C; 6 to 8 %
// below air.
func Conductivity(t float64) float64 { return 0.0223 + float64(0.000065*t) }

// Viscosity returns the dynamic viscosity of flue gas at t °C, Pa s: 15e-6 + 47e-9 t -
// 20e-12 t², the form of EN 13384-1 (from memory), for 0 to 400 °C; 7 to 13 % below air.
func Viscosity(t float64) float64 {
	return 15e-6 + float64(47e-9*t) - float64(20e-12*float64(t*t))
}

// Nusselt returns the Nusselt number of turbulent flow in a rough duct of length over
// diameter l/d, EN 13384-1 (from memory):
// (ψ/ψs)^0.67 0.0214 (Re^0.8 - 100) Pr^0.4 (1 + (D/L)^0.67), Re at least 2300.
func Nusselt(re, prandtl, friction, smooth, diameterOverLength float64) float64 {
	re = math.Max(re, lowestReynolds)
	return float64(portable.Pow(friction/smooth, 0.67) * 0.0214 * (portable.Pow(re, 0.8) - 100) *
		portable.Pow(prandtl, 0.4) * (1 + portable.Pow(diameterOverLength, 0.67)))
}
