// Package verdict sums one tick up in a sentence for the owner: all is well, an alarm
// stands, the monitor is blind, or it does not know yet. It is pure, and it is the only
// place that may say that all is well, so that page and messages never differ on it.
package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/status"
)

// Level is the kind of verdict. The zero value is Checking, so that nothing is well by
// omission.
type Level uint8

// The levels.
const (
	Checking Level = iota // too early to tell
	Blind                 // a reading is missing: it cannot be told
	Alarm                 // a hazard stands, or the monitor itself is not well
	Well                  // every alarm is judged and normal, and no reading is missing
)

// String returns the level's name as messages write it.
func (l Level) String() string {
	return [...]string{"checking", "blind", "alarm", "well"}[min(l, Well)]
}

// Verdict is what to tell the owner.
type Verdict struct {
	Level Level
	// Headline says how things are, one or two short sentences.
	Headline string
	// Action says what to do first; empty when there is nothing to do.
	Action string
	// Missing lists the channels that have a sensor and no usable reading.
	Missing []frame.Channel
	// Standing holds the alarms that stand, the one to act on first at the front.
	Standing []alarm.Status
}

// SeesFire reports whether no channel is missing that the phase is told by.
func (v *Verdict) SeesFire() bool {
	return !slices.ContainsFunc(v.Missing, func(c frame.Channel) bool {
		return c == frame.Firebox || c == frame.Chamber || c == frame.Flue
	})
}

// Site is what must be known of the site to judge a tick.
type Site struct {
	// Fitted says which channels have a sensor.
	Fitted [frame.Count]bool
	// Render words an alarm of a tick: what is the matter, and what to do first.
	Render func(alarm.Status, *status.Status) (message, action string)
}

const (
	watch  = "Watch the furnace yourself until the readings are back."
	moment = "Watch the furnace yourself until this is done; it takes a moment."
)

// Judge sums up s, nil before the first tick. silence is how long no tick has come when
// that is too long, and zero otherwise: what was well a minute ago says nothing now.
func (site Site) Judge(s *status.Status, silence time.Duration) Verdict {
	if s == nil {
		return Verdict{Headline: "Checking: the monitor has just started.", Action: moment}
	}
	v := Verdict{Missing: site.missing(s), Standing: Standing(s.Assessment.Alarms)}
	switch {
	case silence > 0:
		v.Level = Blind
		v.Headline = fmt.Sprintf("Blind: the monitor has read nothing for %s.", Ago(silence))
		v.Action = watch
		if len(v.Standing) > 0 {
			message, action := site.Render(v.Standing[0], s)
			v.Headline += " When it last could see: " + sentence(message)
			v.Action = action
		}
	case len(v.Standing) > 0 && !aboutMonitor(v.Standing[0]):
		site.standing(&v, s)
	case len(v.Missing) > 0:
		if starting(s, v.Missing) {
			v.Headline = "Checking: waiting for the first reading of " + list(v.Missing) + "."
			v.Action = moment
			break
		}
		v.Level = Blind
		v.Headline = "Blind: no reading of " + list(v.Missing) + "."
		v.Action = watch
	default:
		judged(&v, s)
	}
	if silence == 0 && len(v.Standing) > 0 && aboutMonitor(v.Standing[0]) {
		site.impaired(&v, s)
	}
	return v
}

// impaired words the verdict where the monitor itself is all that something is wrong with:
// it still watches, and what it sees or does not see of the fire goes before.
func (site Site) impaired(v *Verdict, s *status.Status) {
	message, action := site.Render(v.Standing[0], s)
	if v.Level == Well {
		v.Level, v.Action = Alarm, action
		v.Headline = "Alarm: " + sentence(message)
		return
	}
	v.Headline += " Also: " + sentence(message)
}

// standing words the verdict while an alarm stands. Sensors that are lost or say what
// cannot be are, alone, blindness.
func (site Site) standing(v *Verdict, s *status.Status) {
	message, action := site.Render(v.Standing[0], s)
	v.Action = action
	if aboutSensor(v.Standing[0]) {
		v.Level = Blind
		v.Headline = "Blind: " + sentence(message)
		return
	}
	v.Level = Alarm
	if n := len(v.Standing); n > 1 {
		v.Headline = fmt.Sprintf("%d alarms. First: %s", n, sentence(message))
		return
	}
	v.Headline = "Alarm: " + sentence(message)
}

// sentence ends text as a sentence ends.
func sentence(text string) string {
	if strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

// judged words the verdict where no alarm stands and no reading is missing.
func judged(v *Verdict, s *status.Status) {
	a := &s.Assessment
	var blind, unjudged, later, shelved []string
	for _, st := range a.Alarms {
		switch {
		case aboutMonitor(st) && stands(st):
			// impaired says it.
		case st.Blind && st.State != alarm.Unjudged:
			blind = append(blind, Name(st.Key))
		case st.State == alarm.Normal, st.State == alarm.Returned:
		case st.State == alarm.Shelved && st.Condition == alarm.Gone:
			shelved = append(shelved, Name(st.Key))
		case patient(st):
			later = append(later, Name(st.Key))
		default:
			unjudged = append(unjudged, Name(st.Key))
		}
	}
	switch {
	case len(blind) > 0:
		v.Level = Blind
		v.Headline = "Blind: cannot judge " + strings.Join(blind, ", ") + "."
		v.Action = watch
	case a.PhaseHeld:
		// There is a flue reading, and the furnace contradicts it.
		v.Level = Blind
		v.Headline = "Blind: how the fire burns cannot be told from the flue's reading."
		v.Action = watch
	case len(unjudged) > 0 || len(a.Alarms) == 0 || a.Phase == burn.Unknown:
		v.Headline = "Checking: the readings are there, but for too short a time to judge them."
		v.Action = moment
	default:
		v.Level = Well
		v.Headline = "No alarm. " + phases[a.Phase]
		if len(shelved) > 0 {
			v.Headline += " Shelved: " + strings.Join(shelved, ", ") + "."
		}
		if len(later) > 0 {
			v.Headline += " Not judged before some burns: " + strings.Join(later, ", ") + "."
		}
	}
}

// phases says what the furnace does, for the owner.
var phases = map[burn.Phase]string{
	burn.Cold:      "There is no fire.",
	burn.Lighting:  "The fire is being lit.",
	burn.WarmUp:    "The fire is warming up.",
	burn.CleanBurn: "The fire burns clean.",
	burn.Smoulder:  "The fire smoulders: it is too cool to burn its smoke.",
	burn.Coals:     "The flames are out, coals glow.",
}

// PhaseSentence says what the furnace does; empty where that is not known.
func PhaseSentence(p burn.Phase) string { return phases[p] }

func (site Site) missing(s *status.Status) []frame.Channel {
	var out []frame.Channel
	for _, c := range frame.All() {
		if site.Fitted[c] && !Readable(s.Frame.Inputs[c]) {
			out = append(out, c)
		}
	}
	return out
}

// Readable reports whether there is a number that may be shown. What is not finite is
// none, whatever quality it claims.
func Readable(in frame.Input) bool {
	return in.Usable() && !math.IsNaN(in.Value) && !math.IsInf(in.Value, 0)
}

// starting reports whether each missing channel may simply not have been read yet: it
// never was, it reports no fault, and its loss has not been judged.
func starting(s *status.Status, missing []frame.Channel) bool {
	for _, c := range missing {
		lost := slices.IndexFunc(s.Assessment.Alarms, func(a alarm.Status) bool {
			return a.Key == alarm.Key{Name: alarm.SensorLost, Channel: c}
		})
		if lost < 0 || s.Assessment.Alarms[lost].State != alarm.Unjudged ||
			!s.Taken[c].IsZero() || s.Frame.Inputs[c].Quality != frame.Absent {
			return false
		}
	}
	return true
}

// Standing returns the alarms that stand, in the order in which to act:
// a hazard before a sensor, then by priority, then the older before the newer. One that a
// person has shelved while its condition holds comes last, and is not left out: it is put
// aside, and no less true.
func Standing(all []alarm.Status) []alarm.Status {
	var out []alarm.Status
	for _, a := range all {
		if stands(a) {
			out = append(out, a)
		}
	}
	rank := func(a alarm.Status) int {
		switch {
		case shelved(a):
			return 3
		case aboutMonitor(a):
			return 2
		case aboutSensor(a):
			return 1
		default:
			return 0
		}
	}
	slices.SortStableFunc(out, func(a, b alarm.Status) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(b.Priority, a.Priority), cmp.Compare(a.Since, b.Since))
	})
	return out
}

// aboutSensor reports whether the alarm is of the monitor's eyes and not of the fire.
func aboutSensor(a alarm.Status) bool {
	d, _ := alarm.Declared(a.Key.Name)
	return d.Monitor
}

// patient reports whether the alarm was not judged yet and is judged by whole burns: nobody
// need wait for that, and nobody is told that it is well.
func patient(a alarm.Status) bool {
	d, _ := alarm.Declared(a.Key.Name)
	return d.Patient && a.State == alarm.Unjudged
}

// aboutMonitor reports whether the alarm is of what becomes of warnings, and not of what
// the monitor sees.
func aboutMonitor(a alarm.Status) bool { return a.Key.Name == alarm.MonitorImpaired }

// stands reports whether the alarm stands, put aside or not.
func stands(a alarm.Status) bool { return a.State.Standing() || shelved(a) }

// shelved reports whether a person has put the alarm aside and its condition holds.
func shelved(a alarm.Status) bool { return a.State == alarm.Shelved && a.Silenced() }

// Name is the alarm's name in words: "overheat (flue)", "draft low".
func Name(k alarm.Key) string {
	words := strings.ReplaceAll(string(k.Name), "-", " ")
	if k.Channel < frame.Count {
		words += " (" + k.Channel.String() + ")"
	}
	return words
}

// list names channels as far as a headline has room: "flue, draft", "6 sensors".
func list(cs []frame.Channel) string {
	if len(cs) > 3 {
		return fmt.Sprintf("%d sensors", len(cs))
	}
	words := make([]string, len(cs))
	for i, c := range cs {
		words[i] = c.String()
	}
	return strings.Join(words, ", ")
}

// Ago words a time span with one unit: "12 s", "4 min", "3 h", "2 days".
func Ago(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	default:
		return fmt.Sprintf("%d days", int(d.Hours()/24))
	}
}
