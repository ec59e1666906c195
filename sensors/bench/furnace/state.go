package furnace

import "time"

// Probes are the temperatures that a furnace's channels are about, °C.
type Probes struct {
	Firebox float64 `json:"firebox"`
	Chamber float64 `json:"chamber"`
	Flue    float64 `json:"flue"`
	Plenum  float64 `json:"plenum"`
	Return  float64 `json:"return"`
	Room    float64 `json:"room"`
	Outdoor float64 `json:"outdoor"`
}

// State is the truth about the furnace at one moment, in SI units.
type State struct {
	Elapsed time.Duration `json:"elapsed_ns"`
	// True is what there is, Probe what each probe's tip has reached behind its sheath.
	True  Probes `json:"true"`
	Probe Probes `json:"probe"`

	Draft   float64 `json:"draft"`   // Pa, positive when the chimney pulls
	Ambient float64 `json:"ambient"` // absolute, Pa

	Wood      float64 `json:"wood"`      // kg, water included
	Char      float64 `json:"char"`      // kg
	Heat      float64 `json:"heat"`      // set free by the fire, W
	Air       float64 `json:"air"`       // through the appliance, kg/s; negative when reversed
	Gate      float64 `json:"gate"`      // room air through the regulator, kg/s
	Regulator float64 `json:"regulator"` // gate opening, 0 to 1
	Liner     float64 `json:"liner"`     // chimney liner, °C
	Door      bool    `json:"door"`
	Fan       bool    `json:"fan"`
}

// State returns the truth now.
func (f *Furnace) State() State {
	return State{
		Elapsed: f.elapsed,
		True:    f.truth(),
		Probe:   f.probes,
		Draft:   f.draft, Ambient: f.cfg.Ambient,
		Wood: f.volatiles/volatileShare + f.water + f.kindling, Char: f.char,
		Heat: f.flow.heat, Air: f.flow.air, Gate: f.flow.gate, Regulator: f.gate,
		Liner: f.liner, Door: f.door, Fan: f.fan,
	}
}

// truth mixes gas and wall where a probe sees both.
func (f *Furnace) truth() Probes {
	firebox, chamber := f.firebox, f.chamber
	if f.flow.fireboxGas != 0 {
		firebox = 0.55*f.firebox + 0.45*f.flow.fireboxGas
		chamber = 0.4*f.chamber + 0.6*f.flow.chamberGas
	}
	return Probes{
		Firebox: firebox, Chamber: chamber, Flue: f.collar,
		Plenum: f.plenum, Return: f.room - 1.5, Room: f.room, Outdoor: f.cfg.Outdoor,
	}
}

// sense lets each probe follow its truth with the lag of its sheath.
func (f *Furnace) sense(dt float64) {
	t := f.truth()
	p := &f.probes
	p.Firebox += (t.Firebox - p.Firebox) / lagFirebox * dt
	p.Chamber += (t.Chamber - p.Chamber) / lagChamber * dt
	p.Flue += (t.Flue - p.Flue) / lagFlue * dt
	p.Plenum += (t.Plenum - p.Plenum) / lagPlenum * dt
	p.Return += (t.Return - p.Return) / lagAir * dt
	p.Room += (t.Room - p.Room) / lagAir * dt
	p.Outdoor += (t.Outdoor - p.Outdoor) / lagAir * dt
}
