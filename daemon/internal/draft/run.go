package draft

import (
	"fmt"
	"math"

	"fluewright/analysis/chimney"
	"fluewright/analysis/gas"
	"fluewright/analysis/heat"
	"fluewright/analysis/regulator"
	"fluewright/daemon/internal/units"
)

// Result is the answer, in SI. A pointer is nil where there is no such value.
type Result struct {
	Input       Input     `json:"input"`
	Fire        Fire      `json:"fire"`
	Cold        Cold      `json:"cold"`
	Hot         Hot       `json:"hot"`
	Regulator   *Reach    `json:"regulator,omitempty"`
	Standard    Standard  `json:"en13384_manner"`
	Sensitivity []Change  `json:"sensitivity"` // best for the draft first
	Curves      []Curve   `json:"curves"`      // warmest weather first
	Findings    []Finding `json:"findings"`
	Disclaimer  string    `json:"disclaimer"`
}

// Fire is what leaves the appliance at nominal output.
type Fire struct {
	Flow         float64 `json:"flue_gas_kilograms_per_second"`
	CO2          float64 `json:"co2_dry_share"`
	DewPoint     float64 `json:"dew_point_celsius"`
	StackLossLHV float64 `json:"stack_loss_share_of_lhv"`
	StackLossHHV float64 `json:"stack_loss_share_of_hhv"`
}

// Cold is the chimney before the fire is lit, and how it comes to draw.
type Cold struct {
	Draft float64 `json:"draft_pascals"`
	// Draws is the mean temperature of the gas below which smoke comes back.
	Draws *float64 `json:"draws_above_mean_celsius"`
	// Enough is the flue temperature from which the chimney gives the needed draft with
	// nominal flow and no regulator.
	Enough *float64 `json:"enough_from_flue_celsius"`
	// Dry is how long the steady fire takes to bring the mean wall above the dew point.
	Dry *float64 `json:"wall_dry_after_seconds"`
	// Warm is how long until it is above the temperature at which tar condenses.
	Warm *float64 `json:"wall_clear_of_tar_after_seconds"`
}

// Hot is the steady fire at nominal output.
type Hot struct {
	Theoretical float64 `json:"buoyancy_pascals"`
	Loss        float64 `json:"flow_loss_pascals"`
	Draft       float64 `json:"draft_without_regulator_pascals"` // nominal flow
	Margin      float64 `json:"margin_pascals"`                  // over the needed draft
	// Height is the smallest of the chimney that gives the needed draft.
	Height      *float64 `json:"least_height_metres"`
	Outlet      float64  `json:"outlet_gas_celsius"`
	OutletWall  float64  `json:"outlet_wall_celsius"`
	WaterMargin float64  `json:"wall_above_dew_point_kelvin"`
	TarMargin   float64  `json:"wall_above_tar_kelvin"`
}

// Reach is what the regulator does.
type Reach struct {
	Opens     *float64 `json:"opens_from_flue_celsius"`
	Holds     *float64 `json:"holds_to_flue_celsius"` // nil: beyond all flue temperatures
	Working   Setting  `json:"working"`
	StuckShut Setting  `json:"stuck_shut"`
	StuckOpen Setting  `json:"stuck_open"`
}

// Setting is the balance with the gate in one state, the fire's flow following the draft.
type Setting struct {
	Draft       float64 `json:"draft_pascals"`
	GateAir     float64 `json:"gate_air_kilograms_per_second"`
	Dilution    float64 `json:"air_per_flue_gas"`
	Above       float64 `json:"gas_above_celsius"`
	DewPoint    float64 `json:"dew_point_above_celsius"`
	OutletWall  float64 `json:"outlet_wall_celsius"`
	WaterMargin float64 `json:"wall_above_dew_point_kelvin"`
	TarMargin   float64 `json:"wall_above_tar_kelvin"`
}

// Standard is the pair of tests in the manner of EN 13384-1, with its safety factors as
// remembered.
type Standard struct {
	Available  float64 `json:"available_pascals"`
	Required   float64 `json:"required_pascals"`
	OutletWall float64 `json:"outlet_wall_celsius"`
	DewPoint   float64 `json:"dew_point_celsius"`
	Draws      bool    `json:"draws"`
	Dry        bool    `json:"dry"`
}

// Disclaimer stands on every answer.
const Disclaimer = "A calculation for a steady fire in a clean chimney, good to about 10 % of the buoyancy. " +
	"It is no measurement and no approval: the appliance's manual, local codes and a licensed person come first, " +
	"and a carbon-monoxide alarm belongs in the house."

// airSupply is the draft that the room's own air openings take, EN 13384-1 (from memory).
const airSupply = 4.0

// Run answers the input; the error names everything that is impossible about it.
func Run(in Input) (Result, error) {
	if err := in.Validate(); err != nil {
		return Result{}, fmt.Errorf("check input: %w", err)
	}
	in.Appliance.Lambda, _ = in.Appliance.airRatio()
	q := newQuestion(in)
	if err := q.site.Validate(); err != nil {
		return Result{}, fmt.Errorf("check input: %w", err)
	}
	r := Result{
		Input: in, Fire: q.fire(), Cold: q.cold(), Hot: q.hot(), Standard: q.standard(),
		Sensitivity: sensitivity(in), Curves: curves(in), Disclaimer: Disclaimer,
	}
	if in.Regulator.Set > 0 {
		r.Regulator = q.reach()
	}
	r.Findings = findings(r, units.SI)
	return r, nil
}

// question is an input as the analysis takes it.
type question struct {
	in     Input
	site   chimney.Site
	burnt  gas.Combustion
	stream chimney.Stream // at nominal output
}

func newQuestion(in Input) question {
	fuel := in.Appliance.fuel()
	burnt := fuel.Burn(in.Appliance.Lambda, 0)
	fired := in.Appliance.Heat / (in.Appliance.Efficiency * fuel.LowerHeatingValue()) // kg/s of wood
	return question{
		in: in, site: in.site(), burnt: burnt,
		stream: chimney.Stream{Gas: burnt.Gas, Flow: fired * burnt.Flue, Temperature: in.Appliance.FlueTemperature},
	}
}

func (q *question) fire() Fire {
	loss := heat.ExactStackLoss(q.burnt, q.stream.Temperature, q.in.Conditions.Room)
	return Fire{
		Flow: q.stream.Flow, CO2: q.stream.Gas.DryShare(gas.CO2),
		DewPoint:     q.stream.Gas.DewPoint(q.site.Conditions.Pressure),
		StackLossLHV: loss.Total(),
		StackLossHHV: loss.On(heat.HigherHeatingValue, q.burnt.Fuel).Total(),
	}
}

func (q *question) cold() Cold {
	c := Cold{Draft: q.site.ColdDraft()}
	if t := q.site.NeutralTemperature(gas.DryAir().Constant()); !math.IsInf(t, 0) {
		c.Draws = &t
	}
	if t, ok := q.site.TemperatureFor(q.stream, q.in.Appliance.Draft); ok {
		c.Enough = &t
	}
	if w, ok := q.site.WarmUp(q.stream); ok {
		if s, ok := w.Until(q.stream.Gas.DewPoint(q.site.Conditions.Pressure)); ok {
			c.Dry = &s
		}
		if s, ok := w.Until(chimney.TarTemperature); ok {
			c.Warm = &s
		}
	}
	return c
}

func (q *question) hot() Hot {
	sol := q.site.Solve(q.stream)
	margins := chimney.MarginsOf(sol.OutletWall, q.stream.Gas, q.site.Conditions.Pressure)
	var height *float64
	if h, ok := q.site.HeightFor(q.stream, q.in.Appliance.Draft); ok {
		height = &h
	}
	return Hot{
		Height: height, Theoretical: sol.Buoyancy, Loss: sol.Loss, Draft: sol.Draft, Margin: sol.Draft - q.in.Appliance.Draft,
		Outlet: sol.Outlet, OutletWall: sol.OutletWall, WaterMargin: margins.Water, TarMargin: margins.Tar,
	}
}

func (q *question) standard() Standard {
	a := q.site.System.Assess(q.stream, q.in.Conditions.Altitude,
		chimney.Requirement{
			Draft: q.in.Appliance.Draft, Wind: q.in.Conditions.Wind,
			AirSupply: airSupply + max(0, q.in.Conditions.Depressurisation),
		})
	return Standard{
		Available: a.Available, Required: a.Required, OutletWall: a.OutletWall, DewPoint: a.Limit,
		Draws: a.Draws, Dry: a.Dry,
	}
}

// network returns the balance of fire, gate and chimney; without a regulator the gate is
// one that only ever counts as shut.
func (q *question) network() regulator.Network {
	set := orElse(q.in.Regulator.Set, q.in.Appliance.Draft)
	return regulator.Network{
		Chimney:   &q.site,
		Appliance: regulator.Appliance{Flow: q.stream.Flow, Draft: q.in.Appliance.Draft},
		Gate:      regulator.NewGate(orElse(q.in.Regulator.Diameter, q.in.connectorDiameter()), set),
		Room:      q.in.Conditions.Room,
		// Room air in the heating season, 40 % humid.
		RoomAir:  gas.MoistAir(gas.HumidityRatio(0.4, q.in.Conditions.Room, q.site.Conditions.Pressure)),
		Pressure: q.site.Conditions.Pressure,
	}
}

// gateBand is the draft above the setting at which the gate hangs wide open, Pa.
var gateBand = regulator.NewGate(1, 1).Band

// The flue temperatures that are looked at, °C.
const coolest, hottest = 40.0, 700.0

func (q *question) reach() *Reach {
	n := q.network()
	g := q.stream.Gas
	setting := func(state regulator.State) Setting {
		p := n.Settle(state, g, q.stream.Temperature)
		sol := q.site.Solve(p.Mixed)
		margins := chimney.MarginsOf(sol.OutletWall, p.Mixed.Gas, q.site.Conditions.Pressure)
		return Setting{
			Draft: p.Draft, GateAir: p.Gate.Flow, Dilution: p.Dilution(), Above: p.Mixed.Temperature,
			DewPoint:   p.Mixed.Gas.DewPoint(q.site.Conditions.Pressure),
			OutletWall: sol.OutletWall, WaterMargin: margins.Water, TarMargin: margins.Tar,
		}
	}
	out := &Reach{
		Working: setting(regulator.Working), StuckShut: setting(regulator.StuckShut), StuckOpen: setting(regulator.StuckOpen),
	}
	out.Opens = crossing(func(t float64) float64 { return n.Settle(regulator.StuckShut, g, t).Draft - n.Gate.Set })
	out.Holds = crossing(func(t float64) float64 {
		return n.Settle(regulator.Working, g, t).Draft - n.Gate.Set - gateBand
	})
	return out
}

// crossing returns the flue temperature at which the rising f passes 0, to 0.1 K; nil if
// it does not up to hottest, coolest if it has before.
func crossing(f func(float64) float64) *float64 {
	lo, hi := coolest, hottest
	switch {
	case f(lo) >= 0:
		return &lo
	case f(hi) < 0:
		return nil
	}
	for hi-lo > 0.1 {
		if middle := (lo + hi) / 2; f(middle) < 0 {
			lo = middle
		} else {
			hi = middle
		}
	}
	return &hi
}
