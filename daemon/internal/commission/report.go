package commission

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/units"
)

//go:embed report.html
var reportFile embed.FS

var report = template.Must(template.ParseFS(reportFile, "report.html"))

// page is the report as the template takes it: words only.
type page struct {
	Title, Site, Number, Made, Clock, First, Verdict, Class string
	Installer, Owner, SHA256, Software, Before              string
	Demo                                                    bool
	Cautions, Changes                                       []row
	Steps                                                   []stepRow
	Data, Checks                                            []pair
	Instruments                                             []Instrument
	Pictures                                                []template.HTML
}

type (
	row struct{ Step, Text, Advice, Class string }

	stepRow struct {
		Title, Outcome, Reason, None string
		Lines                        []row
	}

	pair struct{ Name, Value string }
)

// WriteHTML writes the record as one page that needs nothing else and prints to one or two
// sheets of A4 or Letter. Times are in the zone, quantities in the record's units.
func (r Record) WriteHTML(w io.Writer, zone *time.Location) error {
	u, s := r.Units, &r.State
	p := page{
		Title: "Commissioning report", Site: r.Site, Number: r.Number, Made: r.Made.In(zone).Format("2 January 2006, 15:04 MST"),
		First: First, Verdict: string(r.Verdict), Class: r.Verdict.class(), Demo: r.Demo,
		Installer: s.Given.People.Installer, Owner: s.Given.People.Owner, SHA256: r.SHA256, Software: r.Software,
		Data: siteData(s, u), Checks: looked(s), Instruments: r.Instruments,
	}
	if !r.ClockTrusted {
		p.Clock = "the clock was not known to be right"
	}
	if r.Verdict == PassCorrected {
		p.Verdict += fmt.Sprintf(": from %s to %s", mark(s.Site.Regulator.Mark), mark(s.Mark))
	}
	if s.Season {
		p.Title = "Season start"
	}
	if r.Compare != nil {
		p.Before = r.Compare.Number
		for _, l := range r.Compare.Lines(u) {
			p.Changes = append(p.Changes, row{"", l.Text, l.Advice, class(l.Grade)})
		}
	}
	for _, step := range Look(s, u).Steps {
		sr := stepRow{Title: step.Title, Outcome: step.Outcome, Reason: step.Reason, None: "Nothing to note."}
		if step.Outcome == commissioning.NotDone.String() {
			sr.None = "It was not done."
		}
		for _, l := range step.Lines {
			sr.Lines = append(sr.Lines, row{"", l.Text, l.Advice, class(l.Grade)})
			if l.Grade >= commissioning.Caution {
				p.Cautions = append(p.Cautions, row{step.Title, l.Text, l.Advice, class(l.Grade)})
			}
		}
		p.Steps = append(p.Steps, sr)
	}
	p.draw(s, u)
	var out bytes.Buffer
	if err := report.ExecuteTemplate(&out, "report", p); err != nil {
		return fmt.Errorf("write report: %w", err)
	}
	if _, err := out.WriteTo(w); err != nil {
		return fmt.Errorf("write report: %w", err)
	}
	return nil
}

func (v Verdict) class() string {
	switch v {
	case Pass, PassCorrected:
		return "good"
	case PassCautions, NotComplete:
		return "caution"
	}
	return "bad"
}

func class(g commissioning.Grade) string {
	switch {
	case g >= commissioning.Bad:
		return "bad"
	case g == commissioning.Caution:
		return "caution"
	}
	return ""
}

// fewest minutes make a picture.
const fewest = 3

// draw adds the pictures of the fire and of the regulator's fit, as far as there is
// something to show. They are made here, with all text escaped.
func (p *page) draw(s *commissioning.State, u units.System) {
	if len(s.Numbers.Fire) >= fewest {
		p.Pictures = append(p.Pictures, template.HTML(fire(s, u)))
	}
	if s.Numbers.Fitted {
		p.Pictures = append(p.Pictures, template.HTML(fitted(s, u)))
	}
}

// siteData lists what was entered.
func siteData(s *commissioning.State, u units.System) []pair {
	d := &s.Site
	place := "inside the house"
	if d.Outside {
		place = "outside the house"
	}
	all := []pair{
		{"Draft specified", u.Pressure(d.DraftLow) + " to " + u.Pressure(d.DraftHigh)},
		{"Chimney", fmt.Sprintf("%s, %s, %s high, %s wide", d.Construction, place, u.Length(d.Height), bore(d.Diameter, u))},
		{"Termination", fmt.Sprintf("%s above the roof, %s above what is near", u.Length(d.AboveRoof), u.Length(d.AboveNear))},
	}
	if d.ConnectorLength > 0 {
		all = append(all, pair{"Connector", fmt.Sprintf("%s long, rises %s, %d elbows", u.Length(d.ConnectorLength), u.Length(d.ConnectorRise), d.Elbows)})
	}
	if r := d.Regulator; r.Fitted {
		all = append(all, pair{"Regulator", fmt.Sprintf("scale %s to %s, found at %s, left at %s", mark(r.Scale.Low), mark(r.Scale.High), mark(r.Mark), mark(s.Mark))})
	} else {
		all = append(all, pair{"Regulator", "none"})
	}
	if d.Heat > 0 {
		all = append(all, pair{"Rated output", u.Power(d.Heat)})
	}
	if d.DuctArea > 0 {
		all = append(all, pair{"Supply ducts", amount(commissioning.SquareMetres, d.DuctArea, u) + " free"})
	}
	if d.Moisture > 0 {
		all = append(all, pair{"Wood", fmt.Sprintf("%.0f %% moisture (dry basis)", 100*d.Moisture)})
	}
	all = append(all, pair{"Altitude", u.Length(d.Altitude)})
	if s.Air.Measured {
		all = append(all, pair{"Outdoors", u.Temperature(s.Air.Outdoor) + ", measured"})
	} else {
		all = append(all, pair{"Outdoors", u.Temperature(d.Outdoor) + ", as entered"})
	}
	if l := s.Given.Limits; l.FanOn > 0 {
		all = append(all, pair{"Fan", u.Temperature(l.FanOn) + " on, " + u.Temperature(l.FanOff) + " off"})
	}
	return all
}

func bore(d float64, u units.System) string {
	if u == units.SI {
		return fmt.Sprintf("%.0f mm", 1000*d)
	}
	return fmt.Sprintf("%.1f in.", d/0.0254)
}

var answers = [...]string{"not answered", "yes", "no", "does not apply"}

// looked lists the checks by eye, once they were answered.
func looked(s *commissioning.State) []pair {
	if s.Given.Checks == ([commissioning.Checks]commissioning.Seen{}) {
		return nil
	}
	var all []pair
	for c, a := range s.Given.Checks {
		all = append(all, pair{Check(commissioning.Check(c)), answers[min(int(a), len(answers)-1)]})
	}
	return all
}
