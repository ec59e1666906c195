package installer

import (
	"fmt"

	"fluewright/analysis/commissioning"
	"fluewright/analysis/gas"
	"fluewright/analysis/setting"
	"fluewright/sensors/bench/furnace"
)

// Names lists the houses of the demonstration.
func Names() []string { return []string{"tall", "short", "altitude", "blocked"} }

// Build returns a house of the demonstration: "tall" has a chimney of insulated metal
// inside the house, "short" one of brick outside, "altitude" stands high up with a regulator
// as it was delivered, and the flue of "blocked" is shut.
func Build(name string, seed uint64) (*Player, error) {
	reg := Regulator{Low: 1, High: 7, AtLow: 5.5, AtHigh: 19, Bow: 0.4}
	noise := Noise{Draft: 0.06, Temperature: 0.3, DraftStep: 0.02, TemperatureStep: 0.25}
	cfg := furnace.Config{Outdoor: -4, Ambient: gas.SeaLevel, ChimneyHeight: 9, ChimneyDiameter: 0.1524}
	site := commissioning.Site{
		DraftLow: 10, DraftHigh: 15, Heat: 29307, Construction: commissioning.Insulated,
		Height: 9, Diameter: 0.1524, AboveRoof: 1.2, AboveNear: 0.9,
		Elbows: 1, DuctArea: 0.125, Moisture: 0.2, Outdoor: -4,
		Regulator: commissioning.Regulator{Fitted: true, Scale: setting.Scale{Low: 1, High: 7}, Mark: 3},
	}
	switch name {
	case "tall":
	case "short":
		cfg.ChimneyHeight, cfg.Outdoor = 4.6, 2
		site.Height, site.Outside, site.Construction, site.AboveRoof = 4.6, true, commissioning.Masonry, 0.7
		site.DraftLow, site.DraftHigh, site.Outdoor = 8, 12, 2
		site.Regulator.Mark = 2
	case "altitude":
		site.Altitude = 2300
		cfg.Ambient = gas.StandardAtmosphere(site.Altitude).Pressure
		cfg.ChimneyHeight, site.Height = 8, 8
		site.Regulator.Mark = 1
	case "blocked":
	default:
		return nil, fmt.Errorf("no house %q: there are %v", name, Names())
	}
	h := NewHouse(cfg, reg, noise, site.Regulator.Mark, seed)
	h.SetWind(2)
	h.plugged = name == "blocked"
	return &Player{House: h, State: commissioning.New(), Site: site}, nil
}
