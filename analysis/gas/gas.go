// Package gas knows the air and the flue gas: what they are made of and weigh, how much
// heat they carry, and when their water condenses. It changes when a property formula or
// the stoichiometry of wood does.
//
// Units are SI: °C (kelvin only inside), Pa, kg, J; shares are fractions, not percent.
// A temperature in °C never enters a ratio.
//
// # Sources
//
// Ideal gas with the CODATA 2018 gas constant; heat capacities from the GRI-Mech 3.0
// NASA polynomials; saturation of water from IAPWS-IF97 region 4 (liquid) and IAPWS
// R14-08 (ice); atmosphere from the US Standard Atmosphere 1976; heating value from
// Channiwala & Parikh (2002). The tests hold the tables that each is checked against.
//
// # Reproducibility
//
// Everything here gives the same bits on every architecture: see package portable.
package gas

import "math"

// Constants of nature and of convention.
const (
	// Kelvin is 0 °C in K.
	Kelvin = 273.15
	// Gravity is the standard acceleration of free fall, m/s² (ISO 80000-3).
	Gravity = 9.80665
	// SeaLevel is the standard atmospheric pressure, Pa.
	SeaLevel = 101325.0

	molarConstant = 8.314462618 // J/(mol K), CODATA 2018
)

// Species is one of the gases that air and a complete wood fire consist of.
type Species uint8

// The species.
const (
	CO2 Species = iota
	H2O
	O2
	N2 // with the argon of the air
	speciesCount
)

// Molar masses, kg/mol, from the atomic weights C 12.011, H 1.008, O 15.999 and
// N2 28.0134. Air is 28.9647 g/mol with 20.95 % oxygen; nitrogen and argon are counted
// together as the rest of it.
const (
	molarC   = 12.011e-3
	molarH2  = 2.016e-3
	molarO2  = 31.998e-3
	molarCO2 = 44.009e-3
	molarH2O = 18.015e-3
	molarAir = 28.9647e-3
	airO2    = 0.2095
	molarN2  = (molarAir - float64(airO2*molarO2)) / (1 - airO2)
)

var molarMass = [speciesCount]float64{CO2: molarCO2, H2O: molarH2O, O2: molarO2, N2: molarN2}

// Gas is a mixture of the species. The zero value is no gas; make one with DryAir,
// MoistAir, Mix or a Combustion.
type Gas struct {
	share [speciesCount]float64 // mole fractions, together 1
	molar float64               // kg/mol
}

// fromMoles returns the gas of the given amounts, in any unit of amount.
func fromMoles(n [speciesCount]float64) Gas {
	var total float64
	for _, v := range n {
		total += v
	}
	var g Gas
	for i, v := range n {
		g.share[i] = v / total
		g.molar += float64(g.share[i] * molarMass[i])
	}
	return g
}

// DryAir returns air without water: 20.95 % oxygen, the rest nitrogen and argon;
// R = 287.055 J/(kg K).
func DryAir() Gas { return MoistAir(0) }

// MoistAir returns air that holds ratio kg of water vapour per kg of dry air (HumidityRatio gives it).
func MoistAir(ratio float64) Gas {
	return fromMoles([speciesCount]float64{
		H2O: ratio / molarH2O,
		O2:  airO2 / molarAir,
		N2:  (1 - airO2) / molarAir,
	})
}

// Mix returns the gas of a kg of g and b kg of h: each species is conserved. A mass of
// zero takes no part, so that an unlit stream may be mixed in.
func Mix(g Gas, a float64, h Gas, b float64) Gas {
	switch {
	case b == 0:
		return g
	case a == 0:
		return h
	}
	na, nb := a/g.molar, b/h.molar
	var n [speciesCount]float64
	for i := range n {
		n[i] = float64(na*g.share[i]) + float64(nb*h.share[i])
	}
	return fromMoles(n)
}

// Share returns the volume (mole) fraction of s in the wet gas, 0 to 1.
func (g Gas) Share(s Species) float64 { return g.share[s] }

// DryShare returns the volume fraction of s in the gas without its water, which is what
// an analyser with a cooler shows.
func (g Gas) DryShare(s Species) float64 {
	if s == H2O {
		return 0
	}
	return g.share[s] / (1 - g.share[H2O])
}

// MolarMass returns the mean molar mass, kg/mol.
func (g Gas) MolarMass() float64 { return g.molar }

// Constant returns the specific gas constant R = R0/M, J/(kg K): 287.055 for dry air, 280
// to 297 for the flue gas of wood.
func (g Gas) Constant() float64 { return molarConstant / g.molar }

// Density returns p/(R T), kg/m³, of the ideal gas at t °C and p Pa. The compressibility
// that this leaves out is about 0.05 % for air at 0 °C and less when it is warmer.
func (g Gas) Density(t, p float64) float64 { return p / (g.Constant() * (t + Kelvin)) }

// DewPoint returns the temperature in °C at which water (below 0 °C: ice) begins to
// condense from the gas at p Pa: the saturation temperature of its partial pressure.
// -Inf if it holds no water. Sulphuric acid, of which wood makes next to none, would
// condense earlier, and tar does; see package chimney.
func (g Gas) DewPoint(p float64) float64 {
	if g.share[H2O] <= 0 {
		return math.Inf(-1)
	}
	return SaturationTemperature(g.share[H2O] * p)
}
