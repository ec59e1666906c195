package heat

import (
	"math"

	"fluewright/analysis/gas"
	"fluewright/analysis/portable"
)

// airHeat is the heat capacity of air, J/(kg K): 1006 as in ASHRAE's formulas, within
// 0.3 % from 0 to 100 °C. North American practice has 0.24 Btu/(lb °F), 0.12 % less.
const airHeat = 1006.0

// CarriedHeat returns the heat in W that the warm air carries: ρ cp V ΔT with the density
// at the station where the flow in m³/s was measured, station °C and p Pa there, for the
// temperature rise in K over the furnace. The familiar 1.08 Btu/h per CFM and °F holds for
// 0.075 lb/ft³ only: at 140 °F it is 0.95, at 1500 m and 70 °F 0.90.
func CarriedHeat(flow, station, p, rise float64) float64 {
	return float64(gas.DryAir().Density(station, p) * airHeat * flow * rise)
}

// FlowFor inverts CarriedHeat: the flow in m³/s at the station that carries heat W at the
// rise in K.
func FlowFor(heat, station, p, rise float64) float64 {
	return heat / CarriedHeat(1, station, p, rise)
}

// RoundArea returns the area of a round duct of the given diameter in m: π d²/4.
func RoundArea(diameter float64) float64 { return float64(math.Pi / 4 * diameter * diameter) }

// EquivalentDiameter returns the diameter in m of the round duct with the same friction at
// the same flow as a rectangular one of a by b m: 1.30 (a b)^0.625/(a + b)^0.25, the form
// of the ASHRAE Handbook, for sides up to 4 to 1.
func EquivalentDiameter(a, b float64) float64 {
	return float64(1.30 * portable.Pow(a*b, 0.625) / portable.Pow(a+b, 0.25))
}

// Free area of the supply that a furnace of about 100,000 Btu/h needs, m²: 180 to 200
// square inches, and one single round duct at least 16 in. Common practice, no source.
const (
	SupplyAreaLeast = 180 * 0.0254 * 0.0254
	SupplyAreaAmple = 200 * 0.0254 * 0.0254
)

// Opening is a duct or a register of the supply.
type Opening struct {
	Area float64 // m², gross
	Free float64 // share of it that is open: 1 for a duct, 0.6 to 0.8 for a register (common practice)
}

// Round returns a round duct of the given diameter in m.
func Round(diameter float64) Opening { return Opening{Area: RoundArea(diameter), Free: 1} }

// Rectangular returns a duct, or a register of which only the share free is open, of a by
// b m.
func Rectangular(a, b, free float64) Opening { return Opening{Area: float64(a * b), Free: free} }

// FreeArea returns the free area of the openings together, m².
func FreeArea(openings ...Opening) float64 {
	var sum float64
	for _, o := range openings {
		sum += float64(o.Area * o.Free)
	}
	return sum
}

// Shortfall returns how much free area in m² the openings lack of the required one; 0 if
// they have enough.
func Shortfall(required float64, openings ...Opening) float64 {
	return math.Max(0, required-FreeArea(openings...))
}
