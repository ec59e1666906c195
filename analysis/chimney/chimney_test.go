package chimney

import (
	"hash/fnv"
	"math"
	"testing"

	"pgregory.net/rapid"

	"fluewright/analysis/gas"
)

type tester interface {
	Helper()
	Errorf(string, ...any)
}

func near(t tester, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, tolerance)
	}
}

// house is an insulated metal chimney of 7 m with 1.5 m of bare connector on a cold day.
func house() Site {
	connector := SingleWall(0.15)
	connector.Length, connector.Rise, connector.Fittings = 1.5, 0.5, 0.6
	stack := InsulatedMetal(0.15, 0.025)
	stack.Length, stack.Rise, stack.Fittings, stack.Exposed = 7, 7, 1.2, 0.2
	return Site{
		System:     System{Connector: connector, Chimney: stack},
		Conditions: Conditions{Outdoor: 0, Room: 20, Pressure: gas.SeaLevel, AirConstant: gas.DryAir().Constant()},
		Method:     Real,
	}
}

func burning(temperature float64) Stream {
	burnt := gas.Fuel{Wood: gas.TypicalWood(), Moisture: 0.2}.Burn(2, 0)
	return Stream{Gas: burnt.Gas, Flow: 0.02, Temperature: temperature}
}

// anySite draws a plausible chimney, and a stream hot enough that it is one worth having.
func anySite(t *rapid.T) (Site, Stream) {
	d := rapid.Float64Range(0.12, 0.25).Draw(t, "diameter")
	kinds := []func() Section{
		func() Section { return SingleWall(d) },
		func() Section { return InsulatedMetal(d, 0.03) },
		func() Section { return Masonry(d, 0.115) },
	}
	stack := rapid.SampledFrom(kinds).Draw(t, "kind")()
	stack.Rise = rapid.Float64Range(3, 12).Draw(t, "height")
	stack.Length = stack.Rise + rapid.Float64Range(0, 2).Draw(t, "offset")
	stack.Fittings = rapid.Float64Range(0, 4).Draw(t, "fittings")
	stack.Exposed = rapid.Float64Range(0, 1).Draw(t, "exposed")
	connector := SingleWall(d)
	connector.Length = rapid.Float64Range(0.3, 3).Draw(t, "connector")
	connector.Rise = connector.Length * rapid.Float64Range(0, 1).Draw(t, "slope")
	altitude := rapid.Float64Range(0, 3000).Draw(t, "altitude")
	site := Site{
		System: System{Connector: connector, Chimney: stack},
		Conditions: Conditions{
			Outdoor:     rapid.Float64Range(-35, 15).Draw(t, "outdoor"),
			Room:        rapid.Float64Range(15, 25).Draw(t, "room"),
			Pressure:    gas.StandardAtmosphere(altitude).Pressure,
			AirConstant: gas.DryAir().Constant(),
		},
		Method: rapid.SampledFrom([]Method{Real, PressureTest, TemperatureTest}).Draw(t, "method"),
	}
	if err := site.Validate(); err != nil {
		t.Fatal(err)
	}
	in := burning(rapid.Float64Range(120, 600).Draw(t, "flue"))
	// Velocities of 0.2 to 2 m/s: beyond that a hotter gas only rubs more.
	speed := rapid.Float64Range(0.2, 2).Draw(t, "speed")
	in.Flow = speed * in.Gas.Density(in.Temperature, site.Conditions.Pressure) * stack.area()
	return site, in
}

func TestDraftRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site, in := anySite(t)
		base := site.Solve(in).Draft

		hot := in
		hot.Temperature += 5
		if d := site.Solve(hot).Draft; d <= base {
			t.Errorf("5 K hotter: %v Pa after %v", d, base)
		}
		cold := site
		cold.Conditions.Outdoor -= 5
		if d := cold.Solve(in).Draft; d <= base {
			t.Errorf("5 K colder outdoors: %v Pa after %v", d, base)
		}
		windy := site
		windy.Conditions.Wind, windy.Conditions.Depressurisation = 2, 3
		near(t, "under wind and depressurisation", windy.Solve(in).Draft, base-5, 1e-9)
	})
}

func TestBuoyancyRisesWithHeightAndFallsWithAltitude(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := rapid.Float64Range(2, 15).Draw(t, "height")
		outdoor := rapid.Float64Range(-40, 30).Draw(t, "outdoor")
		mean := outdoor + rapid.Float64Range(5, 700).Draw(t, "excess")
		z := rapid.Float64Range(0, 4000).Draw(t, "altitude")
		r := gas.DryAir().Constant()
		p := gas.StandardAtmosphere(z).Pressure
		draft := Theoretical(h, p, r, outdoor, mean)
		if Theoretical(h+0.1, p, r, outdoor, mean) <= draft {
			t.Error("no more with height")
		}
		if Theoretical(h, gas.StandardAtmosphere(z+50).Pressure, r, outdoor, mean) >= draft {
			t.Error("no less with altitude")
		}
		air, flue := p/(r*(outdoor+gas.Kelvin)), p/(r*(mean+gas.Kelvin))
		near(t, "as buoyancy", Buoyancy(h, air, flue), draft, 1e-9)
		// A ratio of Celsius temperatures must never come out.
		if outdoor > 1 {
			celsius := h * air * gas.Gravity * (1 - outdoor/mean)
			if math.Abs(celsius-draft) < 0.01*draft {
				t.Errorf("%v Pa is what Celsius ratios give", draft)
			}
		}
	})
}

// The draft of a chimney rises with its height and falls with altitude as long as it does
// not cool out: here for an insulated one with a moderate flow.
func TestChimneyDraftRisesWithHeight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site := house()
		site.System.Chimney.Rise = rapid.Float64Range(3, 14).Draw(t, "height")
		site.System.Chimney.Length = site.System.Chimney.Rise
		in := burning(rapid.Float64Range(150, 500).Draw(t, "flue"))
		in.Flow = rapid.Float64Range(0.008, 0.02).Draw(t, "flow")
		base := site.Solve(in).Draft
		taller := site
		taller.System.Chimney.Rise += 0.1
		taller.System.Chimney.Length += 0.1
		if d := taller.Solve(in).Draft; d <= base {
			t.Errorf("%v Pa after %v", d, base)
		}
		higher := site
		higher.Conditions.Pressure *= 0.98
		if d := higher.Solve(in).Draft; d >= base {
			t.Errorf("in thinner air %v Pa after %v", d, base)
		}
	})
}

func TestInversesReturnWhatTheyInvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site, in := anySite(t)
		draft := site.Solve(in).Draft
		if h, ok := site.HeightFor(in, draft); ok {
			again := site
			again.System.Chimney.Length += h - again.System.Chimney.Rise
			again.System.Chimney.Rise = h
			near(t, "draft at the height found", again.Solve(in).Draft, draft, 1e-6)
			if h > site.System.Chimney.Rise+1e-6 {
				t.Errorf("height %v, but %v does", h, site.System.Chimney.Rise)
			}
		} else {
			t.Error("no height found, but there is one")
		}
		temperature, ok := site.TemperatureFor(in, draft)
		if !ok || temperature > in.Temperature+1e-6 {
			t.Errorf("temperature %v, %v, but %v does", temperature, ok, in.Temperature)
		}
		in.Temperature = temperature
		near(t, "draft at the temperature found", site.Solve(in).Draft, draft, 1e-6)
	})
}

func TestNoHeightHelpsANarrowFlue(t *testing.T) {
	site := house()
	in := burning(200)
	in.Flow = 0.12
	if h, ok := site.HeightFor(in, 30); ok {
		t.Errorf("%v m gives 30 Pa", h)
	}
}

func TestShownResistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site, in := anySite(t)
		extra := rapid.Float64Range(0.1, 20).Draw(t, "obstruction")
		blocked := site
		blocked.System.Chimney.Fittings += extra
		seen, ok := site.ShownBy(in, blocked.Solve(in).Draft)
		if !ok {
			t.Fatal("no answer")
		}
		near(t, "ζ", seen.Fittings, extra, 1e-6)
		near(t, "Pa", seen.Shown.Loss(in.Flow), blocked.Solve(in).Loss, 1e-6)
		near(t, "Pa clean", seen.Expected.Loss(in.Flow), site.Solve(in).Loss, 1e-6)
	})
	site := house()
	if _, ok := site.ShownBy(Stream{Gas: gas.DryAir(), Temperature: 20}, 5); ok {
		t.Error("a resistance without flow")
	}
}

func TestColdChimney(t *testing.T) {
	site := house()
	// 0.5 m of connector and 7 m, one fifth in the open, all filled with still air.
	air := site.Conditions.airDensity()
	inside := gas.DryAir().Density(20, gas.SeaLevel)
	stack := gas.DryAir().Density(16, gas.SeaLevel)
	near(t, "cold draft", site.ColdDraft(), Buoyancy(0.5, air, inside)+Buoyancy(7, air, stack), 1e-9)

	outside := house()
	outside.System.Chimney.Exposed = 1
	if outside.ColdDraft() >= site.ColdDraft() {
		t.Error("a cold chimney outdoors draws as well as one indoors")
	}
	summer := house()
	summer.Conditions.Outdoor = 30
	if summer.ColdDraft() >= 0 {
		t.Error("a cool chimney in summer does not push back")
	}
}

// Physics of a reverse draft: 7 m, mean gas -5 °C, 0 °C outdoors: -1.65 Pa.
func TestReverseDraft(t *testing.T) {
	near(t, "Pa", Theoretical(7, gas.SeaLevel, tableR, 0, -5), -1.65, 0.005)
}

func TestNeutralTemperature(t *testing.T) {
	site := house()
	r := gas.DryAir().Constant()
	near(t, "calm", site.NeutralTemperature(r), 0, 1e-9)
	site.Conditions.Depressurisation, site.Conditions.Wind = 4, 2
	neutral := site.NeutralTemperature(r)
	near(t, "draft", Theoretical(7.5, gas.SeaLevel, r, 0, neutral), 6, 1e-9)
	site.Conditions.Wind = 1000
	if got := site.NeutralTemperature(r); !math.IsInf(got, 1) {
		t.Errorf("%v °C overcomes a gale", got)
	}
}

func TestCoolingLosesHeat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site, in := anySite(t)
		sol := site.Solve(in)
		for _, s := range []struct {
			Stretch
			around float64
		}{
			{sol.Connector, site.System.Connector.around(&site.Conditions)},
			{sol.Chimney, site.System.Chimney.around(&site.Conditions)},
		} {
			if !(s.Entry > s.Mean && s.Mean > s.Outlet && s.Outlet > s.Wall && s.Wall > s.around) {
				t.Errorf("not in order: %+v", s)
			}
		}
		if sol.Connector.Outlet != sol.Chimney.Entry {
			t.Error("a jump between connector and chimney")
		}
		if sol.OutletWall > sol.Chimney.Wall+1e-9 {
			t.Errorf("the top, %v °C, is warmer in the open than %v", sol.OutletWall, sol.Chimney.Wall)
		}
	})
}

// From a trickle to a storm, from gas colder than the house to a chimney fire.
func TestSolveConverges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site, in := anySite(t)
		in.Flow = math.Exp(rapid.Float64Range(-14, 0).Draw(t, "ln flow"))
		in.Temperature = rapid.Float64Range(-40, 1300).Draw(t, "flue")
		sol := site.Solve(in)
		again := sol.Chimney
		in.Temperature = again.Entry
		again.cool(&site.System.Chimney, in, again.Mean, again.Density,
			site.System.Chimney.around(&site.Conditions), site.Method.Heat)
		near(t, "mean °C, once more round", again.Mean, sol.Chimney.Mean, 1e-7)
		if math.IsNaN(sol.Draft) || math.IsInf(sol.Draft, 0) {
			t.Errorf("draft %v", sol.Draft)
		}
	})
}

func TestWithConservesHeat(t *testing.T) {
	flue := burning(400)
	air := Stream{Gas: gas.MoistAir(0.006), Flow: 0.03, Temperature: 20}
	mix := flue.With(air)
	near(t, "flow", mix.Flow, 0.05, 1e-15)
	heat := func(s Stream) float64 { return s.Flow * s.Gas.HeatContent(0, s.Temperature) }
	near(t, "heat", heat(mix), heat(flue)+heat(air), 1e-4)
	if back := air.With(flue); math.Abs(back.Temperature-mix.Temperature) > 1e-6 {
		t.Errorf("order matters: %v and %v °C", mix.Temperature, back.Temperature)
	}
	if flue.With(Stream{}) != flue || (Stream{}).With(flue) != flue {
		t.Error("nothing added changed the stream")
	}
}

// From best to worst for the draft, as the trade knows them (common practice).
func TestConstructionsRank(t *testing.T) {
	warm := func(s Section, exposed float64) float64 {
		site := house()
		s.Length, s.Rise, s.Fittings, s.Exposed = 7, 7, 1.2, exposed
		site.System.Chimney = s
		return site.Solve(burning(250)).Draft
	}
	insulated, masonry := InsulatedMetal(0.15, 0.025), Masonry(0.15, 0.115)
	drafts := []float64{warm(insulated, 0), warm(masonry, 0), warm(masonry, 1), warm(SingleWall(0.15), 1)}
	for i := 1; i < len(drafts); i++ {
		if drafts[i] >= drafts[i-1] {
			t.Errorf("not in order: %.2f Pa", drafts)
		}
	}
	if warm(insulated, 1) <= warm(masonry, 1) {
		t.Error("outdoors masonry beats insulated metal")
	}
}

func TestAssess(t *testing.T) {
	site := house()
	in := burning(250)
	good := site.System.Assess(in, 0, Requirement{Draft: 12, AirSupply: 4})
	if !good.Draws || !good.Dry || good.Required != 16 {
		t.Errorf("a good chimney: %+v", good)
	}
	gusty := site.System.Assess(in, 0, Requirement{Draft: 12, AirSupply: 4, Wind: 25})
	near(t, "under wind", gusty.Available, good.Available-25, 1e-9)
	bare := site.System
	bare.Chimney = SingleWall(0.15)
	bare.Chimney.Length, bare.Chimney.Rise, bare.Chimney.Fittings, bare.Chimney.Exposed = 4, 4, 1.2, 1
	in.Temperature = 120
	poor := bare.Assess(in, 1500, Requirement{Draft: 12, AirSupply: 4})
	if poor.Draws || poor.Dry {
		t.Errorf("a bare pipe outdoors on a small fire: %+v", poor)
	}
	if wet := bare.Assess(in, 1500, Requirement{Draft: 12, AirSupply: 4, Wet: true}); !wet.Dry || wet.Limit != 0 {
		t.Errorf("made to be wet, it only must not freeze: %+v", wet)
	}
}

func TestMarginsAndCondensate(t *testing.T) {
	g := burning(200)
	dew := g.Gas.DewPoint(gas.SeaLevel)
	m := MarginsOf(100, g.Gas, gas.SeaLevel)
	near(t, "water", m.Water, 100-dew, 1e-12)
	near(t, "tar", m.Tar, 100-TarTemperature, 1e-12)
	if got := Condensate(g, dew+0.01, gas.SeaLevel); got != 0 {
		t.Errorf("above the dew point %v kg/s", got)
	}
	// On a wall at the ice point nearly all of the water may condense.
	water := g.Flow / g.Gas.MolarMass() * g.Gas.Share(gas.H2O) * 0.018015
	if got := Condensate(g, 1, gas.SeaLevel); !(got > 0.9*water && got < water) {
		t.Errorf("%v kg/s of %v", got, water)
	}
}

func TestDose(t *testing.T) {
	var d Dose
	d.Add(Margins{Water: 10, Tar: -50}, true, 60)
	d.Add(Margins{Water: -5, Tar: -70}, false, 10)
	d.Add(Margins{Water: 200, Tar: 140}, true, 600)
	if want := (Dose{Water: 50, Tar: 3000, Smoke: 660}); d != want {
		t.Errorf("got %+v, want %+v", d, want)
	}
}

func TestWarmUp(t *testing.T) {
	site := house()
	w, ok := site.WarmUp(burning(250))
	if !ok {
		t.Fatal("it does not warm up")
	}
	// Against the differential equation, step by step, with the heat that the gas loses.
	sol := site.Solve(burning(250)).Chimney
	sec := site.System.Chimney
	carried := 0.02 * burning(250).Gas.HeatCapacity(sol.Mean)
	wall, seconds := w.Start, 0.0
	const dt = 0.01
	for wall < 100 {
		gives := carried * (sol.Entry - wall) * (1 - math.Exp(-sol.Film*sec.surface()/carried))
		loses := sec.surface() * (wall - w.Start) / sec.outside(sec.Exposed)
		wall += (gives - loses) / (sec.HeatCapacity * sec.Length) * dt
		seconds += dt
	}
	got, ok := w.Until(100)
	if !ok {
		t.Fatal("never 100 °C")
	}
	near(t, "seconds to 100 °C", got, seconds, 0.002*seconds+2*dt)
	if s, ok := w.Until(w.Start - 1); !ok || s != 0 {
		t.Errorf("already there: %v, %v", s, ok)
	}
	if _, ok := w.Until(w.Final); ok {
		t.Error("it reaches its final temperature")
	}
	brick := house()
	masonry := Masonry(0.15, 0.115)
	masonry.Length, masonry.Rise = 7, 7
	brick.System.Chimney = masonry
	slow, ok := brick.WarmUp(burning(250))
	if !ok || slow.TimeConstant < 20*w.TimeConstant {
		t.Errorf("masonry %v s, steel %v s", slow.TimeConstant, w.TimeConstant)
	}
}

func TestValidate(t *testing.T) {
	tests := []struct {
		name  string
		spoil func(*Site)
	}{
		{"no diameter", func(s *Site) { s.System.Chimney.Diameter = 0 }},
		{"outer inside inner", func(s *Site) { s.System.Chimney.Outer = 0.1 }},
		{"rises more than it is long", func(s *Site) { s.System.Chimney.Rise = 8 }},
		{"no chimney", func(s *Site) { s.System.Chimney.Length, s.System.Chimney.Rise = 0, 0 }},
		{"connector in millimetres", func(s *Site) { s.System.Connector.Diameter = 150 }},
		{"outdoors in kelvin", func(s *Site) { s.Conditions.Outdoor = 273 }},
		{"pressure in hPa", func(s *Site) { s.Conditions.Pressure = 1013 }},
		{"not a number", func(s *Site) { s.Conditions.Room = math.NaN() }},
		{"no method", func(s *Site) { s.Method = Method{} }},
	}
	site := house()
	if err := site.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			site := house()
			tt.spoil(&site)
			if site.Validate() == nil {
				t.Error("passed")
			}
		})
	}
	for _, s := range []Stream{{Flow: -1}, {Flow: math.NaN()}, {Temperature: 2000}, {Temperature: math.NaN()}} {
		if s.Validate() == nil {
			t.Errorf("%+v passed", s)
		}
	}
}

func TestSameBitsEverywhere(t *testing.T) {
	h := fnv.New64a()
	for i := range 60 {
		site := house()
		site.Conditions.Outdoor = float64(i - 30)
		in := burning(60 + 9.5*float64(i))
		sol := site.Solve(in)
		w, _ := site.WarmUp(in)
		height, _ := site.HeightFor(in, 9)
		for _, v := range []float64{
			sol.Draft, sol.Loss, sol.Outlet, sol.OutletWall, sol.Chimney.Film, sol.Connector.Wall,
			site.ColdDraft(), w.TimeConstant, w.Final, height, Condensate(in, 20, gas.SeaLevel),
		} {
			bits := math.Float64bits(v)
			for s := 0; s < 64; s += 8 {
				h.Write([]byte{byte(bits >> s)})
			}
		}
	}
	const want = 0x353c3bfe2e5b712b
	if got := h.Sum64(); got != want {
		t.Errorf("fingerprint %#x, want %#x", got, uint64(want))
	}
}

func TestSolveAllocatesNothing(t *testing.T) {
	site, in := house(), burning(250)
	if n := testing.AllocsPerRun(100, func() { site.Solve(in) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkSolve(b *testing.B) {
	site, in := house(), burning(250)
	b.ReportAllocs()
	for b.Loop() {
		site.Solve(in)
	}
}

func BenchmarkHeightFor(b *testing.B) {
	site, in := house(), burning(250)
	for b.Loop() {
		site.HeightFor(in, 12)
	}
}
