// Package heat knows where the heat goes: what leaves by the stack, what the warm air
// carries, and whether the ducts are wide enough for it. It changes when one of these
// balances does.
//
// A loss always names the heating value that it is a share of: 20 % of the lower and 20 %
// of the higher heating value are not the same loss.
//
// SI: °C, Pa, m², m³/s, W; shares are fractions. The same bits on every architecture: see
// package portable.
package heat

import (
	"fmt"

	"fluewright/analysis/gas"
)

// Basis says which heating value a loss is a share of.
type Basis uint8

// The bases.
const (
	LowerHeatingValue  Basis = iota // water leaves as vapour: European practice
	HigherHeatingValue              // water would be condensed: North American practice
)

// String returns the basis as texts write it.
func (b Basis) String() string {
	if b == HigherHeatingValue {
		return "HHV"
	}
	return "LHV"
}

// StackLoss is the heat that leaves with the flue gas, as shares of a heating value.
type StackLoss struct {
	Basis    Basis
	Sensible float64 // heat of the gas above the air's temperature, water as vapour
	Latent   float64 // heat of its water's condensation; always 0 on the lower basis
	Unburnt  float64 // in carbon monoxide
}

// Total returns the whole loss.
func (l StackLoss) Total() float64 { return l.Sensible + l.Latent + l.Unburnt }

// String returns the total with its basis, as in "21.8 % of LHV".
func (l StackLoss) String() string { return fmt.Sprintf("%.1f %% of %s", 100*l.Total(), l.Basis) }

// On returns the loss of the fuel f on basis b. From lower to higher the shares of heat
// shrink by LHV/HHV, and 1 - LHV/HHV of latent heat comes in.
func (l StackLoss) On(b Basis, f gas.Fuel) StackLoss {
	ratio := f.LowerHeatingValue() / f.HigherHeatingValue()
	switch {
	case l.Basis == b:
		return l
	case b == HigherHeatingValue:
		return StackLoss{Basis: b, Sensible: float64(l.Sensible * ratio), Latent: 1 - ratio, Unburnt: float64(l.Unburnt * ratio)}
	}
	return StackLoss{Basis: b, Sensible: l.Sensible / ratio, Unburnt: l.Unburnt / ratio}
}

// ExactStackLoss returns the loss of a complete combustion whose gas leaves at flue °C,
// air and fuel coming in at air °C: Σ n ∫ cp dT / LHV over CO2, H2O, O2 and N2, on the
// lower basis. Exact but for the heat capacities (0.3 %); heat of humid air included.
func ExactStackLoss(c gas.Combustion, flue, air float64) StackLoss {
	return StackLoss{Sensible: c.Flue * c.Gas.HeatContent(air, flue) / c.Fuel.LowerHeatingValue()}
}

// normalVolume is that of a mol of ideal gas at 273.15 K and 101325 Pa, m³.
const normalVolume = 8.314462618 * gas.Kelvin / gas.SeaLevel

// ENStackLoss returns the loss in the form of EN 13240, EN 16510 and EN 303-5, on the
// lower basis, with carbon monoxide of the dry volume fraction co in the gas and ash kg of
// carbon per kg of fuel left in the ash:
//
//	Qa = (ta - tr) [cp_d (C - Cr)/(0.536 (CO + CO2)) + cp_H2O 1.244 (9 H + W)/100] kJ/kg
//	Qb = 12644 CO (C - Cr)/(0.536 (CO + CO2) 100) kJ/kg
//
// C, H, W being mass percent as fired, CO and CO2 volume percent dry, cp means per normal
// m³. The factors were remembered and then checked: with true heat capacities Qa is within
// 0.011 points of the exact balance for firewood. The water in the combustion air is not
// in this form.
func ENStackLoss(c gas.Combustion, flue, air, co, ash float64) StackLoss {
	dry := 1 - float64(c.Fuel.Moisture)
	carbon := 100 * (float64(c.Fuel.Wood.Carbon*dry) - ash)
	water := float64(900*c.Fuel.Wood.Hydrogen*dry) + float64(100*float64(c.Fuel.Moisture))
	// Burning a share of the carbon to CO only leaves the sum of both as it was.
	carbonic := 100 * c.Gas.DryShare(gas.CO2)
	volume := carbon / (0.536 * carbonic) // dry gas, normal m³ per kg
	per := 1000 * normalVolume * (flue - air)
	dryHeat := dryContent(c.Gas, air, flue) / per
	waterHeat := gas.MolarHeatContent(gas.H2O, air, flue) / per
	sensible := float64((flue - air) * (float64(dryHeat*volume) + float64(waterHeat*1.244*water/100)))
	unburnt := 12644 * 100 * co * volume / 100
	lower := c.Fuel.LowerHeatingValue() / 1000
	return StackLoss{Sensible: sensible / lower, Unburnt: unburnt / lower}
}

// dryContent returns ∫ cp dT of the gas without its water, J per mol of dry gas.
func dryContent(g gas.Gas, a, b float64) float64 {
	var sum float64
	for _, s := range [...]gas.Species{gas.CO2, gas.O2, gas.N2} {
		sum += float64(g.DryShare(s) * gas.MolarHeatContent(s, a, b))
	}
	return sum
}
