package chimney

import (
	"math"

	"fluewright/analysis/gas"
)

// Buoyancy returns the pressure that a column of gas of the given height in m lacks
// against the air outside, g H (ρo - ρm) in Pa: hydrostatics, exact for mean densities in
// kg/m³.
func Buoyancy(height, outdoorDensity, gasDensity float64) float64 {
	return float64(gas.Gravity * height * (outdoorDensity - gasDensity))
}

// Theoretical returns the draft in Pa of a column of height m with the gas constant R
// J/(kg K) inside and out, at p Pa and the temperatures outdoor and mean in °C, nothing
// flowing: Δp = g H p/R (1/To - 1/Tm) in kelvin (the ideal gas). With R of dry air for
// flue gas of firewood the error stays below 0.3 %.
func Theoretical(height, p, r, outdoor, mean float64) float64 {
	return float64(gas.Gravity * height * p / r * (1/(outdoor+gas.Kelvin) - 1/(mean+gas.Kelvin)))
}

// MeanTemperatureFor inverts Theoretical: the mean gas temperature in °C that gives the
// draft, 1/Tm = 1/To - Δp R/(g H p). +Inf if no temperature gives as much.
func MeanTemperatureFor(draft, height, p, r, outdoor float64) float64 {
	inverse := 1/(outdoor+gas.Kelvin) - float64(draft*r/(gas.Gravity*height*p))
	if inverse <= 0 {
		return math.Inf(1)
	}
	return 1/inverse - gas.Kelvin
}

// HeightForTheoretical inverts Theoretical: the height in m of a column that gives the
// draft; +Inf when the gas is no lighter than the air.
func HeightForTheoretical(draft, p, r, outdoor, mean float64) float64 {
	if mean <= outdoor {
		return math.Inf(1)
	}
	return draft / Theoretical(1, p, r, outdoor, mean)
}

// Resistance is what a flow path costs: Pa per (kg/s)², the flow being turbulent.
type Resistance float64

// ResistanceFrom returns the resistance of a path that at the flow in kg/s leaves draft Pa
// of the buoyancy: (buoyancy - draft)/flow². Inferred from a measurement it carries twice
// the relative error of the flow.
func ResistanceFrom(buoyancy, draft, flow float64) Resistance {
	return Resistance((buoyancy - draft) / (flow * flow))
}

// Loss returns the pressure in Pa that a flow in kg/s costs.
func (r Resistance) Loss(flow float64) float64 { return float64(float64(r) * flow * flow) }
