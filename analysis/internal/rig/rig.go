// Package rig is a furnace on paper, for tests: nights whose truth is known, from the
// physics of packages chimney and regulator alone. The flue follows a given course and the
// draft settles at once.
package rig

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/internal/noise"
	"fluewright/analysis/regulator"
)

// Stack is chimney, regulator and weather.
type Stack struct {
	Height, Diameter float64 // m
	Brick            bool
	Fittings         float64 // ζ; 1.2 when clean
	Outdoor          float64 // °C
	Flow             float64 // kg/s through the appliance at 12 Pa
	Set              float64 // Pa
	State            regulator.State
	House            float64 // Pa by which fans lower the house
}

// Default is a chimney of 7 m and 150 mm of insulated steel on a frosty night.
var Default = Stack{Height: 7, Diameter: 0.15, Fittings: 1.2, Flow: 0.018, Set: 12.5}

// Site returns the chimney as package chimney has it.
func (s Stack) Site() chimney.Site {
	c := chimney.InsulatedMetal(s.Diameter, 0.025)
	if s.Brick {
		c = chimney.Masonry(s.Diameter, 0.115)
	}
	c.Length, c.Rise, c.Fittings, c.Exposed = s.Height, s.Height, s.Fittings, 0.2
	return chimney.Site{
		System: chimney.System{Chimney: c},
		Conditions: chimney.Conditions{
			Outdoor: s.Outdoor, Room: room, Pressure: gas.SeaLevel, AirConstant: gas.DryAir().Constant(),
			Depressurisation: s.House,
		},
		Method: chimney.Real,
	}
}

// Stream returns the flue gas of an ordinary fire with a flow in kg/s.
func Stream(flow float64) chimney.Stream {
	fuel := gas.Fuel{Wood: gas.TypicalWood(), Moisture: gas.DryBasis(0.20).Wet()}
	return chimney.Stream{Gas: fuel.Burn(2, 0).Gas, Flow: flow, Temperature: 200}
}

const (
	room    = 18.0
	coldest = 20.0 // °C, of the table
	step    = 20.0
	points  = 31
)

// Table is the draft in Pa at flues from 20 to 620 °C.
type Table [points]float64

// Draft returns the table of the stack: what the network settles at.
func (s Stack) Draft() Table {
	site := s.Site()
	n := regulator.Network{
		Chimney: &site, Appliance: regulator.Appliance{Flow: s.Flow, Draft: 12},
		Gate: regulator.NewGate(s.Diameter, s.Set), Room: room, RoomAir: gas.DryAir(), Pressure: gas.SeaLevel,
	}
	g := Stream(s.Flow).Gas
	var t Table
	for i := range t {
		t[i] = n.Settle(s.State, g, coldest+float64(step*float64(i))).Draft
	}
	return t
}

// At returns the draft at a flue temperature in °C.
func (t *Table) At(flue float64) float64 {
	x := max(0, min(points-1.001, (flue-coldest)/step))
	i := int(x)
	return t[i] + float64((x-float64(i))*(t[i+1]-t[i]))
}

// Night is one burn: lit, full for a while, coals.
type Night struct {
	Peak   float64       // °C, of the flue
	Length time.Duration // until the fire is out
	Every  time.Duration // between frames
	// Noise is the standard deviation of the draft reading, Pa.
	Noise float64
	// Outdoor is the outdoor reading in °C, NaN: none.
	Outdoor float64
	Seed    uint64
}

// Play lights a fire at a time and hands on each frame's readings with the phase; draft
// gives the draft in Pa at an instant of the burn, without noise.
func (n Night) Play(at time.Duration, draft func(since time.Duration, flue float64) float64, each func(time.Duration, frame.Values, burn.Phase)) {
	random := noise.Source(n.Seed)
	full := min(3*time.Hour, n.Length/2)
	var v frame.Values
	for c := range v {
		v[c] = math.NaN()
	}
	v[frame.Room], v[frame.Outdoor] = room, n.Outdoor
	flue := room
	for t := time.Duration(0); t < n.Length+30*time.Minute; t += n.Every {
		s := n.Every.Seconds()
		phase, aim, lag := burn.CleanBurn, n.Peak, 900.0
		switch {
		case t < 10*time.Minute:
			phase, aim = burn.Lighting, 0.6*n.Peak
		case t < 30*time.Minute:
			phase, aim = burn.WarmUp, n.Peak
		case t >= n.Length:
			phase, aim, lag = burn.Cold, room, 1800
		case t > full:
			phase, aim, lag = burn.Coals, 60, 5400
			if flue > 0.6*n.Peak {
				phase = burn.CleanBurn
			}
		default: // the damper at work
			aim += float64(0.12 * n.Peak * (float64(int(t/(20*time.Minute))%3) - 1))
		}
		flue += float64(s / (s + lag) * (aim - flue))
		v[frame.Flue] = float64(math.Floor(flue*4) / 4)
		v[frame.Draft] = draft(t, flue) + float64(n.Noise*random.Normal())
		each(at+t, v, phase)
	}
}
