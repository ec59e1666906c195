package gas

// Combustion is a fuel burnt completely: amounts per kg of fuel as fired.
type Combustion struct {
	Fuel   Fuel
	Lambda float64 // air supplied over air needed
	Air    float64 // dry combustion air, kg/kg
	Flue   float64 // flue gas, kg/kg
	Gas    Gas     // what the flue gas is made of
	moles  [speciesCount]float64
}

// oxygenNeed returns the oxygen that a kg of dry wood takes from the air, mol.
func (w Wood) oxygenNeed() float64 {
	return w.Carbon/molarC + w.Hydrogen/(2*molarH2) - w.Oxygen/molarO2
}

// StoichiometricAir returns the dry air that burns a kg of fuel as fired completely,
// kg/kg: (C/M_C + H/2M_H2 - O/M_O2)/0.2095 M_air (1 - w). Sulphur is neglected: wood
// has less than 0.1 %.
func (f Fuel) StoichiometricAir() float64 {
	return f.Wood.oxygenNeed() / airO2 * molarAir * (1 - float64(f.Moisture))
}

// Burn returns the complete combustion of the fuel with lambda >= 1 times the
// stoichiometric air, the air holding humidity kg of water per kg of dry air. Carbon,
// hydrogen, oxygen and nitrogen are conserved; ash and sulphur stay out of the gas.
func (f Fuel) Burn(lambda, humidity float64) Combustion {
	w, dry := f.Wood, 1-float64(f.Moisture)
	need := w.oxygenNeed() * dry
	air := f.StoichiometricAir() * lambda
	n := [speciesCount]float64{
		CO2: w.Carbon / molarC * dry,
		H2O: float64(w.Hydrogen/molarH2*dry) + float64(f.Moisture)/molarH2O + float64(air*humidity)/molarH2O,
		O2:  need * (lambda - 1),
		N2:  float64(need*lambda/airO2*(1-airO2)) + float64(w.Nitrogen/molarN2*dry),
	}
	var mass float64
	for s, amount := range n {
		mass += float64(amount * molarMass[s])
	}
	return Combustion{Fuel: f, Lambda: lambda, Air: air, Flue: mass, Gas: fromMoles(n), moles: n}
}

// Moles returns how much of s leaves with the flue gas, mol per kg of fuel as fired.
func (c Combustion) Moles(s Species) float64 { return c.moles[s] }

// MaxCO2 returns the dry volume fraction of CO2 without excess air, the largest that
// complete combustion can show: 0.204 for typical wood (common practice: 20.3 %).
func (f Fuel) MaxCO2() float64 { return f.Burn(1, 0).Gas.DryShare(CO2) }

// LambdaFromCO2 returns the air ratio that gives the dry volume fraction co2, the exact
// inverse of Burn; false unless 0 < co2 <= MaxCO2.
func (f Fuel) LambdaFromCO2(co2 float64) (float64, bool) {
	base := f.Burn(1, 0)
	dry := base.moles[CO2] + base.moles[N2]
	// Each further unit of lambda adds this much dry air.
	per := f.Wood.oxygenNeed() * (1 - float64(f.Moisture)) / airO2
	if !(co2 > 0) {
		return 0, false
	}
	lambda := 1 + (base.moles[CO2]/co2-dry)/per
	return settle(lambda)
}

// LambdaFromO2 returns the air ratio that leaves the dry volume fraction o2 of oxygen,
// the exact inverse of Burn; false unless 0 <= o2 < 0.2095. The usual 0.2095/(0.2095-o2)
// is 0.4 % high at 10 %.
func (f Fuel) LambdaFromO2(o2 float64) (float64, bool) {
	base := f.Burn(1, 0)
	dry := base.moles[CO2] + base.moles[N2]
	need := f.Wood.oxygenNeed() * (1 - float64(f.Moisture))
	if !(o2 >= 0 && o2 < airO2) {
		return 0, false
	}
	// o2 (dry + need x/airO2) = need x, solved for the excess x.
	return settle(1 + float64(o2*dry)/(need*(1-o2/airO2)))
}

// settle allows for rounding at lambda 1.
func settle(lambda float64) (float64, bool) {
	if lambda < 1-1e-9 {
		return 0, false
	}
	return max(lambda, 1), true
}
