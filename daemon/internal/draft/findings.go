package draft

import (
	"fmt"

	"fluewright/daemon/internal/units"
)

// Finding is something that the reader should know. None is a reassurance: that a
// calculation finds nothing does not make a chimney safe.
type Finding struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// muchDraft is from where a draft counts as too strong for a furnace without a regulator,
// Pa: 0.10 in. w.c., common practice, no source.
const muchDraft = 0.10 * inchOfWater

// findings returns what the result means, the most serious first.
func findings(r Result, u units.System) []Finding {
	var all []Finding
	add := func(code, format string, args ...any) {
		all = append(all, Finding{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	need := u.Pressure(r.Input.Appliance.Draft)
	switch {
	case r.Hot.Draft <= 0:
		add("no-draft", "Even hot, this chimney does not draw: smoke and carbon monoxide would come into the house.")
	case r.Hot.Margin < 0:
		add("draft-short", "Hot, the draft reaches %s, short of the %s that the furnace needs.", u.Pressure(r.Hot.Draft), need)
	case !r.Standard.Draws:
		add("draft-thin", "Hot, the draft is enough, but with the safety factors of EN 13384-1 only %s are left of %s required.",
			u.Pressure(r.Standard.Available), u.Pressure(r.Standard.Required))
	}
	if r.Cold.Draft < 0 {
		add("cold-reversal", "Cold, the chimney pushes back (%s): lit like this, smoke comes into the room. Stop what pulls on the house's air, and warm the flue before the fire is built.",
			u.Pressure(r.Cold.Draft))
	} else if r.Cold.Draft < 2 {
		add("cold-weak", "Cold, the chimney hardly draws (%s): the first minutes may smoke.", u.Pressure(r.Cold.Draft))
	}
	if r.Regulator == nil && r.Hot.Draft > muchDraft {
		add("draft-strong", "Without a regulator the draft reaches %s, which drives a fire hard.", u.Pressure(r.Hot.Draft))
	}
	if g := r.Regulator; g != nil {
		switch {
		case g.Opens == nil:
			add("regulator-idle", "The regulator never opens: the draft stays below its setting.")
		case r.Input.Regulator.Set < r.Input.Appliance.Draft:
			add("regulator-low", "The regulator is set below the draft that the furnace needs.")
		}
		if g.Holds != nil {
			add("regulator-overrun", "From a flue at %s on the gate hangs wide open and the draft climbs past %s and on.",
				u.Temperature(*g.Holds), u.Pressure(r.Input.Regulator.Set+gateBand))
		}
	}
	if lost := 1 - r.Input.Appliance.Efficiency; r.Fire.StackLossLHV > lost {
		add("efficiency-doubtful", "The stack alone loses %.0f %% of LHV: an efficiency of %.0f %% is not possible, and the flow is larger than computed.",
			100*r.Fire.StackLossLHV, 100*r.Input.Appliance.Efficiency)
	}
	wall, water, tar := r.Hot.OutletWall, r.Hot.WaterMargin, r.Hot.TarMargin
	if r.Regulator != nil {
		wall, water, tar = r.Regulator.Working.OutletWall, r.Regulator.Working.WaterMargin, r.Regulator.Working.TarMargin
	}
	switch {
	case water < 0:
		add("condensing", "Water condenses at the top even on the steady fire: the wall has %s, %s below the dew point.",
			u.Temperature(wall), u.TemperatureDifference(-water))
	case tar < 0:
		add("creosote", "At the top the wall has %s, too cold to keep creosote off while the fire smokes.", u.Temperature(wall))
	}
	return all
}
