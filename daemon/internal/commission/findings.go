package commission

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

// Line is a finding in words.
type Line struct {
	Grade  commissioning.Grade
	Text   string // what was found, with its numbers
	Advice string // what to do; empty where nothing is
}

// words of a finding: in braces its value, what it was held against, the band of that, and
// the channel.
type words struct{ text, advice string }

var findingWords = map[commissioning.Code]words{
	// Site
	"predicted-cold":   {"Predicted before lighting: {value}", ""},
	"predicted-hot":    {"Predicted hot, with the gate shut: {value}; specified {band}", ""},
	"short":            {"The chimney may give only {value} where {want} is specified", "Make it higher or warmer, or the connector shorter, before blaming the regulator."},
	"strong":           {"The chimney pulls hard: {value} with the gate shut, for {want} specified; the regulator has much to hold", ""},
	"exterior":         {"The chimney stands outside: slow to start, and it condenses", "Warm the flue before lighting. A pan under the joints for the first fires."},
	"termination-roof": {"It ends {value} above the roof; the 3-2-10 rule wants {want}", "Make it higher, or ask who answers for the code."},
	"termination-near": {"It ends {value} above what is within 10 ft (3 m); the 3-2-10 rule wants {want}", "Make it higher, or ask who answers for the code."},
	"connector-long":   {"The connector is {value} long; common practice is {want} at most", "Shorten or insulate it, as the manual allows."},
	"connector-elbows": {"The connector has {value} elbows; common practice is {want} at most", "Take elbows out where you can."},
	"connector-flat":   {"The connector hardly rises", "At least 1/4 in. a foot (2 cm a metre) towards the chimney."},
	"ducts":            {"The supply ducts have {value} free; {want} is asked for", "More ducts, or a larger one: the furnace gets too hot without."},
	"altitude":         {"High above the sea: the air has {value} of its pressure, and the draft with it", ""},
	"no-regulator":     {"No draft regulator is fitted", "A chimney that is not regulated follows weather and fire."},
	"regulator-room":   {"The regulator does not hang in the room of the appliance", "Move it there: with another room's pressure it holds another draft."},
	"wet-wood":         {"The wood has {value} moisture (dry basis); {want} is the most that burns well", "Drier wood for commissioning, or nothing measured will hold."},
	"dry-wood":         {"The wood has {value} moisture (dry basis): very dry", "Common practice: one or two marks lower on the regulator with such wood."},
	// By eye
	"manual":      {"Local code or manual is not followed or not at hand", "Nothing is lit before it is."},
	"clearances":  {"Clearances are not kept", "Nothing is lit before they are."},
	"connector":   {"The connector is not as it should be", "Pitch, screws, joints; nothing is lit before."},
	"cleanout":    {"The cleanout is not tight", "Air that leaks in there takes the draft from the fire."},
	"plumb":       {"The regulator is not level and plumb", "Its marks mean nothing until it is."},
	"empty":       {"The appliance is not empty and lined", "Take out what does not belong there."},
	"probe-free":  {"Something covers or touches the firebox probe", "It misreads."},
	"filters":     {"The filters are not in or not clean", "Clean or fit them."},
	"co-alarm":    {"Carbon-monoxide alarms are missing or not working", "Nothing is lit before they work."},
	"smoke-alarm": {"Smoke alarms are missing or not working", "Fit them."},
	"room-air":    {"Air for the fire cannot get in", "Nothing is lit before it can."},
	// Sensors
	"zero":            {"Zero of the draft sensor: {value}", ""},
	"zero-off":        {"With both ports open it reads {value}", "Zero it with \"fluewright zero\"; if that does not last, look for water or dust."},
	"zero-restless":   {"With both ports open it moves by {value}", "A hose is still on, or air moves at the ports."},
	"draft-lost":      {"The draft was not read", "Look at the sensor with \"fluewright probe\"."},
	"hose":            {"The hose answers a breath with {value} and comes back", ""},
	"hose-dead":       {"The draft did not move when the hose was blown into", "The hose is off, split or on the wrong port, or its port is blocked."},
	"hose-no-return":  {"The draft did not come back after the breath: {value}, before {want}", "Water or soot in the hose. Blow it out away from the sensor."},
	"agree":           {"All {value} probes agree with the room", ""},
	"no-temperatures": {"No temperature is read", "Look at the sensors with \"fluewright probe\"."},
	"disagrees":       {"In the cold appliance the {channel} reads {value}, the room {want}", "Look for a wrong thermocouple type, a wire or a warm wall."},
	"probe":           {"The {channel} probe rose by {value} when it was warmed", ""},
	"reversed-wires":  {"The {channel} fell by {value} when its probe was warmed", "Its two wires are the wrong way round: exchange them."},
	"exchanged":       {"Another reading rose when the {channel} probe was warmed", "Two thermocouples are on each other's terminals."},
	"unmoved":         {"The {channel} did not move when its probe was warmed", "Look for a probe on no terminal, or the wrong probe."},
	"lost":            {"The {channel} was lost while it was warmed", "Look for a loose wire."},
	// Cold draft
	"cold-draft":      {"Cold draft {value}; predicted {want} ({band})", ""},
	"cold-draft-low":  {"Cold draft {value}; predicted {want} ({band})", "Less than the chimney should give: look for an open cleanout, a leak, a nest, a cap that is clogged."},
	"cold-draft-high": {"Cold draft {value}; predicted {want} ({band}): wind, or a chimney that is still warm", ""},
	"mild-day":        {"Cold draft {value}; so mild a day promises little ({want}), which proves nothing either way", ""},
	"reversed":        {"The flue blows into the house: {value}; predicted {want}", "Light nothing. Shut off fans, open a window near, and warm the flue: " + warming + " If it stays so, the house or the termination must be changed."},
	"dead-flue":       {"The flue does not draw: {value}; predicted {want} ({band})", "Light nothing. The flue is blocked or open to the house: look through the cleanout and at the cap; see that the damper is open. If it is clear and cold, warm it: " + warming},
	"restless":        {"The draft never settled; it spread by {value}", "Repeat on a calmer day."},
	"fans":            {"Fans take {value} from the draft", ""},
	"fans-reverse":    {"Fans take {value} and turn the draft round", "Nothing is lit in this house while these fans can run: give them make-up air."},
	"no-fans":         {"The house has no exhaust fans", ""},
	// First fire
	"draft-up":      {"The draft was in its band {value} after lighting", ""},
	"draft-below":   {"The draft reached only {value} of the {want} that are asked for; the regulator may be set too tight", ""},
	"draft-never":   {"The draft reached only {value} of the {want} that are asked for", "Look at the chimney: it may be cold, narrow or leaky."},
	"draft-wavered": {"The draft had turned for {value} while it was lit", "Warm the flue before lighting."},
	"clean":         {"It burnt clean {value} after lighting (common practice: 60 to 75 min)", ""},
	"clean-slow":    {"It burnt clean only {value} after lighting (common practice: 60 to 75 min)", "Slow start: look at draft, wood and air."},
	"clean-never":   {"It did not burn clean within {value} (common practice: look for a fault after 90 min)", "Slow start: something is set wrong. Look at draft, wood and air."},
	"fan":           {"The fan's temperature was reached {value} after lighting (common practice: about 45 min)", ""},
	"fan-slow":      {"The fan's temperature was reached only {value} after lighting (common practice: about 45 min)", "Look at the fan control and the fire."},
	"fan-never":     {"The fan's temperature was not reached within {value}", "Look at the fan control and the fire."},
	"fan-not-read":  {"The warm air is not read, so that the fan was not judged", ""},
	"spillage":      {"The draft turned while the fire burnt: {value}", "Add no wood, keep the doors shut, air the room; everybody out if smoke or an alarm comes. Find out why before the next fire."},
	"no-draw":       {"The flue is hot and there is next to no draft: {value}", "Gas finds another way into the house. Add no wood, keep the doors shut, air the room; everybody out if smoke or an alarm comes. Look for a blocked flue before the next fire, and whether the hose is on."},
	// Setting
	"mark":               {"Regulator set to mark {value}; it was found at {want}", ""},
	"mark-best":          {"The mark for the specified draft is {value}", ""},
	"mark-unsure":        {"The mark for the specified draft is {value}, which is not known to half a mark", "Repeat at a steadier fire or on a calmer day."},
	"slope":              {"A mark is worth {value}", ""},
	"draft-set":          {"Draft at this mark {value}; specified {band}", ""},
	"draft-at-mark":      {"Draft at the mark that it was left at {value}; specified {band}", ""},
	"draft-unregulated":  {"Draft {value}; specified {band}", ""},
	"not-reached":        {"No mark gives {want}: with the gate shut already the chimney has about {value}", "The chimney is the limit: warm, tighten or heighten it. Leave the regulator; further marks change nothing."},
	"not-tamed":          {"No mark brings it down to {want}: with the gate wide open it has {value}", "A larger regulator, or a second one."},
	"scale-ends":         {"The mark for the specified draft would be {value}, beyond the scale", "The nearest mark was taken."},
	"gusty":              {"It was gusty (spread {value}): the wind may have held the draft up", "Verify on a calm day."},
	"no-fit":             {"The readings give no mark", "Repeat the step."},
	"held-low-fire":      {"Low fire: ten minutes within the band, mean {value}", ""},
	"held-high-fire":     {"High fire: ten minutes within the band, mean {value}", ""},
	"not-held-low-fire":  {"Low fire: not ten minutes within the band ({band}); outside it {value}", "Repeat, or look at regulator and chimney."},
	"not-held-high-fire": {"High fire: not ten minutes within the band ({band}); outside it {value}", "Repeat, or look at regulator and chimney."},
	// Proof
	"gate-proof":     {"Held shut the draft rises by {value}; predicted {want} ({band})", ""},
	"gate-less":      {"Held shut the draft rises by {value}; predicted {want} ({band})", "Less than the chimney should have: it may be leaky, or partly blocked."},
	"gate-more":      {"Held shut the draft rises by {value}; predicted {want} ({band})", ""},
	"gate-idle":      {"Held shut the draft hardly rises ({value}): the chimney has nothing to spare, so that the gate proves nothing", "Prove it again on a cold day."},
	"gate-no-effect": {"Held shut the draft does not rise ({value}; predicted {want})", "The gate hung shut already: free it, and repeat the setting."},
	"gate-returns":   {"Let go, the draft was back within {value}", ""},
	"gate-stays":     {"Let go, the draft stayed at {value} instead of {want}", "The gate sticks: clean and level it."},
	"door-seen":      {"The opened door takes {value} from the draft", ""},
	"door-unseen":    {"The draft does not show the opened door ({value}); the regulator makes up for it", ""},
	"door-spills":    {"With the door open the draft turned: {value}", "Smoke comes out when it is loaded: see to the chimney."},
	"door-returns":   {"Door shut, the draft was back within {value}", ""},
	"door-stays":     {"Door shut, the draft stayed at {value} instead of {want}", "Look for a door that does not close tight."},
	// Limits
	"fan-on":                 {"Fan comes on at {value} (common practice: about {want})", ""},
	"fan-off":                {"Fan goes off at {value}", ""},
	"high-limit-untouched":   {"The high limit control is as its maker left it, and was not touched", ""},
	"high-limit-touched":     {"The high limit control is not as its maker left it", "A licensed person restores it before the furnace is used. Do not adjust it."},
	"alarm-not-sent":         {"No test alarm was sent", "The owner would not be told. Configure who is told, try it with \"fluewright notify --test\", and repeat."},
	"alarm-not-acknowledged": {"The owner did not acknowledge the test alarm", "The owner would not be told. Find out why, and repeat."},
	"alarm-acknowledged":     {"The owner acknowledged a test alarm", ""},
}

// perChannel are findings whose code ends in a channel, and the words that they share.
var perChannel = []struct{ prefix, words string }{
	{"disagrees-", "disagrees"},
	{"probe-", "probe"},
	{"reversed-", "reversed-wires"},
	{"exchanged-", "exchanged"},
	{"unmoved-", "unmoved"},
	{"lost-", "lost"},
}

// Finding returns a finding in words and in the reader's units.
func Finding(f commissioning.Finding, u units.System) Line {
	w, ok := findingWords[f.Code]
	channel := ""
	if !ok {
		for _, p := range perChannel {
			if rest, is := strings.CutPrefix(string(f.Code), p.prefix); is {
				w, channel = findingWords[commissioning.Code(p.words)], rest
				break
			}
		}
	}
	if w.text == "" {
		return Line{f.Grade, string(f.Code), ""}
	}
	text := strings.NewReplacer(
		"{value}", value(f, u), "{want}", amount(f.Unit, f.Want, u),
		"{band}", amount(f.Unit, f.From, u)+" to "+amount(f.Unit, f.To, u), "{channel}", channel,
	).Replace(w.text)
	if !strings.HasSuffix(text, ".") { // as "in. w.c." has it
		text += "."
	}
	return Line{f.Grade, text, w.advice}
}

// value writes a finding's value with its interval of 90 %.
func value(f commissioning.Finding, u units.System) string {
	v := amount(f.Unit, f.Value, u)
	if !(f.Low < f.High) {
		return v
	}
	if amount(f.Unit, f.Low, u) == v && amount(f.Unit, f.High, u) == v {
		return v
	}
	return fmt.Sprintf("%s (90 %%: %s to %s)", v, amount(f.Unit, f.Low, u), amount(f.Unit, f.High, u))
}

// amount writes a quantity.
func amount(unit commissioning.Unit, v float64, u units.System) string {
	switch unit {
	case commissioning.Pascals:
		return u.Pressure(v)
	case commissioning.Celsius:
		return u.Temperature(v)
	case commissioning.Kelvin:
		return u.TemperatureDifference(v)
	case commissioning.Seconds:
		if v < 120 {
			return fmt.Sprintf("%.0f s", v)
		}
		return fmt.Sprintf("%.0f min", v/60)
	case commissioning.Metres:
		return u.Length(v)
	case commissioning.SquareMetres:
		if u == units.SI {
			return fmt.Sprintf("%.3f m²", v)
		}
		return fmt.Sprintf("%.0f sq in.", v/(0.0254*0.0254))
	case commissioning.Marks:
		return strconv.FormatFloat(math.Round(100*v)/100, 'f', -1, 64)
	case commissioning.Share:
		return fmt.Sprintf("%.0f %%", 100*v)
	case commissioning.Count:
		return fmt.Sprintf("%.0f", v)
	case commissioning.PascalsPerMark:
		return u.Pressure(v)
	}
	return ""
}

// mark writes a mark to a quarter, as it is set.
func mark(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
