package gas

import (
	"io/fs"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"fluewright/analysis/internal/printed"
)

// Each file of this folder names its source in testdata/physics/README.md.
func tables() fs.FS { return os.DirFS("../../testdata/physics") }

// half is half a unit of the last printed decimal.
func half(decimals int) float64 { return 0.5000001 * math.Pow10(-decimals) }

// TestCheckValues takes every published or library-computed single value on air, water
// and combustion; an id that nobody checks fails.
func TestCheckValues(t *testing.T) {
	for id, row := range printed.Checks(t, tables(), "W.", "A.", "C.") {
		kind, last := id[:strings.LastIndex(id, ".")], id[strings.LastIndex(id, ".")+1:]
		switch {
		case kind == "W.IF97.psat": // T in K, MPa
			k, want := number(t, last), row.Number("value")
			row.Near("MPa", SaturationPressure(k-Kelvin)/1e6, want, 1e-8*want)
		case strings.HasPrefix(id, "W.IF97.tsat."): // p in MPa, K
			p := number(t, strings.TrimPrefix(id, "W.IF97.tsat."))
			row.Near("K", SaturationTemperature(p*1e6)+Kelvin, row.Number("value"), 1e-6)
		case strings.HasPrefix(id, "W.psat."):
			c := number(t, strings.TrimSuffix(strings.TrimPrefix(id, "W.psat."), "C"))
			row.Near("Pa", SaturationPressure(c), row.Number("value"), 0.01)
		case kind == "A.1976":
			a := StandardAtmosphere(number(t, last))
			want := numbers(t, row.Text("value"), "/")
			row.Near("Pa", a.Pressure, want[0], 1e-4*want[0])
			row.Near("kg/m³", a.Density, want[1], 1e-4*want[1])
			row.Near("K", a.Temperature+Kelvin, want[2], 1e-4*want[2])
		case strings.HasPrefix(id, "C.flue."):
			w, lambda := moistureAndLambda(t, strings.TrimPrefix(id, "C.flue."))
			c := Fuel{Wood: TypicalWood(), Moisture: WetBasis(w)}.Burn(lambda, 0)
			want := numbers(t, row.Text("value"), "|")
			row.Near("air", c.Air, want[0], half(4))
			row.Near("flue", c.Flue, want[1], half(4))
			row.Near("CO2 dry %", 100*c.Gas.DryShare(CO2), want[2], half(3))
			row.Near("O2 dry %", 100*c.Gas.DryShare(O2), want[3], half(3))
			row.Near("H2O wet %", 100*c.Gas.Share(H2O), want[4], half(3))
			row.Near("R", c.Gas.Constant(), want[5], half(2))
			row.Near("dew °C", c.Gas.DewPoint(SeaLevel), want[6], half(2))
			row.Near("LHV MJ/kg", c.Fuel.LowerHeatingValue()/1e6, want[7], half(3))
		case id == "C.mc":
			for w, u := range map[WetBasis]DryBasis{0.20: 0.25, 1.0 / 6: 0.20, 0.50: 1.0} {
				row.Near("dry basis", float64(w.Dry()), float64(u), 1e-12)
				row.Near("wet basis", float64(u.Wet()), float64(w), 1e-12)
			}
		default:
			t.Errorf("%s: nothing checks %s", row, id)
		}
	}
}

func TestSaturationTable(t *testing.T) {
	rows := printed.Table(t, tables(), "water_saturation_0_200C.csv")
	if len(rows) < 200 {
		t.Fatalf("only %d points", len(rows))
	}
	for _, row := range rows {
		c, p := row.Number("T_C"), row.Number("Psat_Pa_IF97")
		if c == 0 {
			// The table carries the liquid on to 0 °C; there ice rules here, 0.02 % lower.
			row.Near("Pa over ice", SaturationPressure(c), p, 0.11)
			continue
		}
		row.Near("Pa", SaturationPressure(c), p, half(4))
		row.Near("°C", SaturationTemperature(p), c, 2e-6) // the table has 1e-4 Pa
	}
}

func TestAtmosphereTable(t *testing.T) {
	for _, row := range printed.Table(t, tables(), "atmosphere_1976.csv") {
		a := StandardAtmosphere(row.Number("Z_geometric_m"))
		row.Near("Pa", a.Pressure, row.Number("P_Pa"), 0.002)
		row.Near("kg/m³", a.Density, row.Number("rho_kg_m3"), 1e-6)
		row.Near("K", a.Temperature+Kelvin, row.Number("T_K"), half(4))
	}
}

// The stored table was computed with psychrolib 1.1.1, whose gas constant of dry air,
// 287.042, is 4.5e-5 below the one from molar masses, and whose saturation pressure is
// Hyland & Wexler's.
func TestMoistAirTable(t *testing.T) {
	for _, row := range printed.Table(t, tables(), "moist_air_psychrolib.csv") {
		c, rh, p := row.Number("T_C"), row.Number("RH"), row.Number("P_Pa")
		ratio := HumidityRatio(rh, c, p)
		want := row.Number("rho_moist_kg_m3_total")
		row.Near("kg/m³", MoistAir(ratio).Density(c, p), want, 8e-5*want)
		if rh == 0 { // the table used 1e-7
			continue
		}
		want = row.Number("W_kg_per_kg_dry")
		row.Near("humidity ratio", ratio, want, 4e-4*want)
		row.Near("dew point", AirDewPoint(rh, c), row.Number("Tdew_C"), 0.01)
		want = row.Number("Psat_Pa_ASHRAE")
		row.Near("saturation", SaturationPressure(c), want, 3e-4*want)
	}
}

func TestFlueGasTable(t *testing.T) {
	woods := map[string]Wood{
		"generic C50 H6 O43":    TypicalWood(),
		"modeldata wood median": {Carbon: 0.487, Hydrogen: 0.059, Oxygen: 0.427},
	}
	for _, row := range printed.Table(t, tables(), "wood_flue_gas.csv") {
		wood, ok := woods[row.Text("fuel")]
		if !ok {
			t.Fatalf("%s: unknown fuel %q", row, row.Text("fuel"))
		}
		f := Fuel{Wood: wood, Moisture: WetBasis(row.Number("w_wet_basis"))}
		if err := f.Validate(); err != nil {
			t.Fatalf("%s: %v", row, err)
		}
		c := f.Burn(row.Number("lambda"), 0)
		row.Near("u", float64(f.Moisture.Dry()), row.Number("u_dry_basis"), half(4))
		row.Near("HHV", f.HigherHeatingValue()/1e6, row.Number("HHV_ar_MJ_kg"), half(4))
		// The water of combustion by molar masses (8.936) or rounded (8.937): 0.15 kJ/kg.
		row.Near("LHV", f.LowerHeatingValue()/1e6, row.Number("LHV_ar_MJ_kg"), 2e-4)
		row.Near("air", c.Air, row.Number("air_kg_per_kg_fuel"), half(5))
		row.Near("flue", c.Flue, row.Number("flue_kg_per_kg_fuel"), half(5))
		row.Near("CO2", 100*c.Gas.DryShare(CO2), row.Number("CO2_dry_pct"), half(4))
		row.Near("O2", 100*c.Gas.DryShare(O2), row.Number("O2_dry_pct"), half(4))
		row.Near("H2O", 100*c.Gas.Share(H2O), row.Number("H2O_wet_pct"), half(4))
		row.Near("M", 1000*c.Gas.MolarMass(), row.Number("M_g_mol"), half(4))
		row.Near("R", c.Gas.Constant(), row.Number("R_J_kgK"), half(3))
		row.Near("dew point", c.Gas.DewPoint(SeaLevel), row.Number("dewpoint_C_101325"), half(3))
		row.Near("cp", c.Gas.HeatCapacity(200), row.Number("cp_200C_J_kgK"), half(2))
		row.Near("mean cp 200", c.Gas.MeanHeatCapacity(20, 200), row.Number("cp_mean_20_200_J_kgK"), half(2))
		row.Near("mean cp 400", c.Gas.MeanHeatCapacity(20, 400), row.Number("cp_mean_20_400_J_kgK"), half(2))
		row.Near("water", c.Moles(H2O)*molarH2O, row.Number("water_kg_per_kg_fuel"), half(5))
	}
}

func TestHeatingValueTable(t *testing.T) {
	for _, row := range printed.Table(t, tables(), "wood_heating_value_vs_moisture.csv") {
		w := row.Number("w_wet_basis_pct") / 100
		f := Fuel{Wood: TypicalWood(), Moisture: WetBasis(w)}
		// The table's wood has 19.9 MJ/kg by measurement; only that figure differs.
		excess := (f.Wood.HigherHeatingValue() - 19.9e6) * (1 - w)
		row.Near("LHV", (f.LowerHeatingValue()-excess)/1e6, row.Number("LHV_ar_MJ_kg(HHVd=19.9,H=6%)"), 2e-4)
		row.Near("u %", 100*float64(f.Moisture.Dry()), row.Number("u_dry_basis_pct"), half(4))
		row.Near("HHV share", f.HigherHeatingValue()/f.Wood.HigherHeatingValue(), row.Number("GCV fraction"), 1e-12)
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func numbers(t *testing.T, s, separator string) (all []float64) {
	t.Helper()
	for part := range strings.SplitSeq(s, separator) {
		all = append(all, number(t, part))
	}
	return all
}

// moistureAndLambda reads ids such as 0.2.1.5 (0.2, 1.5) and 0.1.0 (0, 1.0).
func moistureAndLambda(t *testing.T, id string) (w, lambda float64) {
	t.Helper()
	parts := strings.Split(id, ".")
	n := len(parts)
	return number(t, strings.Join(parts[:n-2], ".")), number(t, strings.Join(parts[n-2:], "."))
}
