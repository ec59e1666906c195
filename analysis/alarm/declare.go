package alarm

import (
	"slices"
	"time"
)

// declarations is every alarm, most urgent first. Times to respond and hold times are
// common practice, no source, except where noted.
var declarations = []Declaration{
	{
		Name:        Overheat,
		Priority:    High,
		Title:       "too hot",
		Consequence: "The appliance, its connector or the chimney can be damaged, and soot in the flue can catch fire.",
		Respond:     2 * time.Minute,
		Action: "Keep the loading and ash doors shut and close the air as the appliance's manual says. " +
			"Do not open the door and do not throw water into the fire. " +
			"If the flue roars or sparks fly from the chimney, leave the house and call the fire service.",
		Timing: Timing{Hold: time.Second, ClearAfter: time.Minute},
	},
	{
		Name:        Spillage,
		Priority:    High,
		Title:       "the draft has turned: flue gas can come into the house",
		Consequence: "Flue gas carries carbon monoxide, which has no smell and kills.",
		Respond:     time.Minute,
		Action: "Open a window near the furnace and switch off exhaust fans and the clothes dryer; keep the furnace's doors shut. " +
			"If a carbon-monoxide alarm sounds or anyone feels unwell, get everyone out and call the emergency number. " +
			"Do not add wood.",
		// A gust turns the draft for seconds; carbon monoxide needs minutes.
		Timing: Timing{Hold: 20 * time.Second, ClearAfter: time.Minute},
	},
	{
		Name:        DraftHigh,
		Priority:    Medium,
		Title:       "draft above the appliance's band",
		Consequence: "The fire is driven too hard: it eats wood and can run away.",
		Respond:     15 * time.Minute,
		Action: "Check that the regulator's gate swings freely and is not held shut; keep the ash door shut. " +
			"If it stays so, have the regulator set by the installer.",
		Timing: Timing{Hold: 3 * time.Minute, ClearAfter: 2 * time.Minute},
	},
	{
		Name:        DraftLow,
		Priority:    Medium,
		Title:       "draft below the appliance's band",
		Consequence: "The fire smoulders, leaves creosote in the flue and can let smoke into the house.",
		Respond:     30 * time.Minute,
		Action: "Switch off exhaust fans, open a window a little, and check that the regulator's gate is not stuck open. " +
			"If it stays so, have the chimney inspected before the next fire.",
		Timing: Timing{Hold: 5 * time.Minute, ClearAfter: 2 * time.Minute},
	},
	{
		Name:        SensorLost,
		Priority:    Medium,
		Title:       "no reading",
		Consequence: "The monitor is blind to what this sensor watches and cannot warn of it.",
		Respond:     time.Hour,
		Action:      "Watch the fire yourself until the reading is back.",
		Timing:      Timing{Hold: 10 * time.Second, ClearAfter: 10 * time.Second},
	},
	{
		Name:        SensorImplausible,
		Priority:    Medium,
		Title:       "the reading cannot be right",
		Consequence: "What the monitor says of the fire rests on a wrong reading; it may miss a danger, or report one that is none.",
		Respond:     time.Hour,
		Action: "Watch the fire yourself until the reading is right again. " +
			"If another alarm stands as well, do first what that one says.",
		// An open door cools a probe for two minutes.
		Timing: Timing{Hold: 2 * time.Minute, ClearAfter: 2 * time.Minute},
	},
}

// Declarations lists every alarm, most urgent first.
func Declarations() []Declaration { return slices.Clone(declarations) }

// Declared returns the declaration of the alarm called name.
func Declared(name Name) (Declaration, bool) {
	for _, d := range declarations {
		if d.Name == name {
			return d, true
		}
	}
	return Declaration{}, false
}
