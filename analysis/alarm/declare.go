package alarm

import (
	"slices"
	"time"

	"fluewright/analysis/frame"
)

// Declaration is all that is known of an alarm before it happens.
type Declaration struct {
	Name     Name
	Priority Priority
	// Title completes "<channel>: …" or stands alone, without a full stop.
	Title string
	// Consequence is what happens if nobody acts.
	Consequence string
	// Respond is how long there is to prevent it.
	Respond time.Duration
	// Action is what to do first, in sentences for the owner.
	Action string
	// Timing is used where the configuration says nothing.
	Timing Timing
	// Patient says that it is judged by whole burns: until there were some it is unjudged,
	// and that is no reason to wait.
	Patient bool
	// Monitor says that the alarm is of the monitor's own eyes and not of the fire.
	Monitor bool
	// Each lists the channels that may have one such alarm each; empty where the site has
	// one or none.
	Each []frame.Channel
	// Own says that an alarm of a channel needs a reading of it, and Needs what it needs
	// beside. While one is missing it cannot be judged: it is not raised, the loss is.
	Own   bool
	Needs []frame.Channel
	// Fitted lists what must have a sensor, though a reading may be missing for a while.
	Fitted []frame.Channel
	// Suppressed lists what keeps the alarm from being told, by design.
	Suppressed []Suppression
}

// Suppression is an alarm while whose condition holds another is not told.
type Suppression struct {
	By Key
	// SameChannel says that By is meant on the channel of the suppressed alarm.
	SameChannel bool
	Why         string
}

var (
	hot     = []frame.Channel{frame.Firebox, frame.Chamber, frame.Flue}
	pull    = []frame.Channel{frame.Draft}
	flue    = []frame.Channel{frame.Flue}
	warm    = []frame.Channel{frame.Plenum}
	doubted = Suppression{
		By:  Key{SensorImplausible, frame.Draft},
		Why: "it rests on a draft that the furnace contradicts",
	}
)

// declarations is every alarm, most urgent first. Times to respond and hold times are
// common practice, no source, except where noted.
//
// A turned draft stays an alarm when its reading is doubted: what looks like a hose on the
// wrong port may be gas in the house.
var declarations = []Declaration{
	{
		Name:        ChimneyFire,
		Priority:    High,
		Title:       "the chimney seems to burn",
		Consequence: "The flue can crack, and the fire can spread into walls and roof.",
		Respond:     time.Minute,
		Action: "Get everyone out of the house and call the fire service. " +
			"On the way, and only if it takes no time, shut the appliance's air; keep its doors shut. " +
			"Never pour water into the fire or the chimney. " +
			"Do not light again before the chimney has been inspected.",
		// Its judge has looked for a while already; every second counts. It flares up again.
		Timing: Timing{Hold: 2 * time.Second, ClearAfter: 5 * time.Minute},
		Needs:  flue,
	},
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
		Each:   hot,
		Own:    true,
	},
	{
		Name:        Runaway,
		Priority:    High,
		Title:       "the fire is running away: the limit will be passed",
		Consequence: "In minutes the appliance, its connector or the chimney is too hot, and soot in the flue can catch fire.",
		Respond:     5 * time.Minute,
		Action: "See that the loading and ash doors are shut tight, and never open the loading door now. " +
			"Close the air as the appliance's manual says and turn the heat demand down. " +
			"Do not throw water into the fire. Stay with the furnace until it cools.",
		// A forecast that lasts; what comes and goes within seconds was the door.
		Timing: Timing{Hold: 10 * time.Second, ClearAfter: 2 * time.Minute},
		Each:   hot,
		Own:    true,
		Suppressed: []Suppression{
			{By: Key{Name: Overheat}, SameChannel: true, Why: "what was forecast has come"},
		},
	},
	{
		Name:        Spillage,
		Priority:    High,
		Title:       "the draft has turned: flue gas can come into the house",
		Consequence: "Flue gas carries carbon monoxide, which has no smell and kills.",
		Respond:     time.Minute,
		Action: "If a carbon-monoxide alarm sounds or anyone feels unwell, get everyone out and call the emergency number. " +
			"Otherwise open a window near the furnace and switch off exhaust fans and the clothes dryer; keep the furnace's doors shut. " +
			"Do not add wood.",
		// A gust turns the draft for seconds; carbon monoxide needs minutes.
		Timing: Timing{Hold: 30 * time.Second, ClearAfter: time.Minute},
		Needs:  pull,
		Fitted: flue, // it tells whether there is a fire
	},
	{
		Name:        PlenumOverheat,
		Priority:    High,
		Title:       "the warm air is too hot",
		Consequence: "Ducts and what touches them can scorch or catch fire, and the heat exchanger suffers.",
		Respond:     5 * time.Minute,
		Action: "Keep the loading and ash doors shut and close the air as the appliance's manual says. " +
			"Open all registers and see whether the blower runs and its filter is clean. " +
			"If the power is out, open what lets the heat rise by itself, as the manual says. Never bypass the limit control.",
		Timing: Timing{Hold: 10 * time.Second, ClearAfter: 2 * time.Minute},
		Needs:  warm,
	},
	{
		Name:        BlowerStopped,
		Priority:    Medium,
		Title:       "the blower does not take the heat away",
		Consequence: "The heat stays in the furnace: the warm air overheats while the fire goes on.",
		Respond:     10 * time.Minute,
		Action: "See whether the power is on, the blower runs, its belt holds and its filter is clean. " +
			"Do not add wood before it runs again; close the air as the appliance's manual says.",
		Timing: Timing{Hold: 30 * time.Second, ClearAfter: 2 * time.Minute},
		Needs:  warm,
	},
	{
		Name:        DraftHigh,
		Priority:    Medium,
		Title:       "draft above the appliance's band",
		Consequence: "The fire is driven too hard: it eats wood and can run away.",
		Respond:     15 * time.Minute,
		Action: "Check that the regulator's gate swings freely and is not held shut; keep the ash door shut. " +
			"If it stays so, have the regulator set by the installer.",
		// Wind and a fire's own breath bring it back within minutes.
		Timing: Timing{Hold: 3 * time.Minute, ClearAfter: 10 * time.Minute},
		Needs:  pull,
		Fitted: flue,
		Suppressed: []Suppression{
			doubted,
			{By: Key{ChimneyFire, frame.Count}, Why: "a burning chimney pulls hard; the regulator is not the trouble"},
		},
	},
	{
		Name:        DraftLow,
		Priority:    Medium,
		Title:       "draft below the appliance's band",
		Consequence: "The fire smoulders, leaves creosote in the flue and can let smoke into the house.",
		Respond:     30 * time.Minute,
		Action: "Switch off exhaust fans, open a window a little, and check that the regulator's gate is not stuck open. " +
			"If it stays so, have the chimney inspected before the next fire.",
		Timing: Timing{Hold: 5 * time.Minute, ClearAfter: 10 * time.Minute},
		Needs:  pull,
		Fitted: flue,
		Suppressed: []Suppression{
			doubted,
			{By: Key{Spillage, frame.Count}, Why: "no draft at all is more than too little"},
		},
	},
	{
		// Where the loss is sudden the gas may soon find another way out: medium, and the
		// draft's own alarms say it if it does.
		Name:        FlueRestricted,
		Patient:     true,
		Priority:    Medium,
		Title:       "the chimney resists more than it did",
		Consequence: "Creosote, a nest or a blocked cap narrows the flue: it can catch fire or send flue gas into the house.",
		Respond:     2 * time.Hour,
		Action: "Let the fire burn down and add no wood. " +
			"Have the chimney, its cap and the smoke pipe inspected and swept before the next fire.",
		Timing:     Timing{Hold: time.Minute, ClearAfter: time.Hour},
		Needs:      []frame.Channel{frame.Flue, frame.Draft},
		Suppressed: []Suppression{doubted},
	},
	{
		Name:        SensorLost,
		Priority:    Medium,
		Title:       "no reading",
		Consequence: "The monitor is blind to what this sensor watches and cannot warn of it.",
		Respond:     time.Hour,
		Action:      "Watch the fire yourself until the reading is back.",
		Timing:      Timing{Hold: 10 * time.Second, ClearAfter: 10 * time.Second},
		Monitor:     true,
		Each:        frame.All(),
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
		Timing:  Timing{Hold: 2 * time.Minute, ClearAfter: 2 * time.Minute},
		Monitor: true,
		Each:    frame.All(),
		Own:     true,
		Suppressed: []Suppression{
			{By: Key{Name: SensorLost}, SameChannel: true, Why: "there is no reading left to doubt"},
		},
	},
	{
		Name:        MonitorImpaired,
		Priority:    Medium,
		Title:       "the monitor does not work as it should",
		Consequence: "A warning may come late, with a wrong time, or not at all.",
		Respond:     4 * time.Hour,
		Action:      "Watch the fire yourself until the monitor is right again.",
		Timing:      Timing{Hold: time.Minute, ClearAfter: time.Minute},
		Monitor:     true,
	},
	{
		// Low: where it endangers, the draft is out of its band, and that is told.
		Name:        RegulatorStuck,
		Patient:     true,
		Priority:    Low,
		Title:       "the regulator's gate does not move as it should",
		Consequence: "The draft follows the weather and not the regulator: the fire burns too hard or smoulders.",
		Respond:     24 * time.Hour,
		Action: "With the fire out, see that the gate swings freely, its axis is level and nothing lies on it. " +
			"Have the installer set it if it does.",
		Timing: Timing{Hold: 5 * time.Minute, ClearAfter: 10 * time.Minute},
		Needs:  []frame.Channel{frame.Flue, frame.Draft},
		Suppressed: []Suppression{
			doubted,
			{By: Key{ChimneyFire, frame.Count}, Why: "no regulator holds what a burning chimney pulls"},
			{By: Key{Spillage, frame.Count}, Why: "the gate of a draft that has turned hangs shut, as it should"},
		},
	},
}

// Declarations lists every alarm, most urgent first. What the slices in it hold is not to
// be changed.
func Declarations() []Declaration { return slices.Clone(declarations) }

// Declared returns the declaration of the alarm called name.
func Declared(name Name) (Declaration, bool) {
	for i := range declarations {
		if declarations[i].Name == name {
			return declarations[i], true
		}
	}
	return Declaration{}, false
}

// Channels returns the readings that the alarm with this key needs, in order.
func (d Declaration) Channels(c frame.Channel) []frame.Channel {
	if d.Own && c < frame.Count {
		return append([]frame.Channel{c}, d.Needs...)
	}
	return d.Needs
}
