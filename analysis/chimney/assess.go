package chimney

import (
	"fluewright/analysis/gas"
	"fluewright/analysis/portable"
)

// EN13384AirConstant is the gas constant of outdoor air that EN 13384-1 computes with,
// J/(kg K) (from memory).
const EN13384AirConstant = 288.0

// EN13384Pressure returns the air pressure in Pa that EN 13384-1 takes at a height above
// sea level in m and an outdoor temperature in °C: 97000 exp(-g z/(R T)) (from memory), a
// low barometer on purpose.
func EN13384Pressure(altitude, outdoor float64) float64 {
	t := float64(EN13384AirConstant * (outdoor + gas.Kelvin))
	return 97000 * portable.Exp(-gas.Gravity*altitude/t)
}

// Requirement is what the appliance needs of its chimney at nominal heat output.
type Requirement struct {
	Draft     float64 // P_W, Pa, at the collar
	AirSupply float64 // P_B, Pa, for the room's own air openings; 4 where nothing is known
	Wind      float64 // P_L, Pa, at an unfavourable outlet: 25 inland, 40 at the coast, else 0
	Wet       bool    // the chimney is made to be wet inside: only ice is forbidden
}

// Assessment is the answer of the two tests of EN 13384-1.
type Assessment struct {
	Available  float64 // P_Z, Pa: draft with the safety factors
	Required   float64 // P_Ze = P_W + P_B, Pa
	Draws      bool    // Available >= Required
	OutletWall float64 // °C, in the cold
	Limit      float64 // °C: the dew point of a dry chimney, 0 of a wet one
	Dry        bool    // OutletWall >= Limit
}

// Assess runs the two tests of EN 13384-1 on the system at the given altitude in m, with
// the stream at nominal output: enough draft on a mild day (15 °C, everything cautious),
// and a wall above the dew point, or for a wet chimney free of ice, on a cold one (0 °C,
// wet -15 °C outdoors; indoors 20 °C). Formulas, factors and temperatures are from memory
// of the standard; see the package's own words on that.
func (s *System) Assess(in Stream, altitude float64, need Requirement) Assessment {
	mild := Site{System: *s, Method: PressureTest, Conditions: Conditions{
		Outdoor: 15, Room: 15, AirConstant: EN13384AirConstant, Pressure: EN13384Pressure(altitude, 15),
		Wind: need.Wind,
	}}
	cold := Site{System: *s, Method: TemperatureTest, Conditions: mild.Conditions}
	cold.Conditions.Room = 20
	cold.Conditions.Outdoor = 0
	if need.Wet {
		cold.Conditions.Outdoor = -15
	}
	out := Assessment{
		Available:  mild.Solve(in).Draft,
		Required:   need.Draft + need.AirSupply,
		OutletWall: cold.Solve(in).OutletWall,
	}
	if !need.Wet {
		out.Limit = in.Gas.DewPoint(cold.Conditions.Pressure)
	}
	out.Draws = out.Available >= out.Required
	out.Dry = out.OutletWall >= out.Limit
	return out
}
