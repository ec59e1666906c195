package message

import (
	"fmt"
	"strings"
	"time"

	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
)

// CauseLine is one cause of an alarm as replay and MQTT write it.
type CauseLine struct {
	Code     string   `json:"code"`
	Weight   float64  `json:"weight"`
	Evidence []string `json:"evidence"`
}

// Causes turns a ranking into what outputs write, best first. wall
// turns the frames' clock into the time that is written.
func Causes(ranking []cause.Cause, wall func(time.Duration) time.Time, u Units) []CauseLine {
	lines := []CauseLine{}
	for _, c := range ranking {
		l := CauseLine{Code: string(c.Code), Weight: hundredth(c.Weight), Evidence: []string{}}
		for _, e := range c.Evidence {
			if s := Evidence(e, wall, u); s != "" {
				l.Evidence = append(l.Evidence, s)
			}
		}
		lines = append(lines, l)
	}
	return lines
}

// hundredth rounds a weight to what it is worth.
func hundredth(w float64) float64 { return float64(int(w*100+0.5)) / 100 }

// Why says in one sentence what a ranking comes to, for people.
func Why(ranking []cause.Cause) string {
	if len(ranking) == 0 {
		return "Nothing in the burn so far stands out as the cause."
	}
	how := "Possible cause"
	switch w := ranking[0].Weight; {
	case w >= 0.7:
		how = "Very likely cause"
	case w >= 0.4:
		how = "Likely cause"
	}
	return fmt.Sprintf("%s: %s.", how, causeTitles[ranking[0].Code])
}

// causeTitles name the causes within a sentence.
var causeTitles = map[cause.Code]string{
	cause.DraftHigh: "the chimney draws harder than the appliance is made for",
	cause.CoalBed:   "wood was laid on a large bed of hot coals and burns from below",
	cause.FineFuel:  "the pieces of wood are too small and burn all at once",
	cause.DryFuel:   "the wood is too dry",
	cause.AirLeak:   "air gets to the fire beyond its control: a door or the ash door may be ajar",
	cause.Creosote:  "the deposit in the flue burns",
	cause.Blower:    "too little air carries the heat away: the blower stands still, or filter or registers are blocked",
}

// CauseTitle names a cause within a sentence; empty for an unknown one.
func CauseTitle(c cause.Code) string { return causeTitles[c] }

// causeAdvice is what the trade does about each cause. None of it opens the loading door,
// and all of it defers to the manual.
var causeAdvice = map[cause.Code]string{
	cause.DraftHigh: "Check that the regulator's gate swings freely and is not held shut. " +
		"Have the installer set it to a lower mark if the draft stays above the appliance's specification.",
	cause.CoalBed: "Do not add wood. From now on let the coals burn down before reloading, and lay on less at a time.",
	cause.FineFuel: "Do not add wood. From now on burn larger pieces and keep kindling for lighting; " +
		"until then set the regulator to a lower mark.",
	cause.DryFuel: "Set the regulator to a lower mark, one or two, or burn with wetter or larger pieces. Lay on less at a time.",
	cause.AirLeak: "Look whether the ash door and the loading door are latched. Shut a door that stands ajar " +
		"only if that can be done without opening it further; stand aside and wear gloves. Have worn gaskets replaced.",
	cause.Creosote: "Keep all doors shut and close the air. Leave the house and call the fire service if the flue roars or sparks fly. " +
		"Do not burn again before the chimney has been swept and inspected.",
	cause.Blower: "Do not add wood. Look for the mains, the blower's switch and its fuse; see that the filter is clean and no register is shut. " +
		"Never move or bypass the high limit control. Have the blower looked at before the next fire.",
}

// deference stands behind every advice.
const deference = "The appliance's manual and the local code come first."

// CauseAdvice says what to do about a cause; empty for an unknown one.
func CauseAdvice(c cause.Code) string {
	if a := causeAdvice[c]; a != "" {
		return a + " " + deference
	}
	return ""
}

// Evidence says one observation in a plain sentence in the site's units, "" if there is
// none.
func Evidence(e cause.Evidence, wall func(time.Duration) time.Time, u Units) string {
	s := sentence(e, wall, u)
	if before, ok := strings.CutSuffix(s, ".."); ok {
		return before + "." // a unit may end in a stop of its own
	}
	return s
}

func sentence(e cause.Evidence, wall func(time.Duration) time.Time, u Units) string {
	last := lasted(e.For)
	where := place(e.Channel)
	clock := wall(e.At).Format("15:04")
	switch e.Kind {
	case cause.DraftOver:
		return fmt.Sprintf("The draft stood at %s for %s; the appliance is specified for at most %s.", u.Pressure(e.Value), last, u.Pressure(e.Reference))
	case cause.DraftClimbed:
		return fmt.Sprintf("It climbed from %s to %s with the heat of the flue; a working regulator would have held it.", u.Pressure(e.Reference), u.Pressure(e.Value))
	case cause.DraftOrdinary:
		return fmt.Sprintf("The draft was ordinary meanwhile, %s.", u.Pressure(e.Value))
	case cause.DraftSagged:
		return fmt.Sprintf("The draft sagged from %s to %s at %s although the fire grew: more air gets in.", u.Pressure(e.Reference), u.Pressure(e.Value), clock)
	case cause.DraftUnder:
		return fmt.Sprintf("The draft stood at only %s with a hot flue; the appliance is specified for at least %s.", u.Pressure(e.Value), u.Pressure(e.Reference))
	case cause.DraftSurged:
		return fmt.Sprintf("The draft surged from %s to %s within %s.", u.Pressure(e.Reference), u.Pressure(e.Value), last)
	case cause.Lit:
		return fmt.Sprintf("The fire was lit at %s, %s before the rise.", clock, last)
	case cause.Loaded:
		return fmt.Sprintf("Wood was laid on at %s, %s before the rise.", clock, last)
	case cause.Visited:
		return fmt.Sprintf("A door seems to have been opened at %s, %s before the rise.", clock, last)
	case cause.Revived:
		return fmt.Sprintf("At %s the fire had burnt down, %s was at %s: it hardly rises so far again without new wood, though no reading shows when that was laid on.", clock, where, u.Temperature(e.Value))
	case cause.OnCoals:
		if e.For > 0 {
			return fmt.Sprintf("Just before, at %s, %s was still at %s, %s after the flames were over.", clock, where, u.Temperature(e.Value), last)
		}
		return fmt.Sprintf("Just before, at %s, %s was at %s.", clock, where, u.Temperature(e.Value))
	case cause.Rose:
		return fmt.Sprintf("%s rose from %s to %s in %s.", begin(where), u.Temperature(e.Reference), u.Temperature(e.Value), last)
	case cause.Leapt:
		return fmt.Sprintf("At %s %s leapt from %s to %s within %s, and no wood was seen to be laid on for it.", clock, where, u.Temperature(e.Reference), u.Temperature(e.Value), last)
	case cause.Again:
		return "The load before burnt up as quickly, so it is the wood and not this load."
	case cause.Stayed:
		return fmt.Sprintf("%s has stood above %s for %s.", begin(where), u.Temperature(e.Reference), last)
	case cause.NotLoaded:
		if e.For > 0 {
			return fmt.Sprintf("The rise began at %s, %s after wood was last laid on.", clock, last)
		}
		return fmt.Sprintf("The rise began at %s; no wood had been laid on as far as the readings tell.", clock)
	case cause.Steady:
		return fmt.Sprintf("Before that %s had been steady between %s and %s for %s.", where, u.Temperature(e.Value), u.Temperature(e.Reference), last)
	case cause.Fell:
		return fmt.Sprintf("%s fell from %s to %s while the gas behind it got hotter.", begin(where), u.Temperature(e.Reference), u.Temperature(e.Value))
	case cause.Unmoved:
		return fmt.Sprintf("%s does not explain it: it went from %s to %s.", begin(where), u.Temperature(e.Reference), u.Temperature(e.Value))
	case cause.Moisture:
		return fmt.Sprintf("The wood was logged with %s moisture (wet basis); under %s it burns too fast.", percent(e.Value), percent(e.Reference))
	case cause.Door:
		return fmt.Sprintf("A door seems to have been open since %s.", clock)
	case cause.Within:
		return fmt.Sprintf("The fire is not too strong: %s is at %s, its limit is %s.", where, u.Temperature(e.Value), u.Temperature(e.Reference))
	case cause.Stopped:
		return fmt.Sprintf("The blower has stood still since %s; the plenum is at %s.", clock, u.Temperature(e.Value))
	default:
		return ""
	}
}

// place names where a channel measures, within a sentence.
func place(c frame.Channel) string { return "the " + c.String() }

// begin makes a place begin a sentence.
func begin(s string) string { return "T" + s[1:] }

func percent(share float64) string { return fmt.Sprintf("%.0f %%", share*100) }

// span writes how long something lasted as people say it.
func lasted(d time.Duration) string {
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%d s", int(d.Round(10*time.Second).Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Round(time.Minute).Minutes()))
	default:
		return fmt.Sprintf("%d h", int(d.Round(time.Hour).Hours()))
	}
}
