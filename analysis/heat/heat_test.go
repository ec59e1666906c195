package heat

import (
	"io/fs"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fluewright/analysis/gas"
	"fluewright/analysis/internal/printed"
)

// Each file of this folder names its source in testdata/physics/README.md.
func tables() fs.FS { return os.DirFS("../../testdata/physics") }

const (
	inch = 0.0254
	btu  = 1055.05585262 // J, International Table
	cfm  = 0.3048 * 0.3048 * 0.3048 / 60
	lbft = 0.45359237 / (0.3048 * 0.3048 * 0.3048) // kg/m³
)

func near(t interface {
	Helper()
	Errorf(string, ...any)
}, what string, got, want, tolerance float64,
) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, tolerance)
	}
}

// TestCheckValues takes every computed or exact single value on losses and warm air; an id
// that nobody checks fails.
func TestCheckValues(t *testing.T) {
	for id, row := range printed.Checks(t, tables(), "S.", "H.") {
		switch {
		case strings.HasPrefix(id, "S.exact."):
			parts := strings.Split(strings.TrimPrefix(id, "S.exact."), ".")
			w, lambda := number(t, parts[0]+"."+parts[1]), number(t, parts[2]+"."+parts[3])
			c := gas.Fuel{Wood: gas.TypicalWood(), Moisture: gas.WetBasis(w)}.Burn(lambda, 0)
			flue := number(t, parts[4])
			exact, en := ExactStackLoss(c, flue, 20), ENStackLoss(c, flue, 20, 0, 0)
			row.Near("% of LHV", 100*exact.Total(), row.Number("value"), 1e-3)
			_, form, ok := strings.Cut(row.Text("source"), "the EN form gives ")
			if !ok {
				t.Fatalf("%s: no value of the EN form", row)
			}
			row.Near("EN form", 100*en.Total(), number(t, form), 1e-3)
		case id == "H.1.08":
			// 60 min/h · 0.075 lb/ft³ · 0.24 Btu/(lb °F); 1006 J/(kg K) is 0.12 % more.
			station := 0.075 * lbft
			p := station * gas.DryAir().Constant() * (20 + gas.Kelvin)
			row.Near("Btu/h", CarriedHeat(cfm, 20, p, 1/1.8)/btu*3600, row.Number("value"), 0.0014)
		case strings.HasPrefix(id, "H.duct."):
			got := RoundArea(number(t, strings.TrimPrefix(id, "H.duct."))*inch) / (inch * inch)
			row.Near("in²", got, row.Number("value"), 1e-3)
		default:
			t.Errorf("%s: nothing checks %s", row, id)
		}
	}
}

func TestDuctTable(t *testing.T) {
	for _, row := range printed.Table(t, tables(), "round_duct_area.csv") {
		d := row.Number("dia_in") * inch
		row.Near("in²", RoundArea(d)/(inch*inch), row.Number("area_sq_in"), 6e-5)
		row.Near("m²", RoundArea(d), row.Number("area_m2"), 6e-8)
	}
}

func TestSensibleHeatTable(t *testing.T) {
	for _, row := range printed.Table(t, tables(), "sensible_heat_factor.csv") {
		p := gas.StandardAtmosphere(row.Number("altitude_m")).Pressure
		c := (row.Number("air_temp_at_flow_station_F") - 32) / 1.8
		row.Near("kg/m³", gas.DryAir().Density(c, p), row.Number("rho_kg_m3"), 2e-5)
		row.Near("kJ/(m³ K)", CarriedHeat(1, c, p, 1)/1000, row.Number("kJ_m3K"), 2e-5)
		want := row.Number("Btu/h_per_CFM_F(=60*0.24*rho)")
		row.Near("Btu/h", CarriedHeat(cfm, c, p, 1/1.8)/btu*3600, want, 0.0013*want)
	}
}

// The exact balance and the EN form agree to 0.05 point.
func TestFormsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := gas.Fuel{Wood: gas.TypicalWood(), Moisture: gas.WetBasis(rapid.Float64Range(0, 0.4).Draw(t, "w"))}
		c := f.Burn(rapid.Float64Range(1.2, 4.5).Draw(t, "lambda"), 0)
		flue := rapid.Float64Range(80, 500).Draw(t, "flue")
		exact, en := ExactStackLoss(c, flue, 20), ENStackLoss(c, flue, 20, 0, 0)
		near(t, "points", 100*en.Total(), 100*exact.Total(), 0.05)
	})
}

func TestBases(t *testing.T) {
	f := gas.Fuel{Wood: gas.TypicalWood(), Moisture: 0.2}
	lower := ExactStackLoss(f.Burn(2, 0), 300, 20)
	higher := lower.On(HigherHeatingValue, f)
	// LHV/HHV of wood with 20 % of moisture is 0.904, the latent loss 9.6 %.
	near(t, "sensible", higher.Sensible, 0.904*lower.Sensible, 1e-4)
	near(t, "latent", higher.Latent, 0.096, 5e-4)
	back := higher.On(LowerHeatingValue, f)
	near(t, "back", back.Total(), lower.Total(), 1e-15)
	if back.Latent != 0 || back.Basis != LowerHeatingValue {
		t.Errorf("on the lower basis: %+v", back)
	}
	if got := lower.String(); got != "21.8 % of LHV" {
		t.Errorf("got %q", got)
	}
	if got := higher.On(HigherHeatingValue, f).String(); got != "29.3 % of HHV" {
		t.Errorf("got %q", got)
	}
}

// Heat is conserved: what the carbon monoxide holds is its heating value, 12.64 MJ per
// normal m³, and carbon in the ash makes less gas.
func TestUnburnt(t *testing.T) {
	f := gas.Fuel{Wood: gas.TypicalWood(), Moisture: 0.2}
	c := f.Burn(2, 0)
	clean, smoky := ENStackLoss(c, 200, 20, 0, 0), ENStackLoss(c, 200, 20, 0.004, 0)
	// 0.4 % of CO in the dry gas; its heat of combustion is 282.98 kJ/mol at 25 °C.
	dry := c.Moles(gas.CO2) + c.Moles(gas.O2) + c.Moles(gas.N2)
	near(t, "in CO", smoky.Unburnt, dry*0.004*282980/f.LowerHeatingValue(), 2e-4)
	if clean.Unburnt != 0 || smoky.Sensible != clean.Sensible {
		t.Errorf("clean %+v, smoky %+v", clean, smoky)
	}
	if ash := ENStackLoss(c, 200, 20, 0, 0.01); ash.Sensible >= clean.Sensible {
		t.Errorf("with carbon in the ash %v, without %v", ash.Sensible, clean.Sensible)
	}
}

func TestFlowInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		heat := rapid.Float64Range(1e3, 1e5).Draw(t, "W")
		station := rapid.Float64Range(10, 90).Draw(t, "station")
		rise := rapid.Float64Range(5, 70).Draw(t, "rise")
		flow := FlowFor(heat, station, 90000, rise)
		near(t, "W", CarriedHeat(flow, station, 90000, rise), heat, 1e-6)
	})
}

func TestDucts(t *testing.T) {
	twelveAndSix := []Opening{Round(12 * inch), Round(6 * inch)}
	short := Shortfall(SupplyAreaLeast, twelveAndSix...) / (inch * inch)
	near(t, "12 in. and 6 in. lack of 180 in²", short, 39, 0.5)
	if s := Shortfall(SupplyAreaAmple, Round(16*inch)); s != 0 {
		t.Errorf("16 in. lacks %v m²", s)
	}
	near(t, "register", FreeArea(Rectangular(0.3, 0.1, 0.7)), 0.021, 1e-15)
	near(t, "square duct", EquivalentDiameter(0.3, 0.3), 1.0933*0.3, 1e-4)
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
