package commission

import (
	"fmt"
	"strconv"
	"strings"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

// Field is one question of a form, for a terminal or a page.
type Field struct {
	Key     string // stable, for a page
	Text    string
	Value   string   // what stands there before anybody types
	Choices []string // what may be typed; nil: anything that Take reads
	// When says whether it is asked, given what was answered so far; nil: always.
	When func() bool
	// Take reads what was typed, with its unit; the error says what would be right.
	Take func(string) error
}

// Asked reports whether the field is asked now.
func (f *Field) Asked() bool { return f.When == nil || f.When() }

// Choice returns what may be typed in words, for a page.
func Choice(c string) string {
	switch c {
	case "y":
		return answers[commissioning.Yes]
	case "n":
		return answers[commissioning.No]
	case "x":
		return answers[commissioning.NotApplicable]
	}
	return c
}

// Forms is what a task takes: an entry to be filled by its fields. None where the task
// takes no form.
func Forms(t commissioning.Task, site commissioning.Site, u units.System) (*commissioning.Entry, []Field) {
	e := &commissioning.Entry{Kind: commissioning.Give}
	switch t {
	case commissioning.EnterSite:
		e.Site = &site
		return e, SiteForm(e.Site, u)
	case commissioning.LookAround:
		e.Checks = &[commissioning.Checks]commissioning.Seen{}
		return e, CheckForm(e.Checks)
	case commissioning.EnterLimits:
		e.Limits = &commissioning.LimitEntry{}
		return e, LimitForm(e.Limits, u)
	case commissioning.TestAlarm:
		e.Alarm = &commissioning.AlarmEntry{}
		return e, AlarmForm(e.Alarm)
	case commissioning.Sign:
		e.People = &commissioning.People{}
		return e, PeopleForm(e.People)
	}
	return e, nil
}

// SiteForm asks for the data of a site, in the reader's units, and writes into s.
func SiteForm(s *commissioning.Site, u units.System) []Field {
	q := quantities{u}
	if s.Regulator.Fitted && s.Regulator.Scale.High == 0 { // a usual one; practice
		s.Regulator.Scale.Low, s.Regulator.Scale.High, s.Regulator.Mark = 1, 7, 3
	}
	fitted := func() bool { return s.Regulator.Fitted }
	kinds := []string{string(commissioning.Insulated), string(commissioning.Masonry), string(commissioning.SingleWall)}
	return []Field{
		q.pressure("draft-low", "Lowest draft that the appliance asks for", &s.DraftLow),
		q.pressure("draft-high", "Highest draft", &s.DraftHigh),
		q.power("heat", "Rated heat output, 0 if not known", &s.Heat),
		{Key: "construction", Text: "Chimney", Value: string(s.Construction), Choices: kinds, Take: func(text string) error {
			s.Construction = commissioning.Construction(text)
			return oneOf(text, kinds)
		}},
		yesNo("outside", "Does it stand outside the house", &s.Outside),
		q.length("height", "Its height above the connector", &s.Height),
		q.bore("diameter", "Its inner diameter", &s.Diameter),
		q.length("above-roof", "It ends above the roof by", &s.AboveRoof),
		q.length("above-near", "It ends above anything within 10 ft (3 m) by", &s.AboveNear),
		q.length("connector-length", "Length of the connector", &s.ConnectorLength),
		q.length("connector-rise", "It rises by", &s.ConnectorRise),
		{Key: "elbows", Text: "Elbows in it", Value: strconv.Itoa(s.Elbows), Take: func(text string) (err error) {
			n, err := strconv.Atoi(text)
			if err != nil {
				return fmt.Errorf("%q is no whole number", text)
			}
			s.Elbows = n
			return nil
		}},
		yesNo("regulator", "Is a barometric regulator fitted", &s.Regulator.Fitted),
		plain("first-mark", "First mark of its scale", &s.Regulator.Scale.Low).when(fitted),
		plain("last-mark", "Last mark", &s.Regulator.Scale.High).when(fitted),
		plain("mark", "The mark that it is set to now", &s.Regulator.Mark).when(fitted),
		yesNo("other-room", "Does it hang in another room than the appliance", &s.Regulator.OtherRoom).when(fitted),
		q.area("ducts", "Free area of the supply ducts, 0 if not known", &s.DuctArea),
		{Key: "moisture", Text: "Moisture of the wood on a pin meter in per cent, 0 if not known", Value: fmt.Sprintf("%.0f", 100*s.Moisture), Take: func(text string) error {
			v, err := number(strings.TrimSpace(strings.TrimSuffix(text, "%")))
			s.Moisture = v / 100
			return err
		}},
		q.length("altitude", "Altitude", &s.Altitude),
		q.temperature("outdoor", "Outdoor temperature, where no sensor reads it", &s.Outdoor),
	}
}

// CheckForm asks for what is seen. Nothing is answered beforehand.
func CheckForm(seen *[commissioning.Checks]commissioning.Seen) []Field {
	var all []Field
	for c := range seen {
		check := commissioning.Check(c)
		choices := []string{"y", "n"}
		if check.Optional() {
			choices = append(choices, "x") // it does not apply
		}
		all = append(all, Field{Key: string(check.Code()), Text: Check(check), Choices: choices, Take: func(text string) error {
			seen[c] = map[string]commissioning.Seen{"y": commissioning.Yes, "n": commissioning.No, "x": commissioning.NotApplicable}[text]
			return oneOf(text, choices)
		}})
	}
	return all
}

// LimitForm asks for the fan control and the high limit control.
func LimitForm(l *commissioning.LimitEntry, u units.System) []Field {
	q := quantities{u}
	return []Field{
		q.temperature("fan-on", "The fan comes on at", &l.FanOn).unanswered(),
		q.temperature("fan-off", "It goes off at", &l.FanOff).unanswered(),
		yesNo("high-limit", "Is the high limit control as its maker left it, and untouched", &l.Untouched).unanswered(),
	}
}

// AlarmForm asks what became of the test alarm.
func AlarmForm(a *commissioning.AlarmEntry) []Field {
	return []Field{
		yesNo("sent", "Was a test alarm sent (\"fluewright notify --test\" or the page)", &a.Sent).unanswered(),
		yesNo("acknowledged", "Has the owner acknowledged it on the owner's phone", &a.Acknowledged).unanswered().when(func() bool { return a.Sent }),
	}
}

// PeopleForm asks who stands under the report.
func PeopleForm(p *commissioning.People) []Field {
	text := func(key, name string, field *string) Field {
		return Field{Key: key, Text: name, Value: *field, Take: func(v string) error { *field = v; return nil }}
	}
	return []Field{text("installer", "Installer", &p.Installer), text("owner", "Owner", &p.Owner)}
}

func (f Field) when(asked func() bool) Field {
	f.When = asked
	return f
}

// unanswered leaves a question for the person to answer: nothing is taken for granted.
func (f Field) unanswered() Field {
	f.Value = ""
	return f
}

func oneOf(text string, choices []string) error {
	for _, c := range choices {
		if text == c {
			return nil
		}
	}
	return fmt.Errorf("%q is none of %s", text, strings.Join(choices, ", "))
}

func yesNo(key, text string, field *bool) Field {
	value := "n"
	if *field {
		value = "y"
	}
	choices := []string{"y", "n"}
	return Field{Key: key, Text: text, Value: value, Choices: choices, Take: func(t string) error {
		*field = t == "y"
		return oneOf(t, choices)
	}}
}

func plain(key, text string, field *float64) Field {
	return Field{Key: key, Text: text, Value: mark(*field), Take: into(field, number)}
}

// into makes a reader of a quantity.
func into(field *float64, parse func(string) (float64, error)) func(string) error {
	return func(text string) error {
		v, err := parse(text)
		if err == nil {
			*field = v
		}
		return err
	}
}

// number reads one without a unit.
func number(text string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no number", text)
	}
	return v, nil
}

// quantities makes fields of quantities, shown as package units reads them.
type quantities struct{ u units.System }

// shown writes a value in one unit or the other.
func (q quantities) shown(si float64, unit string, us float64, usUnit string) string {
	if q.u != units.SI {
		si, unit = us, usUnit
	}
	short, _ := strconv.ParseFloat(strconv.FormatFloat(si, 'g', 4, 64), 64) // what was just written can be read
	return strconv.FormatFloat(short, 'f', -1, 64) + " " + unit
}

func (q quantities) pressure(key, text string, v *float64) Field {
	return Field{Key: key, Text: text, Value: q.shown(*v, "Pa", *v/units.PascalsPerInH2O, "inH2O"), Take: into(v, units.ParsePressure)}
}

func (q quantities) length(key, text string, v *float64) Field {
	return Field{Key: key, Text: text, Value: q.shown(*v, "m", *v/units.MetresPerFoot, "ft"), Take: into(v, units.ParseLength)}
}

func (q quantities) bore(key, text string, v *float64) Field {
	return Field{Key: key, Text: text, Value: q.shown(1000**v, "mm", *v/inch, "in"), Take: into(v, units.ParseLength)}
}

func (q quantities) power(key, text string, v *float64) Field {
	return Field{Key: key, Text: text, Value: q.shown(*v/1000, "kW", *v*3600/units.JoulesPerBtu, "Btu/h"), Take: into(v, units.ParsePower)}
}

func (q quantities) temperature(key, text string, v *float64) Field {
	return Field{Key: key, Text: text, Value: q.shown(*v, "degC", units.Fahrenheit(*v), "degF"), Take: into(v, units.ParseTemperature)}
}

func (q quantities) area(key, text string, v *float64) Field {
	return Field{Key: key, Text: text, Value: q.shown(*v, "m2", *v/(inch*inch), "sq in"), Take: into(v, area)}
}

const inch = 0.0254 // m

// area reads that of a duct.
func area(text string) (float64, error) {
	digits, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	v, err := number(digits)
	if err != nil {
		return 0, err
	}
	switch strings.ReplaceAll(strings.TrimSuffix(strings.TrimSpace(unit), "."), " ", "") {
	case "sqin", "in2":
		return v * inch * inch, nil
	case "m2", "m²":
		return v, nil
	}
	return 0, fmt.Errorf("%q has no unit of area; write it like \"180 sq in\" or \"0.116 m2\"", text)
}
