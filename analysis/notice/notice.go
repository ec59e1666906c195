// Package notice tells what is worth knowing of a burn and needs nobody now. Each notice is
// declared once, as data, and is given at most once an occasion: a load, a burn, a piece of
// upkeep. What needs a person is an alarm and not here.
package notice

import (
	"slices"
	"time"
)

// Name is a notice's stable name: topics, labels and logs use it.
type Name string

// The notices.
const (
	// Smoulder: there is fuel and it has long been too cold to burn its smoke.
	Smoulder Name = "smoulder"
	// Condensing: the flue's wall has long been below the gas's dew point.
	Condensing Name = "condensing"
	// SlowStart: a cold start has not come to a clean burn in the time that it should take.
	SlowStart Name = "slow-start"
	// FireOut: the coals are out, as far as the readings tell.
	FireOut Name = "fire-out"
	// ReloadDue: there are only coals, and the house gets cooler.
	ReloadDue Name = "reload-due"
	// UpkeepDue: something is due after so many hours of fire; Notice.Job says what.
	UpkeepDue Name = "upkeep-due"
)

// Job is a piece of upkeep. The zero value is none.
type Job uint8

// The jobs.
const (
	NoJob  Job = iota
	Ash        // take out the ash
	Flue       // have the flue looked at, and swept where it needs it
	Probes     // check the probes and the draft sensor's zero
	jobCount
)

var jobs = [...]string{"none", "ash", "flue", "probes"}

// String returns the job's name as every output writes it.
func (j Job) String() string {
	if int(j) < len(jobs) {
		return jobs[j]
	}
	return jobs[NoJob]
}

// Jobs lists the jobs.
func Jobs() []Job { return []Job{Ash, Flue, Probes} }

// Notice is one that is given now.
type Notice struct {
	Name Name
	Job  Job // of UpkeepDue
	At   time.Duration
	// For is how long what it tells of has lasted: the smouldering, the wet wall, the start,
	// the burn that is out, the coals. For UpkeepDue it is the time with fire since the job
	// was done.
	For time.Duration
}

// Declaration is all that is known of a notice before it is given.
type Declaration struct {
	Name Name
	Job  Job // only UpkeepDue has one declaration a job
	// Title stands alone, without a full stop. Meaning and Action are sentences for the
	// owner. The appliance's manual and local codes come before every action.
	Title, Meaning, Action string
}

var declarations = []Declaration{
	{
		Name:    Smoulder,
		Title:   "The fire smoulders",
		Meaning: "There is wood and it has long been too cool to burn its smoke. The smoke leaves creosote in the flue, which can catch fire.",
		Action: "Give it as much air as the appliance's manual allows until it burns clean. " +
			"Next time lay on less wood at once, or drier wood.",
	},
	{
		Name:    Condensing,
		Title:   "Water condenses in the flue",
		Meaning: "The flue's wall has long been cooler than the dew point of the gas. The water runs down, carries tar and eats at the chimney.",
		Action: "Burn hotter and with drier wood. A pan under the joint catches what drips. " +
			"If it comes again, have the installer look at the chimney's insulation and size, and at the regulator.",
	},
	{
		Name:    SlowStart,
		Title:   "The start is slow",
		Meaning: "An hour and a half after lighting the fire does not burn clean yet. Something is set wrong, the wood is wet, or the chimney does not draw.",
		Action: "Look at the chimney's outlet: bluish smoke that sinks is unburnt fuel, white vapour that vanishes in the cold is water. " +
			"Check that the air is open as the manual says for a start, and use drier and smaller wood to light with. " +
			"If it comes again, have the draft and the regulator checked.",
	},
	{
		Name:    FireOut,
		Title:   "The fire is out",
		Meaning: "The flue is as cold as without a fire. Embers can glow under the ash for days, and give off carbon monoxide.",
		Action:  "Keep the doors shut until you light again, and put ash only into a metal container with a lid, outdoors.",
	},
	{
		Name:    ReloadDue,
		Title:   "Time to lay on wood",
		Meaning: "Only coals are left and the house is getting cooler.",
		Action:  "If you want heat, lay on wood as the manual says. A large bed of hot coals lights a load from below: burn it down first.",
	},
	{
		Name: UpkeepDue, Job: Ash,
		Title:   "Ash is due",
		Meaning: "It has burnt for as long as an ash pan usually takes to fill.",
		Action:  "Take out the ash as the manual says, and shut the ash door tightly: air through it drives the fire.",
	},
	{
		Name: UpkeepDue, Job: Flue,
		Title:   "The flue should be looked at",
		Meaning: "It has burnt for long, or smoked for long into a cold flue, since the flue was last swept.",
		Action:  "Have the chimney and its connector inspected, and swept where there is creosote, when the furnace is cold.",
	},
	{
		Name: UpkeepDue, Job: Probes,
		Title:   "The probes should be checked",
		Meaning: "The probes and the draft sensor have served for about a season.",
		Action:  "When the furnace is cold, look at the probes and the draft hose for soot and let the installer check the zero.",
	},
}

// Declarations lists every notice.
func Declarations() []Declaration { return slices.Clone(declarations) }

// Declared returns the declaration of the notice called name; the job matters for UpkeepDue
// only.
func Declared(name Name, job Job) (Declaration, bool) {
	for _, d := range declarations {
		if d.Name == name && d.Job == job {
			return d, true
		}
	}
	return Declaration{}, false
}
