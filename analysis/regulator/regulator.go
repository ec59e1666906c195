// Package regulator computes what a barometric draft regulator does to the draft: the
// balance of chimney, appliance and weighted gate, with the gate working, stuck shut or
// stuck open. It changes when the model of the gate does.
//
// The model is this project's own. A gate hangs in a tee at the collar; at its set draft
// the pull on it overcomes the weight (p A l = M g s) and it opens over a band of draft,
// letting in room air, which cools the gas in the chimney and loads it with more flow until
// the draft that is left holds the gate just there. A gate cannot raise a draft.
//
// SI: Pa, °C, kg/s, m², rad. The same bits on every architecture: see package portable.
package regulator

import (
	"fmt"
	"math"

	"fluewright/analysis/chimney"
	"fluewright/analysis/gas"
	"fluewright/analysis/portable"
)

// Chimney gives the draft in Pa at the collar that is left when the appliance's gas and
// the gate's air go up together. *chimney.Site is one.
type Chimney interface {
	Draft(appliance, gate chimney.Stream) float64
}

// Appliance is a fire as the chimney sees it: a fixed opening, through which the flow goes
// with the root of the draft.
type Appliance struct {
	Flow  float64 // kg/s of flue gas
	Draft float64 // Pa, at which it has that flow
}

// at returns the flow at a draft, kg/s.
func (a Appliance) at(draft float64) float64 {
	if draft <= 0 {
		return 0
	}
	return float64(a.Flow * math.Sqrt(draft/a.Draft))
}

// Gate is the regulator's weighted gate.
type Gate struct {
	Area      float64 // m², free when it lies flat
	Discharge float64 // coefficient of the opening, about 0.6
	Set       float64 // Pa, where it begins to open
	Band      float64 // Pa more, at which it has its largest angle
	Travel    float64 // rad, the largest angle
	Stuck     float64 // share of the area that stands open when it is stuck open
}

// NewGate returns a gate for a round tee of the given diameter in m, set to open at the
// draft in Pa: 80 % free area, discharge 0.62, 80° of travel over 4 Pa; stuck open with
// 35 % of the area. Common practice, no source; makers' settings are 5 to 20 Pa.
func NewGate(diameter, set float64) Gate {
	return Gate{
		Area: math.Pi / 4 * diameter * diameter * 0.8, Discharge: 0.62,
		Set: set, Band: 4, Travel: 80 * math.Pi / 180, Stuck: 0.35,
	}
}

// Validate says what is impossible about the gate.
func (g Gate) Validate() error {
	for _, v := range []struct {
		what          string
		value, lo, hi float64
	}{
		{"area", g.Area, 0, 1},
		{"discharge coefficient", g.Discharge, 0.1, 1},
		{"set draft", g.Set, 1, 100},
		{"band", g.Band, 0.1, 100},
		{"travel", g.Travel, 0.1, math.Pi / 2},
		{"stuck share", g.Stuck, 0, 1},
	} {
		if !(v.value >= v.lo && v.value <= v.hi) {
			return fmt.Errorf("gate: %s %.4g is not within %.4g to %.4g", v.what, v.value, v.lo, v.hi)
		}
	}
	return nil
}

// State is what the gate does.
type State uint8

// The states. A chimney without a regulator behaves as one that is stuck shut.
const (
	Working State = iota
	StuckShut
	StuckOpen
)

var states = [...]string{"working", "stuck shut", "stuck open"}

// String returns the state's name.
func (s State) String() string {
	if int(s) < len(states) {
		return states[s]
	}
	return "unknown"
}

// Angle returns how far a working gate hangs open at a draft in Pa, rad: linear over the
// band above the set draft.
func (g Gate) Angle(draft float64) float64 {
	share := (draft - g.Set) / g.Band
	return float64(g.Travel * math.Max(0, math.Min(1, share)))
}

// versine holds the series of 1 - cos θ over θ² in θ², highest power first; to 1e-15 up
// to a right angle.
var versine = [...]float64{
	-1.0 / 2432902008176640000, 1.0 / 6402373705728000, -1.0 / 20922789888000, 1.0 / 87178291200,
	-1.0 / 479001600, 1.0 / 3628800, -1.0 / 40320, 1.0 / 720, -1.0 / 24, 1.0 / 2,
}

// Opening returns the free share of the area at a draft in Pa and in a state, 0 to 1; a
// flap at the angle θ frees 1 - cos θ.
func (g Gate) Opening(draft float64, state State) float64 {
	switch state {
	case StuckShut:
		return 0
	case StuckOpen:
		return g.Stuck
	}
	angle := g.Angle(draft)
	square := float64(angle * angle)
	return float64(square * portable.Poly(square, versine[:]))
}

// Flow returns the room air in kg/s that the gate lets in: Cd A √(2 ρ p), ρ in kg/m³.
func (g Gate) Flow(draft, density float64, state State) float64 {
	if draft <= 0 {
		return 0
	}
	return float64(g.Discharge * g.Area * g.Opening(draft, state) * math.Sqrt(2*density*draft))
}

// Network is the whole: the fire, the gate and the chimney above both.
type Network struct {
	Chimney   Chimney
	Appliance Appliance
	Gate      Gate
	Room      float64 // °C, of the air that the gate lets in
	RoomAir   gas.Gas
	Pressure  float64 // Pa, absolute
}

// Point is where the network settles.
type Point struct {
	Draft     float64        // Pa, at the collar; not above 0 when nothing draws
	Appliance chimney.Stream // what comes from the fire
	Gate      chimney.Stream // what the gate lets in
	Mixed     chimney.Stream // what goes up the chimney
	Opening   float64        // free share of the gate's area
}

// Dilution returns the kg of room air per kg of flue gas.
func (p Point) Dilution() float64 {
	if p.Appliance.Flow <= 0 {
		return 0
	}
	return p.Gate.Flow / p.Appliance.Flow
}

const (
	highestDraft = 300.0 // Pa, more than any house chimney has
	lowestDraft  = 0.01  // Pa, below which the flow counts as none
)

// Settle returns where the network comes to rest with flue gas g leaving the appliance at
// the temperature in °C: the largest draft p at which the chimney, carrying the flows that
// p draws, leaves just p; to 1e-9 Pa. If the chimney does not draw, the draft of the still
// column is returned, with no flow. Quasi-steady: the chimney's walls are taken as warm as
// they become.
func (n *Network) Settle(state State, g gas.Gas, temperature float64) Point {
	// excess(p) is above 0 below the largest root and below 0 above it. Look from the top,
	// as a cold chimney may have a second root near none.
	hi, over := highestDraft, n.excess(highestDraft, state, g, temperature)
	lo, under := hi, over
	for under < 0 && lo > lowestDraft {
		hi, over = lo, under
		lo = float64(lo / 1.5)
		under = n.excess(lo, state, g, temperature)
	}
	if under < 0 {
		still := n.point(0, state, g, temperature)
		still.Draft = math.Min(0, n.Chimney.Draft(still.Appliance, still.Gate))
		return still
	}
	return n.point(root(lo, under, hi, over, func(p float64) float64 {
		return n.excess(p, state, g, temperature)
	}), state, g, temperature)
}

// Slope returns how the draft answers to the flue temperature in °C, Pa/K, over ±10 K:
// what tells a working gate from a stuck one. A working gate above its set draft has about
// a tenth of the slope of a stuck one.
func (n *Network) Slope(state State, g gas.Gas, temperature float64) float64 {
	const reach = 10.0
	up := n.Settle(state, g, temperature+reach).Draft
	down := n.Settle(state, g, temperature-reach).Draft
	return (up - down) / (2 * reach)
}

func (n *Network) point(draft float64, state State, g gas.Gas, temperature float64) Point {
	density := n.RoomAir.Density(n.Room, n.Pressure)
	p := Point{
		Draft:     draft,
		Appliance: chimney.Stream{Gas: g, Flow: n.Appliance.at(draft), Temperature: temperature},
		Gate:      chimney.Stream{Gas: n.RoomAir, Flow: n.Gate.Flow(draft, density, state), Temperature: n.Room},
		Opening:   n.Gate.Opening(draft, state),
	}
	p.Mixed = p.Appliance.With(p.Gate)
	return p
}

func (n *Network) excess(draft float64, state State, g gas.Gas, temperature float64) float64 {
	p := n.point(draft, state, g, temperature)
	return n.Chimney.Draft(p.Appliance, p.Gate) - draft
}

// root returns where f, at least 0 at a and below 0 at b, crosses, by the Illinois form of
// false position.
func root(a, fa, b, fb float64, f func(float64) float64) float64 {
	side := 0
	for range 100 {
		if math.Abs(b-a) < 1e-10 {
			break
		}
		x := a + float64((b-a)*(fa/(fa-fb)))
		fx := f(x)
		switch {
		case math.Abs(fx) < 1e-11:
			return x
		case fx > 0:
			a, fa = x, fx
			if side > 0 {
				fb = float64(fb / 2)
			}
			side = 1
		default:
			b, fb = x, fx
			if side < 0 {
				fa = float64(fa / 2)
			}
			side = -1
		}
	}
	return float64((a + b) / 2)
}
