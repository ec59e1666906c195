package regulator

import (
	"hash/fnv"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"

	"fluewright/analysis/chimney"
	"fluewright/analysis/gas"
	"fluewright/analysis/internal/printed"
)

// tableChimney is the model behind the table of test vectors: 7 m by 150 mm, roughness
// 1 mm, Σζ 1.5 and once the velocity pressure for the outlet, cooling number 0.35 (0.020/m)^0.2, R 287.05 J/(kg K) for all gases, mixing
// by mass. The table was solved with scipy 1.10.1 (brentq) and the friction factor of
// fluids 1.0.22, whose Colebrook has 3.7 for the roughness.
type tableChimney struct {
	outdoor float64
	state   *tableState
}

type tableState struct{ after, mean, buoyancy, friction float64 }

const tableR = 287.05

func (c tableChimney) Draft(appliance, gate chimney.Stream) float64 {
	const height, diameter = 7.0, 0.15
	outer := gas.SeaLevel / (tableR * (c.outdoor + gas.Kelvin))
	flow := appliance.Flow + gate.Flow
	after := (appliance.Flow*appliance.Temperature + gate.Flow*gate.Temperature) / flow
	k := 0.35 * math.Pow(0.020/flow, 0.2)
	mean := c.outdoor + (after-c.outdoor)*(1-math.Exp(-k))/k
	density := gas.SeaLevel / (tableR * (mean + gas.Kelvin))
	speed := flow / (density * math.Pi / 4 * diameter * diameter)
	re := speed * diameter * density / chimney.Viscosity(mean)
	loss := (chimney.Friction(re, 0.001/diameter)*height/diameter + 1.5 + 1) * density * speed * speed / 2
	*c.state = tableState{after, mean, chimney.Buoyancy(height, outer, density), loss}
	return c.state.buoyancy - loss
}

func TestModelTable(t *testing.T) {
	states := map[string]State{"none": StuckShut, "working": Working, "stuck_open": StuckOpen}
	rows := printed.Table(t, os.DirFS("../../testdata/physics"), "barometric_regulator_model.csv")
	if len(rows) < 100 {
		t.Fatalf("only %d rows", len(rows))
	}
	for _, row := range rows {
		var inner tableState
		n := Network{
			Chimney:   tableChimney{row.Number("T_out_C"), &inner},
			Appliance: Appliance{Flow: 0.020, Draft: 12},
			Gate:      NewGate(0.15, 15),
			Room:      20, RoomAir: gas.DryAir(), Pressure: gas.SeaLevel,
		}
		state, ok := states[row.Text("regulator")]
		if !ok {
			t.Fatalf("%s: regulator %q", row, row.Text("regulator"))
		}
		p := n.Settle(state, gas.DryAir(), row.Number("T_flue_appliance_C"))
		n.Chimney.Draft(p.Appliance, p.Gate) // leaves the inner state of the solution
		// The constant of Colebrook makes up to 0.1 % of the friction.
		row.Near("draft", p.Draft, row.Number("draft_at_appliance_Pa"), 0.004)
		row.Near("appliance g/s", 1000*p.Appliance.Flow, row.Number("m_appliance_g_s"), 0.004)
		row.Near("gate g/s", 1000*p.Gate.Flow, row.Number("m_gate_g_s"), 0.012)
		row.Near("after °C", inner.after, row.Number("T_after_regulator_C"), 0.06)
		row.Near("mean °C", inner.mean, row.Number("T_mean_chimney_C"), 0.06)
		row.Near("buoyancy", inner.buoyancy, row.Number("PH_Pa"), 0.006)
		row.Near("friction", inner.friction, row.Number("friction_Pa"), 0.009)
		// The table mixes by mass, Settle by heat, and hot air holds a little more.
		if d := p.Mixed.Temperature - inner.after; d < -1e-9 || d > 0.02*(row.Number("T_flue_appliance_C")+30) {
			t.Errorf("%s: mixed to %v °C, by mass %v", row, p.Mixed.Temperature, inner.after)
		}
	}
}

func network(outdoor float64) Network {
	connector := chimney.SingleWall(0.15)
	connector.Length, connector.Rise, connector.Fittings = 1.5, 0.5, 0.6
	stack := chimney.InsulatedMetal(0.15, 0.025)
	stack.Length, stack.Rise, stack.Fittings, stack.Exposed = 7, 7, 1.2, 0.2
	site := &chimney.Site{
		System: chimney.System{Connector: connector, Chimney: stack},
		Conditions: chimney.Conditions{
			Outdoor: outdoor, Room: 20, Pressure: gas.SeaLevel, AirConstant: gas.DryAir().Constant(),
		},
		Method: chimney.Real,
	}
	return Network{
		Chimney: site, Appliance: Appliance{Flow: 0.020, Draft: 12}, Gate: NewGate(0.15, 15),
		Room: 20, RoomAir: gas.MoistAir(0.006), Pressure: gas.SeaLevel,
	}
}

func fire() gas.Gas {
	return gas.Fuel{Wood: gas.TypicalWood(), Moisture: 0.2}.Burn(2, 0).Gas
}

func TestSettleIsInBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := network(rapid.Float64Range(-35, 15).Draw(t, "outdoor"))
		n.Gate.Set = rapid.Float64Range(5, 25).Draw(t, "set")
		temperature := rapid.Float64Range(40, 800).Draw(t, "flue")
		state := rapid.SampledFrom([]State{Working, StuckShut, StuckOpen}).Draw(t, "state")
		p := n.Settle(state, fire(), temperature)
		left := n.Chimney.Draft(p.Appliance, p.Gate)
		if math.Abs(left-p.Draft) > 1e-8 {
			t.Errorf("%v Pa drives what leaves %v Pa", p.Draft, left)
		}
		if math.Abs(p.Mixed.Flow-p.Appliance.Flow-p.Gate.Flow) > 1e-12 {
			t.Errorf("flow is not conserved: %+v", p)
		}
		// Carbon goes up undiminished: room air has none here.
		in := p.Appliance.Flow / p.Appliance.Gas.MolarMass() * p.Appliance.Gas.Share(gas.CO2)
		out := p.Mixed.Flow / p.Mixed.Gas.MolarMass() * p.Mixed.Gas.Share(gas.CO2)
		if math.Abs(in-out) > 1e-12 {
			t.Errorf("CO2: %v in, %v out", in, out)
		}
		// A gate never raises the draft.
		if shut := n.Settle(StuckShut, fire(), temperature).Draft; p.Draft > shut+1e-8 {
			t.Errorf("%v: %v Pa above %v without the gate", state, p.Draft, shut)
		}
	})
}

func TestWorkingGateHolds(t *testing.T) {
	n := network(-20)
	var last Point
	for temperature := 150.0; temperature <= 600; temperature += 50 {
		p := n.Settle(Working, fire(), temperature)
		if p.Draft < last.Draft {
			t.Errorf("at %v °C: %v Pa after %v", temperature, p.Draft, last.Draft)
		}
		if p.Draft < n.Gate.Set || p.Draft > n.Gate.Set+n.Gate.Band {
			t.Errorf("at %v °C: %v Pa, outside %v to %v", temperature, p.Draft, n.Gate.Set, n.Gate.Set+n.Gate.Band)
		}
		if p.Mixed.Temperature >= temperature || p.Dilution() <= 0 {
			t.Errorf("at %v °C nothing is let in: %+v", temperature, p)
		}
		last = p
	}
}

// What the model says of a stuck gate, and the diagnosis rests on: the slopes.
func TestSlopesTellStatesApart(t *testing.T) {
	n := network(0)
	for _, temperature := range []float64{200, 300, 400} {
		working, shut := n.Slope(Working, fire(), temperature), n.Slope(StuckShut, fire(), temperature)
		open := n.Slope(StuckOpen, fire(), temperature)
		if !(working > 0 && working < 0.3*shut && open > 3*working) {
			t.Errorf("at %v °C: working %v, shut %v, open %v Pa/K", temperature, working, shut, open)
		}
	}
}

func TestNothingDraws(t *testing.T) {
	n := network(30)
	site := *n.Chimney.(*chimney.Site)
	site.Conditions.Depressurisation = 3
	n.Chimney = &site
	p := n.Settle(Working, fire(), 20)
	if p.Draft >= 0 || p.Appliance.Flow != 0 || p.Gate.Flow != 0 || p.Dilution() != 0 {
		t.Errorf("a chimney that pushes back: %+v", p)
	}
	if hot := n.Settle(Working, fire(), 300); hot.Draft <= 0 {
		t.Errorf("hot it draws no more: %v Pa", hot.Draft)
	}
}

func TestOpening(t *testing.T) {
	g := NewGate(0.15, 15)
	tests := []struct {
		name  string
		draft float64
		state State
		want  float64
	}{
		{"below the set draft", 14, Working, 0},
		{"half way", 17, Working, 1 - math.Cos(40*math.Pi/180)},
		{"at the end of the band", 19, Working, 1 - math.Cos(80*math.Pi/180)},
		{"beyond", 60, Working, 1 - math.Cos(80*math.Pi/180)},
		{"stuck shut", 60, StuckShut, 0},
		{"stuck open", 1, StuckOpen, 0.35},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := g.Opening(tt.draft, tt.state); math.Abs(got-tt.want) > 1e-14 {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
	if g.Flow(-3, 1.2, StuckOpen) != 0 {
		t.Error("air goes out through the gate")
	}
}

func TestValidateGate(t *testing.T) {
	if err := NewGate(0.15, 12).Validate(); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(*Gate){
		"set in inches of water": func(g *Gate) { g.Set = 0.06 },
		"no band":                func(g *Gate) { g.Band = 0 },
		"travel in degrees":      func(g *Gate) { g.Travel = 80 },
		"not a number":           func(g *Gate) { g.Area = math.NaN() },
	} {
		g := NewGate(0.15, 12)
		spoil(&g)
		if g.Validate() == nil {
			t.Errorf("%s passed", name)
		}
	}
}

func TestSameBitsEverywhere(t *testing.T) {
	h := fnv.New64a()
	for i := range 30 {
		n := network(float64(i - 20))
		for _, s := range []State{Working, StuckShut, StuckOpen} {
			p := n.Settle(s, fire(), 50+17*float64(i))
			for _, v := range []float64{p.Draft, p.Gate.Flow, p.Mixed.Temperature, p.Opening} {
				bits := math.Float64bits(v)
				for shift := 0; shift < 64; shift += 8 {
					h.Write([]byte{byte(bits >> shift)})
				}
			}
		}
	}
	const want = 0x124b8724db1c21b7
	if got := h.Sum64(); got != want {
		t.Errorf("fingerprint %#x, want %#x", got, uint64(want))
	}
}

func BenchmarkSettle(b *testing.B) {
	n, g := network(0), fire()
	b.ReportAllocs()
	for b.Loop() {
		n.Settle(Working, g, 300)
	}
}
