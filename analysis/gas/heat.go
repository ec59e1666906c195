package gas

import "fluewright/analysis/portable"

// The NASA polynomials join here.
const joinKelvin = 1000.0

// polynomial gives cp/R0 = a0 + a1 T + … + a4 T⁴, highest power first as portable.Poly
// wants it, T in K.
type polynomial [5]float64

// From GRI-Mech 3.0 thermo30.dat: below and above 1000 K. O2, H2O and CO2 hold from 200 to
// 3500 K, N2 from 300 to 5000 K; below 300 K its polynomial is carried on, at 250 K to
// about half a percent.
var heatBelow = [speciesCount]polynomial{
	CO2: {-1.43699548e-13, 2.45919022e-9, -7.12356269e-6, 8.98459677e-3, 2.35677352},
	H2O: {1.77197817e-12, -5.48797062e-9, 6.52040211e-6, -2.03643410e-3, 4.19864056},
	O2:  {3.24372837e-12, -9.68129509e-9, 9.84730201e-6, -2.99673416e-3, 3.78245636},
	N2:  {-2.444854e-12, 5.641515e-9, -3.963222e-6, 1.4082404e-3, 3.298677},
}

var heatAbove = [speciesCount]polynomial{
	CO2: {-4.72084164e-14, 5.23490188e-10, -2.21481404e-6, 4.41437026e-3, 3.85746029},
	H2O: {1.68200992e-14, -9.70419870e-11, -1.64072518e-7, 2.17691804e-3, 3.03399249},
	O2:  {-2.16717794e-14, 2.09470555e-10, -7.57966669e-7, 1.48308754e-3, 3.28253784},
	N2:  {-6.753351e-15, 1.0097038e-10, -5.684760e-7, 1.4879768e-3, 2.926640},
}

// at returns cp/R0 at the temperature t in K.
func (p *polynomial) at(t float64) float64 { return portable.Poly(t, p[:]) }

// integral returns ∫ cp/R0 dT from 0 K to t in K.
func (p *polynomial) integral(t float64) float64 {
	c := [6]float64{p[0] / 5, p[1] / 4, p[2] / 3, p[3] / 2, p[4], 0}
	return portable.Poly(t, c[:])
}

// MolarHeat returns the heat capacity of a species at constant pressure, J/(mol K), at
// t °C: GRI-Mech 3.0 polynomials, -73 to 3200 °C, within about 0.3 % of tabulated values
// from 25 °C on.
func MolarHeat(s Species, t float64) float64 {
	k := t + Kelvin
	if k > joinKelvin {
		return molarConstant * heatAbove[s].at(k)
	}
	return molarConstant * heatBelow[s].at(k)
}

// MolarHeatContent returns ∫ cp dT of a species from a to b °C, J/mol, with the range and
// error of MolarHeat.
func MolarHeatContent(s Species, a, b float64) float64 {
	return molarContent(s, b) - molarContent(s, a)
}

func molarContent(s Species, t float64) float64 {
	k := t + Kelvin
	if k <= joinKelvin {
		return molarConstant * heatBelow[s].integral(k)
	}
	above := heatAbove[s].integral(k) - heatAbove[s].integral(joinKelvin)
	return molarConstant * (heatBelow[s].integral(joinKelvin) + above)
}

// HeatCapacity returns cp of the gas, J/(kg K), at t °C, weighted by mole fraction; range
// and error as MolarHeat.
func (g Gas) HeatCapacity(t float64) float64 {
	var sum float64
	for s, x := range g.share {
		sum += float64(x * MolarHeat(Species(s), t))
	}
	return sum / g.molar
}

// HeatContent returns the sensible heat ∫ cp dT, J/kg, that the gas takes up from a to
// b °C. Water counts as vapour throughout: no latent heat.
func (g Gas) HeatContent(a, b float64) float64 {
	var sum float64
	for s, x := range g.share {
		if x != 0 {
			sum += float64(x * MolarHeatContent(Species(s), a, b))
		}
	}
	return sum / g.molar
}

// MeanHeatCapacity returns the mean cp between a and b °C, J/(kg K): HeatContent/(b-a).
func (g Gas) MeanHeatCapacity(a, b float64) float64 {
	if a == b {
		return g.HeatCapacity(a)
	}
	return g.HeatContent(a, b) / (b - a)
}

// TemperatureAfter returns the temperature in °C that the gas reaches from the
// temperature from when it takes up heat J/kg (negative: gives off): the inverse of
// HeatContent in its upper bound, to 1e-9 K.
func (g Gas) TemperatureAfter(from, heat float64) float64 {
	t := from + heat/g.HeatCapacity(from)
	// Newton; cp changes by a few percent per 100 K, so each step gains two digits or more.
	for range 20 {
		step := (g.HeatContent(from, t) - heat) / g.HeatCapacity(t)
		t -= step
		if step < 1e-9 && step > -1e-9 {
			break
		}
	}
	return t
}
