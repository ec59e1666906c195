package gas

import (
	"hash/fnv"
	"math"
	"testing"

	"pgregory.net/rapid"
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

func anyFuel(t *rapid.T) Fuel {
	wood := Wood{
		Carbon:   rapid.Float64Range(0.45, 0.53).Draw(t, "C"),
		Hydrogen: rapid.Float64Range(0.05, 0.065).Draw(t, "H"),
		Oxygen:   rapid.Float64Range(0.36, 0.45).Draw(t, "O"),
		Nitrogen: rapid.Float64Range(0, 0.004).Draw(t, "N"),
	}
	scale := 1 / math.Max(1, wood.Carbon+wood.Hydrogen+wood.Oxygen+wood.Nitrogen)
	wood.Carbon, wood.Hydrogen, wood.Oxygen = wood.Carbon*scale, wood.Hydrogen*scale, wood.Oxygen*scale
	wood.Nitrogen *= scale
	f := Fuel{Wood: wood, Moisture: WetBasis(rapid.Float64Range(0, 0.6).Draw(t, "w"))}
	if err := f.Validate(); err != nil {
		t.Fatal(err)
	}
	return f
}

func TestCombustionConservesMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFuel(t)
		lambda := rapid.Float64Range(1, 8).Draw(t, "lambda")
		humidity := rapid.Float64Range(0, 0.02).Draw(t, "humidity")
		c := f.Burn(lambda, humidity)
		dry := 1 - float64(f.Moisture)
		w := f.Wood
		burnt := (w.Carbon + w.Hydrogen + w.Oxygen + w.Nitrogen) * dry
		near(t, "mass out", c.Flue, burnt+float64(f.Moisture)+c.Air*(1+humidity), 1e-4)
		near(t, "carbon", c.Moles(CO2)*molarC, w.Carbon*dry, 1e-12)
		water := float64(f.Moisture) + c.Air*humidity
		near(t, "hydrogen", (c.Moles(H2O)-water/molarH2O)*molarH2, w.Hydrogen*dry, 1e-12)
		oxygen := c.Air / molarAir * airO2 * molarO2
		out := (c.Moles(CO2) + c.Moles(O2) + c.Moles(H2O)/2 - water/molarH2O/2) * molarO2
		near(t, "oxygen", out, oxygen+w.Oxygen*dry, 1e-9)
	})
}

func TestLambdaInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFuel(t)
		lambda := rapid.Float64Range(1, 20).Draw(t, "lambda")
		g := f.Burn(lambda, 0.005).Gas
		got, ok := f.LambdaFromCO2(g.DryShare(CO2))
		near(t, "lambda from CO2", got, lambda, 1e-6)
		again, too := f.LambdaFromO2(g.DryShare(O2))
		near(t, "lambda from O2", again, lambda, 1e-6)
		if !ok || !too {
			t.Errorf("not inverted: CO2 %v, O2 %v", ok, too)
		}
	})
}

func TestLambdaRefusesTheImpossible(t *testing.T) {
	f := Fuel{Wood: TypicalWood(), Moisture: 0.2}
	for _, share := range []float64{0, -0.1, f.MaxCO2() + 0.001, math.NaN()} {
		if l, ok := f.LambdaFromCO2(share); ok {
			t.Errorf("CO2 %v gave lambda %v", share, l)
		}
	}
	for _, share := range []float64{-0.01, 0.2095, 0.21, math.NaN()} {
		if l, ok := f.LambdaFromO2(share); ok {
			t.Errorf("O2 %v gave lambda %v", share, l)
		}
	}
	if l, ok := f.LambdaFromCO2(f.MaxCO2()); !ok || l != 1 {
		t.Errorf("at the largest CO2: lambda %v, %v", l, ok)
	}
}

func TestValidateFuel(t *testing.T) {
	tests := []struct {
		name string
		fuel Fuel
		ok   bool
	}{
		{"typical", Fuel{TypicalWood(), 0.2}, true},
		{"bone dry", Fuel{TypicalWood(), 0}, true},
		{"wetter than burns", Fuel{TypicalWood(), 0.7}, false},
		{"moisture not a number", Fuel{TypicalWood(), WetBasis(math.NaN())}, false},
		{"percent for fractions", Fuel{Wood{Carbon: 50, Hydrogen: 6, Oxygen: 43}, 0.2}, false},
		{"negative part", Fuel{Wood{Carbon: 0.5, Hydrogen: -0.1}, 0.2}, false},
		{"nothing that burns", Fuel{Wood{Oxygen: 0.5}, 0.2}, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.fuel.Validate(); (err == nil) != tt.ok {
				t.Errorf("Validate: %v", err)
			}
		})
	}
}

func TestMixingConserves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		flue := anyFuel(t).Burn(rapid.Float64Range(1, 5).Draw(t, "lambda"), 0).Gas
		air := MoistAir(rapid.Float64Range(0, 0.02).Draw(t, "ratio"))
		a := rapid.Float64Range(0, 1).Draw(t, "a")
		b := rapid.Float64Range(1e-6, 1).Draw(t, "b")
		mix := Mix(flue, a, air, b)
		for s := range speciesCount {
			in := a/flue.MolarMass()*flue.Share(s) + b/air.MolarMass()*air.Share(s)
			near(t, "moles", (a+b)/mix.MolarMass()*mix.Share(s), in, 1e-10)
		}
	})
}

func TestSaturationInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(-100, 370).Draw(t, "t")
		// The two equations of region 4 are exact inverses of each other.
		near(t, "°C", SaturationTemperature(SaturationPressure(c)), c, 1e-6)
	})
}

func TestSaturationIsContinuousAtTheTriplePoint(t *testing.T) {
	ice, liquid := SaturationPressure(0.01-1e-9), SaturationPressure(0.01)
	near(t, "Pa", ice, liquid, 0.001)
}

func TestSaturationRefusesTheImpossible(t *testing.T) {
	for _, c := range []float64{-300, 374, math.NaN()} {
		if p := SaturationPressure(c); !math.IsNaN(p) {
			t.Errorf("%v °C gave %v Pa", c, p)
		}
	}
	for _, p := range []float64{0, -1, 23e6, math.NaN()} {
		if c := SaturationTemperature(p); !math.IsNaN(c) {
			t.Errorf("%v Pa gave %v °C", p, c)
		}
	}
	if !math.IsInf(DryAir().DewPoint(SeaLevel), -1) {
		t.Error("dry air has a dew point")
	}
}

// The heat capacities at 298.15 K that GRI-Mech 3.0 gives, J/(mol K).
func TestMolarHeat(t *testing.T) {
	for s, want := range map[Species]float64{N2: 29.07, O2: 29.38, H2O: 33.59, CO2: 37.13} {
		near(t, "cp", MolarHeat(s, 25), want, 0.006)
		// The two polynomials must meet at 1000 K.
		below, above := MolarHeat(s, joinKelvin-Kelvin-1e-9), MolarHeat(s, joinKelvin-Kelvin+1e-9)
		near(t, "cp at the join", above, below, 2e-4*below)
	}
}

func TestHeatContentIsTheIntegral(t *testing.T) {
	g := Fuel{TypicalWood(), 0.2}.Burn(2, 0).Gas
	for _, to := range []float64{-40, 20, 300, 726, 727, 1149} {
		// Simpson's rule, split where the polynomials join.
		var want float64
		const n = 2000
		h := (to - 20) / n
		for i := range n {
			a := 20 + h*float64(i)
			want += h / 6 * (g.HeatCapacity(a) + 4*g.HeatCapacity(a+h/2) + g.HeatCapacity(a+h))
		}
		near(t, "J/kg", g.HeatContent(20, to), want, 1e-5*math.Abs(want)+1e-9)
		near(t, "°C", g.TemperatureAfter(20, g.HeatContent(20, to)), to, 1e-7)
	}
}

func TestAltitudeThinsTheAir(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := rapid.Float64Range(-400, 9000).Draw(t, "z")
		low, high := StandardAtmosphere(z), StandardAtmosphere(z+1)
		if high.Pressure >= low.Pressure || high.Density >= low.Density {
			t.Errorf("no thinner above %v m", z)
		}
	})
}

func TestSameBitsEverywhere(t *testing.T) {
	h := fnv.New64a()
	add := func(all ...float64) {
		for _, v := range all {
			bits := math.Float64bits(v)
			for s := 0; s < 64; s += 8 {
				h.Write([]byte{byte(bits >> s)})
			}
		}
	}
	for i := range 200 {
		x := float64(i)
		c := Fuel{TypicalWood(), WetBasis(x / 400)}.Burn(1+x/50, x/20000)
		a := StandardAtmosphere(20 * x)
		add(c.Air, c.Flue, c.Gas.Constant(), c.Gas.HeatCapacity(5*x), c.Gas.HeatContent(20, 5*x),
			c.Gas.DewPoint(a.Pressure), c.Gas.TemperatureAfter(x, 1000*x), c.Fuel.LowerHeatingValue(),
			a.Pressure, a.Density, SaturationPressure(x-60), HumidityRatio(x/200, x/4, a.Pressure),
			AirDewPoint((x+1)/201, x/4-30))
	}
	const want = 0x7724e4f7f2d41b3c
	if got := h.Sum64(); got != want {
		t.Errorf("fingerprint %#x, want %#x", got, uint64(want))
	}
}
