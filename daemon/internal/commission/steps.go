package commission

import (
	"fmt"

	"fluewright/analysis/commissioning"
)

// First stands above everything that leads through commissioning.
const First = "Local code and the appliance's manual go first, before anything said here. " +
	"This program measures and advises; it is no limit control, no carbon-monoxide alarm and no licensed person, and replaces none of them. " +
	"The high limit control is a safety device: do not move, bypass or adjust it. " +
	"If smoke or gas comes into the room: everybody out, then call for help."

// StepWords are what a step is about.
type StepWords struct {
	Title, Why string
}

var steps = [commissioning.Steps]StepWords{
	commissioning.SiteData: {
		"Site", "What the chimney can give follows from how it is built. It is worked out before any wood is lit, so that surprises come on paper.",
	},
	commissioning.ByEye: {
		"Checks by eye", "What no sensor sees: clearances, joints, alarms, air to breathe for the fire.",
	},
	commissioning.Sensors: {
		"Sensors", "Everything after this rests on the readings: the draft sensor's zero, its hose, and each thermocouple on its own terminals the right way round.",
	},
	commissioning.ColdDraft: {
		"Cold draft", "A flue that is blocked or that blows down is found now, cold, and not with smoke in the house. Exhaust fans may pull harder than the chimney.",
	},
	commissioning.FirstFire: {
		"First fire", "How the draft comes up, when the fan starts and when the fire burns clean tells how chimney and appliance go together.",
	},
	commissioning.Setting: {
		"Regulator setting", "The regulator's mark decides how the furnace burns in this house. It is found by measuring at a steady fire, with how sure it is.",
	},
	commissioning.Proof: {
		"Proof", "A regulator that does nothing looks the same as a good one until the draft rises. Held shut by hand, it shows what it holds back; an opened door shows that the draft sees it.",
	},
	commissioning.Limits: {
		"Limits and alarm path", "The fan control is noted, the high limit control is left alone, and a test alarm must reach the owner.",
	},
	commissioning.Closing: {
		"Report", "One record with its number, for those who were not there.",
	},
}

// Step returns the words of a step.
func Step(s commissioning.Step) StepWords {
	if s < commissioning.Steps {
		return steps[s]
	}
	return StepWords{}
}

// TaskWords are what is asked of the person.
type TaskWords struct {
	Do      string // what to do
	Settled string // what counts as done; empty where it is an entry
}

var tasks = map[commissioning.Task]TaskWords{
	commissioning.EnterSite:   {"Enter what the appliance's manual asks for, and what you have measured of chimney, connector, regulator and ducts.", ""},
	commissioning.LookAround:  {"Look at each point and answer yes or no. A no is put right before a fire is lit.", ""},
	commissioning.ZeroDraft:   {"No fire and no coals. Take the hoses off both ports of the draft sensor, so that both stand in still air. Then say ready.", "One minute within half a pascal (0.002 in. w.c.) of nothing, and quiet."},
	commissioning.BlowHose:    {"Put the hose back on. Say ready, wait five seconds, then blow gently into the open end of the probe, and stop.", "The reading leaps, and comes back to where it was within a minute. If it does not come back, the hose is blocked or wet; if it does not leap, it leaks or is off."},
	commissioning.CompareCold: {"Leave everything as it is; the appliance is cold.", "Ten seconds with all probes near the temperature of the room."},
	commissioning.WarmProbe:   {"Say ready, wait five seconds, then warm the tip of the %s probe with your hand or briefly with a lighter.", "It rises by 3 K (5 °F), and no other one does."},
	commissioning.ReadCold:    {"Shut the appliance's doors, put doors and windows of the house as they will be, fans off. Then say ready.", "The draft's trend and its mean are known to a tenth of what is specified; three minutes on a calm day, more in gusts."},
	commissioning.ReadFans:    {"Switch on every exhaust fan, the range hood and the dryer. Then say ready. If the house has none, say so.", "As before."},
	commissioning.LightFire: {
		"Expect before you light: paint and oil smell and smoke a little the first time, so ventilate; a cold chimney may drip at its joints, so put a pan under them. " +
			"Say ready, and light by the appliance's manual. Keep the loading door shut; common practice: it stands by itself after 4 to 10 minutes.",
		"The fire burns clean and the fan has come on. Common practice, no source: fan after about 45 minutes, a clear stack after 60 to 75; after 90 look for a fault.",
	},
	commissioning.ReadMark:    {"Set the regulator to mark %s: axis level, gate plumb, the weight read at the edge that its maker names. Touch nothing else. Then say ready with the mark as it is really set.", "Flue and draft no longer drift, and the draft's mean is known; a statistical test, no timer. Door, air setting and fans stay as they are meanwhile."},
	commissioning.VerifyLow:   {"Turn the heat demand low, as on a mild day, and let the fire come down. Then say ready.", "Ten minutes in succession within the band."},
	commissioning.VerifyHigh:  {"Turn the heat demand high and let the fire come up. Then say ready.", "Ten minutes in succession within the band."},
	commissioning.ReadFree:    {"Turn the heat demand back to the middle and let the fire calm down. Leave the gate free and the doors shut. Then say ready.", "One minute."},
	commissioning.HoldGate:    {"Hold the regulator's gate shut with a gloved hand, say ready, and stay there: let go at once if the fire roars or a temperature runs away.", "One minute: the draft must rise by about what was predicted."},
	commissioning.ReleaseGate: {"Let the gate go, and say ready.", "The draft is back within three minutes."},
	commissioning.OpenDoor:    {"Open the loading door a finger's width, slowly, face away, and say ready. Shut it at once if smoke comes out.", "The draft shows it within a minute."},
	commissioning.ShutDoor:    {"Shut the door, and say ready.", "The draft is back within three minutes."},
	commissioning.EnterLimits: {"Read off the fan control at what it comes on and goes off. The high limit control is a safety device: only look whether it is as its maker left it; do not move, bypass or adjust it.", ""},
	commissioning.TestAlarm:   {"Send a test alarm to the owner's phone. The owner, not you, acknowledges it there.", ""},
	commissioning.Sign:        {"Enter who installed and who took over.", ""},
	commissioning.Failed:      {"Something must be put right: see what was found. Then repeat the step.", ""},
	commissioning.Done:        {"Every step is done. Finish it, and the report is kept.", ""},
}

// Task returns the words of the task that is on.
func Task(s *commissioning.State) TaskWords {
	w := tasks[s.Task]
	switch s.Task {
	case commissioning.WarmProbe:
		w.Do = fmt.Sprintf(w.Do, s.Channel)
	case commissioning.ReadMark:
		w.Do = fmt.Sprintf(w.Do, mark(s.Wanted))
		if !s.Site.Regulator.Fitted {
			w.Do = "There is no regulator: let the fire burn as it will be used. Then say ready."
		}
	}
	return w
}

var checkWords = [commissioning.Checks]string{
	commissioning.Manual:     "Local code and the appliance's manual are at hand, and the installation follows them.",
	commissioning.Clearances: "Clearances to everything that burns are kept, at appliance, connector and chimney.",
	commissioning.Connector:  "The connector rises all the way, its joints are screwed and tight, and it is no longer than it must be.",
	commissioning.Cleanout:   "The cleanout is shut and tight.",
	commissioning.Plumb:      "The regulator's axis is level and its gate plumb and free.",
	commissioning.Empty:      "The appliance is empty and lined; no tools, no packing.",
	commissioning.ProbeFree:  "Nothing covers or touches the firebox probe, and wood will not.",
	commissioning.Filters:    "The filters of the warm air are in and clean.",
	commissioning.COAlarm:    "Carbon-monoxide alarms are in place and were tested.",
	commissioning.SmokeAlarm: "Smoke alarms are in place and were tested.",
	commissioning.RoomAir:    "Air for the fire can get in, whatever is shut.",
}

// Check returns what is to be looked at.
func Check(c commissioning.Check) string {
	if c < commissioning.Checks {
		return checkWords[c]
	}
	return ""
}

// refusals say why an entry was not taken.
var refusals = map[string]string{
	commissioning.OutOfOrder:   "This is not what is on now: look at the page again.",
	commissioning.NotPossible:  "That does not answer what is asked.",
	commissioning.Impossible:   "That cannot be",
	commissioning.Incomplete:   "One point is not answered yet",
	commissioning.FireBurns:    "A fire burns, or there are coals: with the hose off or the flue cold this must not be done. Wait until the flue is within 30 K (54 °F) of the room.",
	commissioning.FireNotSeen:  "The flue is not read, so that nobody knows whether a fire burns: go and look, and say that there is none.",
	commissioning.NoFireYet:    "It takes a fire, and there is none.",
	commissioning.NoDraftRead:  "The draft is not read: see to the sensor first.",
	commissioning.NoFlueRead:   "The flue is not read: see to the probe first.",
	commissioning.ReasonNeeded: "Say why it is left out: the report shows it.",
	commissioning.PutRight:     "What was found must be put right first; it cannot be passed over. Then repeat the step.",
	commissioning.NoReadings:   "There is no reading yet: wait a moment.",
	commissioning.UnderWay:     "It is being measured already.",
	commissioning.NotPart:      "That step is no part of the short form.",
	commissioning.NotYetThere:  "That step has not been reached yet.",
	commissioning.TooHot:       "The fire is too hot for more draft or an open door: close the air and wait until the flue is below 400 °C (750 °F).",
	commissioning.DraftTurned:  "The draft is reversed now: light nothing, open nothing. Warm the flue first: " + warming,
}

// Refusal says why an entry was not taken.
func Refusal(r *commissioning.Refusal) string {
	text := refusals[r.Code]
	if text == "" {
		text = r.Code
	}
	if r.Detail == "" {
		return text
	}
	return text + ": " + r.Detail
}

// warming is how a cold flue is made to draw: common practice, no source.
const warming = "as the appliance's manual allows, a twist of newspaper or a hot-air blower at the cleanout, a window open until it draws."
