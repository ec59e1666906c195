package main

import (
	"errors"
	"fmt"
	"os"

	"fluewright/analysis/gas"
	"fluewright/daemon/internal/draft"
	"fluewright/daemon/internal/units"
)

// draftCmd asks what a chimney gives. What is not given keeps the default that the
// calculator states in its answer.
type draftCmd struct {
	Construction string   `help:"insulated (double-wall steel), masonry or single-wall." enum:"insulated,masonry,single-wall," default:"" group:"Chimney" placeholder:"KIND"`
	Height       *length  `help:"From the connector to the outlet." group:"Chimney" placeholder:"\"25 ft\""`
	Diameter     *length  `help:"Inside." group:"Chimney" placeholder:"\"6 in\""`
	Wall         *length  `help:"Thickness of insulation or brick." group:"Chimney" placeholder:"\"1 in\""`
	Outside      *float64 `help:"Share of the chimney outdoors, 0 to 1." group:"Chimney" placeholder:"SHARE"`
	Fittings     *float64 `help:"Sum of resistance coefficients of tee, bends and cap." group:"Chimney" placeholder:"ZETA"`

	PipeLength   *length  `help:"Length of the smoke pipe." group:"Smoke pipe" placeholder:"\"5 ft\""`
	PipeRise     *length  `help:"How much of it goes up." group:"Smoke pipe" placeholder:"\"2 ft\""`
	PipeDiameter *length  `help:"Inside; the chimney's without it." group:"Smoke pipe" placeholder:"\"6 in\""`
	PipeFittings *float64 `help:"Sum of resistance coefficients of its elbows." group:"Smoke pipe" placeholder:"ZETA"`

	Heat     *power       `help:"Heat output." group:"Appliance" placeholder:"\"100000 Btu/h\""`
	Flue     *temperature `help:"Flue gas at the collar." group:"Appliance" placeholder:"\"450 degF\""`
	Draft    *pressure    `help:"Draft that the appliance asks for." group:"Appliance" placeholder:"\"0.05 inH2O\""`
	CO2      *float64     `help:"CO2 of the dry flue gas in per cent." name:"co2" group:"Appliance" placeholder:"PERCENT"`
	O2       *float64     `help:"O2 of the dry flue gas in per cent." name:"o2" group:"Appliance" placeholder:"PERCENT"`
	Moisture *float64     `help:"Moisture of the wood in per cent of dry mass, as a pin meter shows it." group:"Appliance" placeholder:"PERCENT"`

	Regulator *pressure `help:"Draft at which the regulator is set; \"0 Pa\" for none." group:"Regulator" placeholder:"\"0.05 inH2O\""`
	Gate      *length   `help:"Diameter of its gate." group:"Regulator" placeholder:"\"6 in\""`

	Outdoor  *temperature `help:"Outdoor temperature." group:"House and weather" placeholder:"\"32 degF\""`
	Room     *temperature `help:"Temperature where the furnace stands." group:"House and weather" placeholder:"\"68 degF\""`
	Altitude *length      `help:"Above sea level." group:"House and weather" placeholder:"\"0 ft\""`
	House    *pressure    `help:"By how much fans lower the pressure in the house." group:"House and weather" placeholder:"\"0.02 inH2O\""`
	Wind     *pressure    `help:"Back pressure of wind at the outlet." group:"House and weather" placeholder:"\"0 Pa\""`

	Units   units.System `help:"us or si." default:"us" placeholder:"us"`
	JSON    bool         `help:"Print JSON, in SI." name:"json"`
	Picture string       `help:"Also draw draft over flue temperature as SVG." type:"path" placeholder:"FILE.svg"`
}

// Run answers.
func (c *draftCmd) Run(std streams) error {
	result, err := draft.Run(c.input())
	if err != nil {
		return fmt.Errorf("calculate draft:\n%w", err)
	}
	if c.Picture != "" {
		if err := draw(c.Picture, result, c.Units); err != nil {
			return err
		}
	}
	if c.JSON {
		return result.WriteJSON(std.out)
	}
	return result.WriteText(std.out, c.Units)
}

func (c *draftCmd) input() draft.Input {
	in := draft.Defaults()
	if c.Construction != "" {
		in.Chimney.Construction = draft.Construction(c.Construction)
		in.Chimney.Wall = 0 // of the kind
	}
	set(&in.Chimney.Height, c.Height)
	set(&in.Chimney.Diameter, c.Diameter)
	set(&in.Chimney.Wall, c.Wall)
	set(&in.Chimney.Exposed, c.Outside)
	set(&in.Chimney.Fittings, c.Fittings)
	set(&in.Connector.Length, c.PipeLength)
	set(&in.Connector.Rise, c.PipeRise)
	set(&in.Connector.Diameter, c.PipeDiameter)
	set(&in.Connector.Fittings, c.PipeFittings)
	set(&in.Appliance.Heat, c.Heat)
	set(&in.Appliance.FlueTemperature, c.Flue)
	set(&in.Appliance.Draft, c.Draft)
	set(&in.Appliance.CO2, share(c.CO2))
	set(&in.Appliance.O2, share(c.O2))
	if c.Moisture != nil {
		in.Appliance.Moisture = gas.DryBasis(*c.Moisture / 100)
	}
	set(&in.Regulator.Set, c.Regulator)
	set(&in.Regulator.Diameter, c.Gate)
	set(&in.Conditions.Outdoor, c.Outdoor)
	set(&in.Conditions.Room, c.Room)
	set(&in.Conditions.Altitude, c.Altitude)
	set(&in.Conditions.Depressurisation, c.House)
	set(&in.Conditions.Wind, c.Wind)
	return in
}

// set replaces a default by what was given, if something was.
func set[Q ~float64](field *float64, given *Q) {
	if given != nil {
		*field = float64(*given)
	}
}

// share turns per cent into a share.
func share(percent *float64) *float64 {
	if percent == nil {
		return nil
	}
	s := *percent / 100
	return &s
}

func draw(path string, r draft.Result, u units.System) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("create picture: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return r.WriteSVG(file, u)
}
