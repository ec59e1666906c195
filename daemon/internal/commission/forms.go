package commission

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

// ask asks until what was typed can be read; Enter takes what stands in brackets. Words of
// help lead out of a form.
func (t *Talk) ask(ctx context.Context, question, def string, take func(string) error) error {
	for {
		line, err := t.line(ctx, fmt.Sprintf("  %s [%s]", question, def))
		if err != nil {
			return err
		}
		if word, _, _ := strings.Cut(line, " "); word == "quit" || word == "report" || word == "skip" {
			return &command{line}
		}
		if line == "" {
			line = def
		}
		if err := take(line); err != nil {
			t.say("  %v", err)
			continue
		}
		return nil
	}
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

func percent(text string) (float64, error) {
	v, err := number(strings.TrimSuffix(strings.TrimSpace(strings.TrimSuffix(text, "%")), " "))
	return v / 100, err
}

// area reads that of a duct.
func area(text string) (float64, error) {
	digits, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	v, err := number(digits)
	if err != nil {
		return 0, err
	}
	switch strings.ReplaceAll(strings.TrimSuffix(strings.TrimSpace(unit), "."), " ", "") {
	case "sqin", "in2":
		return v * 0.0254 * 0.0254, nil
	case "m2", "m²":
		return v, nil
	}
	return 0, fmt.Errorf("%q has no unit of area; write \"180 sq in\" or \"0.116 m2\"", text)
}

func yes(field *bool) func(string) error {
	return func(text string) error {
		switch strings.ToLower(text) {
		case "y", "yes":
			*field = true
		case "n", "no":
			*field = false
		default:
			return fmt.Errorf("%q: type y or n", text)
		}
		return nil
	}
}

func yesNo(b bool) string {
	if b {
		return "y"
	}
	return "n"
}

// Texts of quantities as the units package reads them.
func (t *Talk) pressure(v float64) string {
	if t.Units == units.SI {
		return fmt.Sprintf("%.4g Pa", v)
	}
	return fmt.Sprintf("%.4g inH2O", v/units.PascalsPerInH2O)
}

func (t *Talk) length(v float64) string {
	if t.Units == units.SI {
		return fmt.Sprintf("%.4g m", v)
	}
	return fmt.Sprintf("%.4g ft", v/units.MetresPerFoot)
}

func (t *Talk) small(v float64) string {
	if t.Units == units.SI {
		return fmt.Sprintf("%.4g mm", 1000*v)
	}
	return fmt.Sprintf("%.4g in", v/0.0254)
}

func (t *Talk) temperature(v float64) string {
	if t.Units == units.SI {
		return fmt.Sprintf("%.4g degC", v)
	}
	return fmt.Sprintf("%.4g degF", units.Fahrenheit(v))
}

// question is one line of a form.
type question struct {
	text, def string
	take      func(string) error
}

func (t *Talk) all(ctx context.Context, questions []question) error {
	for _, q := range questions {
		if err := t.ask(ctx, q.text, q.def, q.take); err != nil {
			return err
		}
	}
	return nil
}

// site asks for the data of the site.
func (t *Talk) site(ctx context.Context) (commissioning.Entry, error) {
	s := t.Procedure.Site()
	if s.Regulator.Fitted && s.Regulator.Scale.High == 0 {
		s.Regulator.Scale.Low, s.Regulator.Scale.High, s.Regulator.Mark = 1, 7, 3
	}
	elbows := float64(s.Elbows)
	err := t.all(ctx, []question{
		{"Lowest draft that the appliance asks for", t.pressure(s.DraftLow), into(&s.DraftLow, units.ParsePressure)},
		{"Highest draft", t.pressure(s.DraftHigh), into(&s.DraftHigh, units.ParsePressure)},
		{"Chimney: insulated, masonry or single-wall", string(s.Construction), func(text string) error {
			s.Construction = commissioning.Construction(text)
			return nil
		}},
		{"Does it stand outside the house (y/n)", yesNo(s.Outside), yes(&s.Outside)},
		{"Its height above the connector", t.length(s.Height), into(&s.Height, units.ParseLength)},
		{"Its inner diameter", t.small(s.Diameter), into(&s.Diameter, units.ParseLength)},
		{"It ends above the roof by", t.length(s.AboveRoof), into(&s.AboveRoof, units.ParseLength)},
		{"It ends above anything within 10 ft (3 m) by", t.length(s.AboveNear), into(&s.AboveNear, units.ParseLength)},
		{"Length of the connector", t.length(s.ConnectorLength), into(&s.ConnectorLength, units.ParseLength)},
		{"It rises by", t.length(s.ConnectorRise), into(&s.ConnectorRise, units.ParseLength)},
		{"Elbows in it", strconv.Itoa(s.Elbows), into(&elbows, number)},
		{"Is a barometric regulator fitted (y/n)", yesNo(s.Regulator.Fitted), yes(&s.Regulator.Fitted)},
	})
	if err == nil && s.Regulator.Fitted {
		err = t.all(ctx, []question{
			{"First mark of its scale", mark(s.Regulator.Scale.Low), into(&s.Regulator.Scale.Low, number)},
			{"Last mark", mark(s.Regulator.Scale.High), into(&s.Regulator.Scale.High, number)},
			{"The mark that it is set to now", mark(s.Regulator.Mark), into(&s.Regulator.Mark, number)},
			{"Does it hang in another room than the appliance (y/n)", yesNo(s.Regulator.OtherRoom), yes(&s.Regulator.OtherRoom)},
		})
	}
	if err == nil {
		err = t.all(ctx, []question{
			{"Free area of the supply ducts, 0 m2 if not known", fmt.Sprintf("%.4g m2", s.DuctArea), into(&s.DuctArea, area)},
			{"Moisture of the wood on a pin meter in per cent, 0 if not known", fmt.Sprintf("%.0f", 100*s.Moisture), into(&s.Moisture, percent)},
			{"Altitude", t.length(s.Altitude), into(&s.Altitude, units.ParseLength)},
			{"Outdoor temperature, where no sensor reads it", t.temperature(s.Outdoor), into(&s.Outdoor, units.ParseTemperature)},
		})
	}
	s.Elbows = int(max(0, min(99, elbows)))
	return commissioning.Entry{Site: &s}, err
}

// checks asks for what is seen.
func (t *Talk) checks(ctx context.Context) (commissioning.Entry, error) {
	var seen [commissioning.Checks]commissioning.Seen
	for c := range seen {
		choice := "y/n"
		if commissioning.Check(c).Optional() {
			choice = "y/n, x if it does not apply"
		}
		err := t.ask(ctx, Check(commissioning.Check(c)), choice, func(text string) error {
			switch strings.ToLower(text) {
			case "y", "yes":
				seen[c] = commissioning.Yes
			case "n", "no":
				seen[c] = commissioning.No
			case "x":
				seen[c] = commissioning.NotApplicable
			default:
				return fmt.Errorf("type %s", choice)
			}
			return nil
		})
		if err != nil {
			return commissioning.Entry{}, err
		}
	}
	return commissioning.Entry{Checks: &seen}, nil
}

func (t *Talk) limits(ctx context.Context) (commissioning.Entry, error) {
	l := commissioning.LimitEntry{FanOn: 41, FanOff: 33}
	err := t.all(ctx, []question{
		{"The fan comes on at", t.temperature(l.FanOn), into(&l.FanOn, units.ParseTemperature)},
		{"It goes off at", t.temperature(l.FanOff), into(&l.FanOff, units.ParseTemperature)},
		{"Is the high limit control as its maker left it, and untouched", "y/n", yes(&l.Untouched)},
	})
	return commissioning.Entry{Limits: &l}, err
}

func (t *Talk) alarm(ctx context.Context) (commissioning.Entry, error) {
	var a commissioning.AlarmEntry
	err := t.ask(ctx, "Was a test alarm sent (\"fluewright notify --test\" or the page)", "y/n", yes(&a.Sent))
	if err == nil && a.Sent {
		err = t.ask(ctx, "Has the owner acknowledged it on the owner's phone", "y/n", yes(&a.Acknowledged))
	}
	return commissioning.Entry{Alarm: &a}, err
}

func (t *Talk) people(ctx context.Context) (commissioning.Entry, error) {
	var p commissioning.People
	text := func(field *string) func(string) error {
		return func(v string) error { *field = v; return nil }
	}
	err := t.all(ctx, []question{{"Installer", "", text(&p.Installer)}, {"Owner", "", text(&p.Owner)}})
	return commissioning.Entry{People: &p}, err
}
