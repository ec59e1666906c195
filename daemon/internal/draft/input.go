// Package draft is the calculator behind "fluewright draft": what a chimney gives, cold
// and hot, what the regulator makes of it, whether the wall stays dry, and which change
// would help most. It puts the questions to the analysis and renders the answers as text,
// JSON and a picture; it reads no chip and no configuration.
package draft

import (
	"errors"
	"fmt"

	"fluewright/analysis/chimney"
	"fluewright/analysis/gas"
	"fluewright/daemon/internal/units"
)

// Construction is how a chimney is built.
type Construction string

// The constructions.
const (
	Insulated  Construction = "insulated"   // double-wall steel with mineral wool
	Masonry    Construction = "masonry"     // brick
	SingleWall Construction = "single-wall" // bare steel pipe
)

// Input is what is asked about, in SI. Zero means "none" where a comment says so; take
// Defaults and change what is known.
type Input struct {
	Chimney    Chimney    `json:"chimney"`
	Connector  Connector  `json:"connector"`
	Appliance  Appliance  `json:"appliance"`
	Regulator  Regulator  `json:"regulator"`
	Conditions Conditions `json:"conditions"`
}

// Chimney is the chimney above the connector.
type Chimney struct {
	Construction Construction `json:"construction"`
	Height       float64      `json:"height_metres"`
	Diameter     float64      `json:"diameter_metres"`
	Wall         float64      `json:"wall_metres"` // insulation or brick; 0: 25 mm or 115 mm
	Exposed      float64      `json:"exposed_share"`
	Fittings     float64      `json:"fittings_zeta"` // tee, bends and cowl
}

// Connector is the smoke pipe of bare steel; length 0: none.
type Connector struct {
	Length   float64 `json:"length_metres"`
	Rise     float64 `json:"rise_metres"`
	Diameter float64 `json:"diameter_metres"` // 0: as the chimney
	Fittings float64 `json:"fittings_zeta"`
}

// Appliance is the furnace at its nominal output.
type Appliance struct {
	Heat            float64      `json:"heat_watts"`
	Efficiency      float64      `json:"efficiency_lhv"`     // of the lower heating value
	FlueTemperature float64      `json:"flue_celsius"`       // at the collar
	Lambda          float64      `json:"air_ratio"`          // counts if CO2 and O2 are 0
	CO2             float64      `json:"co2_dry_share"`      // as an analyser shows it; 0: unknown
	O2              float64      `json:"o2_dry_share"`       // likewise; counts if CO2 is 0
	Moisture        gas.DryBasis `json:"moisture_dry_basis"` // as a pin meter shows it
	Draft           float64      `json:"draft_pascals"`      // that it needs at the collar
}

// Regulator is the barometric regulator; set draft 0: none.
type Regulator struct {
	Set      float64 `json:"set_pascals"`
	Diameter float64 `json:"diameter_metres"` // 0: as the connector
}

// Conditions are weather and house.
type Conditions struct {
	Outdoor          float64 `json:"outdoor_celsius"`
	Room             float64 `json:"room_celsius"`
	Altitude         float64 `json:"altitude_metres"`
	Wind             float64 `json:"wind_pascals"` // back pressure at the outlet
	Depressurisation float64 `json:"depressurisation_pascals"`
}

// Defaults returns a furnace of 29 kW (100,000 Btu/h) on an insulated 6 in. chimney of
// 25 ft. The figures are common practice, no source, and only a start.
func Defaults() Input {
	return Input{
		Chimney: Chimney{
			Construction: Insulated, Height: 7.62, Diameter: 0.1524, Wall: 0.025, Exposed: 0.2, Fittings: 1.2,
		},
		Connector: Connector{Length: 1.5, Rise: 0.6, Fittings: 0.6},
		Appliance: Appliance{
			Heat: 29307, Efficiency: 0.75, FlueTemperature: 230, Lambda: 2, Moisture: 0.20, Draft: 0.05 * inchOfWater,
		},
		Regulator:  Regulator{Set: 0.05 * inchOfWater},
		Conditions: Conditions{Outdoor: 0, Room: 20},
	}
}

const inchOfWater = units.PascalsPerInH2O

// Validate says everything that is impossible about the input.
func (in Input) Validate() error {
	var faults []error
	within := func(what string, value, lo, hi float64) {
		if !(value >= lo && value <= hi) {
			faults = append(faults, fmt.Errorf("%s: %.4g is not within %.4g to %.4g", what, value, lo, hi))
		}
	}
	switch in.Chimney.Construction {
	case Insulated, Masonry, SingleWall:
	default:
		faults = append(faults, fmt.Errorf("construction: %q is none of insulated, masonry, single-wall", in.Chimney.Construction))
	}
	within("chimney height in m", in.Chimney.Height, 1, 60)
	within("chimney diameter in m", in.Chimney.Diameter, 0.05, 1.5)
	within("chimney wall in m", in.Chimney.Wall, 0, 1)
	within("exposed share", in.Chimney.Exposed, 0, 1)
	within("chimney fittings", in.Chimney.Fittings, 0, 50)
	within("connector length in m", in.Connector.Length, 0, 30)
	within("connector rise in m", in.Connector.Rise, -in.Connector.Length, in.Connector.Length)
	if in.Connector.Diameter != 0 {
		within("connector diameter in m", in.Connector.Diameter, 0.05, 1.5)
	}
	within("connector fittings", in.Connector.Fittings, 0, 50)
	within("heat output in W", in.Appliance.Heat, 1000, 1e6)
	within("efficiency", in.Appliance.Efficiency, 0.2, 1.0)
	within("flue temperature in °C", in.Appliance.FlueTemperature, 40, 1000)
	within("moisture (dry basis)", float64(in.Appliance.Moisture), 0, 1.5)
	if lambda, ok := in.Appliance.airRatio(); ok {
		within("air ratio", lambda, 1, 10)
	} else {
		faults = append(faults, fmt.Errorf("no wood fire has %.3g CO2 and %.3g O2 as dry shares", in.Appliance.CO2, in.Appliance.O2))
	}
	within("needed draft in Pa", in.Appliance.Draft, 1, 100)
	if in.Regulator.Set != 0 {
		within("regulator set draft in Pa", in.Regulator.Set, 1, 100)
	}
	if in.Regulator.Diameter != 0 {
		within("regulator diameter in m", in.Regulator.Diameter, 0.05, 1)
	}
	within("outdoor temperature in °C", in.Conditions.Outdoor, -50, 45)
	within("room temperature in °C", in.Conditions.Room, -20, 45)
	within("altitude in m", in.Conditions.Altitude, -400, 5000)
	within("wind pressure in Pa", in.Conditions.Wind, -100, 100)
	within("depressurisation in Pa", in.Conditions.Depressurisation, -50, 50)
	return errors.Join(faults...)
}

// fuel returns what is burnt.
func (a Appliance) fuel() gas.Fuel {
	return gas.Fuel{Wood: gas.TypicalWood(), Moisture: a.Moisture.Wet()}
}

// airRatio returns the air ratio, from CO2 or O2 where they were measured; false if they
// are impossible.
func (a Appliance) airRatio() (float64, bool) {
	switch {
	case a.CO2 != 0:
		return a.fuel().LambdaFromCO2(a.CO2)
	case a.O2 != 0:
		return a.fuel().LambdaFromO2(a.O2)
	}
	return a.Lambda, true
}

// section returns the chimney as the analysis has it.
func (c Chimney) section() chimney.Section {
	var s chimney.Section
	switch c.Construction {
	case Masonry:
		s = chimney.Masonry(c.Diameter, orElse(c.Wall, 0.115))
	case SingleWall:
		s = chimney.SingleWall(c.Diameter)
	default:
		s = chimney.InsulatedMetal(c.Diameter, orElse(c.Wall, 0.025))
	}
	s.Length, s.Rise, s.Fittings, s.Exposed = c.Height, c.Height, c.Fittings, c.Exposed
	return s
}

func (in Input) connectorDiameter() float64 {
	return orElse(in.Connector.Diameter, in.Chimney.Diameter)
}

// site returns chimney and weather as the analysis has them.
func (in Input) site() chimney.Site {
	site := chimney.Site{
		System: chimney.System{Chimney: in.Chimney.section()},
		Conditions: chimney.Conditions{
			Outdoor: in.Conditions.Outdoor, Room: in.Conditions.Room,
			Pressure:    gas.StandardAtmosphere(in.Conditions.Altitude).Pressure,
			AirConstant: gas.DryAir().Constant(),
			Wind:        in.Conditions.Wind, Depressurisation: in.Conditions.Depressurisation,
		},
		Method: chimney.Real,
	}
	if in.Connector.Length > 0 {
		s := chimney.SingleWall(in.connectorDiameter())
		s.Length, s.Rise, s.Fittings = in.Connector.Length, in.Connector.Rise, in.Connector.Fittings
		site.System.Connector = s
	}
	return site
}

func orElse(value, other float64) float64 {
	if value == 0 {
		return other
	}
	return value
}
