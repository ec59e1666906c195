package chimney

import (
	"errors"
	"fmt"
	"math"

	"fluewright/analysis/gas"
	"fluewright/analysis/portable"
)

// System is the way of the gas from the appliance's collar to the open air.
type System struct {
	Connector Section // the zero value: none
	Chimney   Section
}

// Validate says what is impossible about the system.
func (s *System) Validate() error {
	if s.Connector != (Section{}) {
		if err := s.Connector.Validate(); err != nil {
			return fmt.Errorf("connector: %w", err)
		}
	}
	if err := s.Chimney.Validate(); err != nil {
		return fmt.Errorf("chimney: %w", err)
	}
	if s.Chimney.Length == 0 {
		return errors.New("chimney: it has no length")
	}
	return nil
}

// Height returns the height of the outlet above the collar, m.
func (s *System) Height() float64 { return s.Connector.Rise + s.Chimney.Rise }

// Conditions are the air and the house around the chimney.
type Conditions struct {
	Outdoor          float64 // °C
	Room             float64 // °C, of the house that the chimney passes through
	Pressure         float64 // Pa, absolute
	AirConstant      float64 // J/(kg K), of the outdoor air: gas.DryAir().Constant(), EN 288
	Wind             float64 // Pa, back pressure at the outlet
	Depressurisation float64 // Pa, by which the house lies below the outdoor air
}

// Validate says what is impossible about the conditions.
func (c *Conditions) Validate() error {
	for _, v := range []struct {
		what          string
		value, lo, hi float64
	}{
		{"outdoor temperature", c.Outdoor, -70, 60},
		{"room temperature", c.Room, -40, 60},
		{"air pressure", c.Pressure, 40000, 110000},
		{"gas constant of the air", c.AirConstant, 280, 300},
		{"wind pressure", c.Wind, -500, 500},
		{"depressurisation", c.Depressurisation, -500, 500},
	} {
		if !(v.value >= v.lo && v.value <= v.hi) {
			return fmt.Errorf("%s %.4g is not within %.4g to %.4g", v.what, v.value, v.lo, v.hi)
		}
	}
	return nil
}

// airDensity returns the density of the outdoor air, kg/m³.
func (c *Conditions) airDensity() float64 {
	return c.Pressure / float64(c.AirConstant*(c.Outdoor+gas.Kelvin))
}

// Method is how cautiously to compute.
type Method struct {
	Flow float64 // S_E, factor on the flow's pressure losses
	Heat float64 // S_H, factor on the resistance of the wall; below 1 it cools more
}

// The methods. The safety factors are those of EN 13384-1 (from memory).
var (
	Real             = Method{Flow: 1, Heat: 1}     // what to expect in the steady state
	PressureTest     = Method{Flow: 1.5, Heat: 0.5} // the cautious side for the draft
	TemperatureTest  = Method{Flow: 1.5, Heat: 1}   // the steady state, for the wall
	errNoTemperature = errors.New("the gas temperature is not within -70 to 1600 °C")
)

// Stream is a flow of gas.
type Stream struct {
	Gas         gas.Gas
	Flow        float64 // kg/s
	Temperature float64 // °C
}

// Validate says what is impossible about the stream.
func (s *Stream) Validate() error {
	switch {
	case !(s.Flow >= 0 && s.Flow <= 10):
		return fmt.Errorf("flow %.4g kg/s is not within 0 to 10", s.Flow)
	case !(s.Temperature >= -70 && s.Temperature <= 1600):
		return errNoTemperature
	}
	return nil
}

// With returns what becomes of s and t together: each species and the sensible heat are
// conserved.
func (s Stream) With(t Stream) Stream {
	switch {
	case t.Flow <= 0:
		return s
	case s.Flow <= 0:
		return t
	}
	flow := s.Flow + t.Flow
	mix := gas.Mix(s.Gas, s.Flow, t.Gas, t.Flow)
	// Heat above t's temperature; the mixed gas takes it up from there.
	heat := s.Gas.HeatContent(t.Temperature, s.Temperature) * s.Flow / flow
	return Stream{Gas: mix, Flow: flow, Temperature: mix.TemperatureAfter(t.Temperature, heat)}
}

// Stretch is the state of the gas in one section.
type Stretch struct {
	Entry, Mean, Outlet float64 // °C
	Density             float64 // kg/m³ at the mean temperature
	Velocity            float64 // m/s
	Reynolds            float64
	Friction, Smooth    float64 // Darcy factor, and that of a smooth wall
	Nusselt             float64
	Film                float64 // α_i, W/(m² K)
	Transmittance       float64 // k, W/(m² K), with the method's heat factor
	Cooling             float64 // K, the cooling number
	Prandtl             float64
	Buoyancy            float64 // Pa
	FlowLoss            float64 // Pa: friction and fittings, without the safety factor
	Loss                float64 // Pa: with it, and with the change of velocity
	Wall                float64 // °C, inner surface at the outlet end
}

// Solution is the state of the whole chimney.
type Solution struct {
	Connector, Chimney Stretch
	Buoyancy           float64 // Pa, of both
	Loss               float64 // Pa, of both
	Draft              float64 // Pa, at the collar: buoyancy - loss - wind - depressurisation
	Outlet             float64 // °C, of the gas
	// OutletWall is the inner surface at the very top, °C, where the open air is around
	// it whatever the rest of the chimney passes through.
	OutletWall float64
}

// Site is a chimney under certain conditions, computed by a certain method.
type Site struct {
	System     System
	Conditions Conditions
	Method     Method
}

// Validate says what is impossible about the site. Solve takes it as valid.
func (s *Site) Validate() error {
	if err := s.System.Validate(); err != nil {
		return err
	}
	if err := s.Conditions.Validate(); err != nil {
		return err
	}
	if !(s.Method.Flow >= 1 && s.Method.Flow <= 3 && s.Method.Heat > 0 && s.Method.Heat <= 1) {
		return fmt.Errorf("factors %v are not those of a method", s.Method)
	}
	return nil
}

// Solve returns the state of the chimney with the stream entering at the collar, in the
// manner of EN 13384-1: P = g H (ρo - ρm) - S (ψ L/D + Σζ) ρ w²/2 - change of velocity -
// wind - depressurisation, in connector and chimney. Without flow the gas has the
// temperature of the surroundings: the cold chimney. Steady state, stream and site valid;
// against measurements such models are good to about 10 % of the buoyancy.
func (s *Site) Solve(in Stream) Solution {
	var out Solution
	air := s.Conditions.airDensity()
	head := math.NaN() // velocity pressure upstream; none before the collar
	if s.System.Connector.Length > 0 {
		out.Connector = s.stretch(&s.System.Connector, in, air, &head)
		in.Temperature = out.Connector.Outlet
	}
	out.Chimney = s.stretch(&s.System.Chimney, in, air, &head)
	out.Buoyancy = out.Connector.Buoyancy + out.Chimney.Buoyancy
	out.Loss = out.Connector.Loss + out.Chimney.Loss
	out.Draft = out.Buoyancy - out.Loss - s.Conditions.Wind - s.Conditions.Depressurisation
	out.Outlet = out.Chimney.Outlet
	if in.Flow > 0 {
		out.OutletWall = wall(&s.System.Chimney, out.Chimney.Film, out.Outlet, s.Conditions.Outdoor, 1)
	} else {
		out.OutletWall = s.Conditions.Outdoor
	}
	return out
}

// Draft returns the draft in Pa at the collar with the two streams, mixed there, going
// through the chimney: what package regulator asks.
func (s *Site) Draft(appliance, gate Stream) float64 {
	return s.Solve(appliance.With(gate)).Draft
}

func (s *Site) stretch(sec *Section, in Stream, air float64, head *float64) Stretch {
	around := sec.around(&s.Conditions)
	out := Stretch{Entry: in.Temperature, Mean: around, Outlet: around, Wall: around}
	r := in.Gas.Constant()
	if in.Flow > 0 {
		// The properties depend on the mean temperature t and the mean temperature, weakly,
		// on them. The secant finds where both agree in about five rounds.
		t, before, missBefore := in.Temperature, 0.0, 0.0
		for round := range 30 {
			out.cool(sec, in, t, s.Conditions.Pressure/float64(r*(t+gas.Kelvin)), around, s.Method.Heat)
			miss := out.Mean - t
			if math.Abs(miss) < 1e-9 {
				break
			}
			next := out.Mean
			if round > 0 && miss != missBefore {
				next = t - float64(miss*(t-before)/(miss-missBefore))
			}
			t, before, missBefore = next, t, miss
		}
		out.Wall = wall(sec, out.Film, out.Outlet, around, sec.Exposed)
	}
	out.Density = s.Conditions.Pressure / float64(r*(out.Mean+gas.Kelvin))
	out.Velocity = in.Flow / float64(out.Density*sec.area())
	out.Buoyancy = Buoyancy(sec.Rise, air, out.Density)
	now := float64(out.Density * out.Velocity * out.Velocity / 2)
	out.FlowLoss = float64((float64(out.Friction*sec.Length/sec.Diameter) + sec.Fittings) * now)
	out.Loss = float64(s.Method.Flow * out.FlowLoss)
	if change := now - *head; change >= 0 {
		out.Loss += float64(s.Method.Flow * change)
	} else if change < 0 {
		out.Loss += change // a gain is not made larger by caution
	}
	*head = now
	return out
}

// cool sets the heat transfer and the temperatures for gas whose properties are those at
// t °C and the density there.
func (out *Stretch) cool(sec *Section, in Stream, t, density, around, heat float64) {
	cp, viscosity, conductivity := in.Gas.HeatCapacity(t), Viscosity(t), Conductivity(t)
	velocity := in.Flow / float64(density*sec.area())
	out.Reynolds = velocity * sec.Diameter * density / viscosity
	out.Prandtl = viscosity * cp / conductivity
	out.Friction = Friction(out.Reynolds, sec.Roughness/sec.Diameter)
	out.Smooth = Friction(out.Reynolds, 0)
	out.Nusselt = Nusselt(out.Reynolds, out.Prandtl, out.Friction, out.Smooth, sec.Diameter/sec.Length)
	out.Film = conductivity * out.Nusselt / sec.Diameter
	out.Transmittance = 1 / (1/out.Film + float64(heat*sec.outside(sec.Exposed)))
	out.Cooling = sec.surface() * out.Transmittance / float64(in.Flow*cp)
	left := portable.Exp(-out.Cooling)
	excess := out.Entry - around
	out.Mean = around + float64(excess*(1-left)/out.Cooling)
	out.Outlet = around + float64(excess*left)
}

// wall returns the temperature of the inner surface in the steady state: T - k/α (T - Tu).
func wall(sec *Section, film, inside, around, exposed float64) float64 {
	k := 1 / (1/film + sec.outside(exposed))
	return inside - float64(k/film*(inside-around))
}
