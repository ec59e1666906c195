package commissioning

import (
	"errors"
	"fmt"

	"fluewright/analysis/chimney"
	"fluewright/analysis/gas"
	"fluewright/analysis/setting"
)

// Site is what an installer enters about appliance, chimney, regulator and house. A zero
// means "not known" where a comment says so.
type Site struct {
	DraftLow  float64 `json:"draft_low_pascals"`  // that the appliance's maker asks for
	DraftHigh float64 `json:"draft_high_pascals"` //
	Heat      float64 `json:"heat_watts"`         // rated output; 0: not known

	Construction Construction `json:"construction"`
	Outside      bool         `json:"outside"`         // the chimney stands outside the house
	Height       float64      `json:"height_metres"`   // from the connector to the outlet
	Diameter     float64      `json:"diameter_metres"` // inside
	AboveRoof    float64      `json:"above_roof_metres"`
	AboveNear    float64      `json:"above_near_metres"` // above whatever is within 3 m (10 ft)

	ConnectorLength   float64 `json:"connector_length_metres"` // 0: none
	ConnectorRise     float64 `json:"connector_rise_metres"`
	ConnectorDiameter float64 `json:"connector_diameter_metres"` // 0: as the chimney
	Elbows            int     `json:"elbows"`

	Regulator Regulator `json:"regulator"`

	DuctArea  float64 `json:"duct_square_metres"`       // free area of the supply air; 0: not known
	DuctAsked float64 `json:"duct_asked_square_metres"` // by the appliance; 0: practice
	Moisture  float64 `json:"moisture_dry_share"`       // of the wood, dry basis; 0: not known
	Altitude  float64 `json:"altitude_metres"`
	Outdoor   float64 `json:"outdoor_celsius"` // serves where no sensor measures it
}

// Regulator is the barometric draft regulator with its scale.
type Regulator struct {
	Fitted    bool          `json:"fitted"`
	Scale     setting.Scale `json:"scale"`
	Mark      float64       `json:"mark"`       // where it stands
	OtherRoom bool          `json:"other_room"` // it does not hang in the appliance's room
}

// Construction is how a chimney is built.
type Construction string

// The constructions.
const (
	Insulated  Construction = "insulated"
	Masonry    Construction = "masonry"
	SingleWall Construction = "single-wall"
)

// Specified is the draft that the mark is chosen for: the middle of the band.
func (s *Site) Specified() float64 { return (s.DraftLow + s.DraftHigh) / 2 }

// What is taken for walls and fittings of which nothing is known: practice, as in the
// configuration and the chimney calculator.
const (
	insulation      = 0.025 // m of mineral wool
	brick           = 0.115 // m
	chimneyFittings = 1.2
	perElbow        = 0.3 // ζ of a smooth bend
	exposedInside   = 0.2
	exposedOutside  = 0.9
	usualHeat       = 29307.0 // W, 100,000 Btu/h
	usualMoisture   = 0.20
)

// Validate says everything that is impossible about the entries.
func (s *Site) Validate() error {
	var faults []error
	within := func(what string, v, lo, hi float64) {
		if !(v >= lo && v <= hi) {
			faults = append(faults, fmt.Errorf("%s: %.4g is not within %.4g to %.4g", what, v, lo, hi))
		}
	}
	within("lowest draft in Pa", s.DraftLow, 1, 100)
	within("highest draft in Pa", s.DraftHigh, s.DraftLow+0.5, 100)
	if s.Heat != 0 {
		within("heat output in W", s.Heat, 1000, 1e6)
	}
	switch s.Construction {
	case Insulated, Masonry, SingleWall:
	default:
		faults = append(faults, fmt.Errorf("chimney: %q is none of insulated, masonry, single-wall", s.Construction))
	}
	within("chimney height in m", s.Height, 1, 60)
	within("chimney diameter in m", s.Diameter, 0.075, 0.6)
	within("height above the roof in m", s.AboveRoof, 0, 20)
	within("height above what is near in m", s.AboveNear, -20, 20)
	within("connector length in m", s.ConnectorLength, 0, 15)
	within("connector rise in m", s.ConnectorRise, 0, s.ConnectorLength)
	if s.ConnectorDiameter != 0 {
		within("connector diameter in m", s.ConnectorDiameter, 0.075, 0.6)
	}
	within("elbows", float64(s.Elbows), 0, 10)
	if r := s.Regulator; r.Fitted {
		within("first mark", r.Scale.Low, -20, 100)
		within("last mark", r.Scale.High, r.Scale.Low+1, 100)
		within("present mark", r.Mark, r.Scale.Low, r.Scale.High)
	}
	within("free duct area in m²", s.DuctArea, 0, 5)
	within("duct area asked for in m²", s.DuctAsked, 0, 5)
	within("moisture (dry basis)", s.Moisture, 0, 1.5)
	within("altitude in m", s.Altitude, -500, 6000)
	within("outdoor temperature in °C", s.Outdoor, -60, 50)
	return errors.Join(faults...)
}

// System returns chimney and connector as the physics has them.
func (s *Site) System() chimney.System {
	var c chimney.Section
	switch s.Construction {
	case Masonry:
		c = chimney.Masonry(s.Diameter, brick)
	case SingleWall:
		c = chimney.SingleWall(s.Diameter)
	default:
		c = chimney.InsulatedMetal(s.Diameter, insulation)
	}
	c.Length, c.Rise, c.Fittings, c.Exposed = s.Height, s.Height, chimneyFittings, exposedInside
	if s.Outside {
		c.Exposed = exposedOutside
	}
	sys := chimney.System{Chimney: c}
	if s.ConnectorLength > 0 {
		d := s.ConnectorDiameter
		if d == 0 {
			d = s.Diameter
		}
		k := chimney.SingleWall(d)
		k.Length, k.Rise, k.Fittings = s.ConnectorLength, s.ConnectorRise, float64(perElbow*float64(s.Elbows))
		sys.Connector = k
	}
	return sys
}

// flow returns the flue gas in kg/s at rated output, with twice the air needed and an
// efficiency of 75 % (practice).
func (s *Site) flow() (float64, gas.Gas) {
	heat, moisture := s.Heat, s.Moisture
	if heat == 0 {
		heat = usualHeat
	}
	if moisture == 0 {
		moisture = usualMoisture
	}
	fuel := gas.Fuel{Wood: gas.TypicalWood(), Moisture: gas.DryBasis(moisture).Wet()}
	burnt := fuel.Burn(2, 0)
	return heat / (0.75 * fuel.LowerHeatingValue()) * burnt.Flue, burnt.Gas
}
