package equipment

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/instruments"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/verdict"
)

type sensorsView struct {
	Empty   string
	Silent  string
	Supply  string
	Low     bool
	Sensors []sensorView
}

type sensorView struct {
	Name, Where, Health, Class string
	Hint                       string // what to look at first
	Facts                      []fact
	Readings                   []readingView
	Faults                     []faultView
}

type fact struct{ Name, Value string }

type readingView struct {
	Channel, Value, Quality, Hint, Scatter string
	Missing                                bool
}

type faultView struct{ Count, Title, Part, Hint string }

// patience is how long the page waits for the history.
const patience = 3 * time.Second

func (p *Pages) serveSensors(w http.ResponseWriter, r *http.Request) {
	p.serve(w, r, p.sensors, "Sensors", p.sensorsView(r))
}

func (p *Pages) sensorsView(r *http.Request) sensorsView {
	s := p.o.Feed.Latest()
	if s == nil {
		return sensorsView{Empty: "Nothing has been read yet: the monitor has just started."}
	}
	silence := time.Duration(0)
	if age, ok := p.o.Feed.Age(); ok && age > p.o.StaleAfter {
		silence = age
	}
	report := instruments.Of(s, p.scatter(r, s.Wall), silence)
	v := sensorsView{}
	if silence > 0 {
		v.Silent = "Nothing has been read for " + verdict.Ago(silence) + ". What follows is as it was then."
	}
	v.Supply, v.Low = p.supply(&report.Supply)
	for i := range report.Instruments {
		v.Sensors = append(v.Sensors, p.sensorView(&report.Instruments[i]))
	}
	if v.Sensors == nil {
		v.Empty = "No sensor is configured."
	}
	return v
}

// scatter reads the last minutes; where that cannot be, there is none.
func (p *Pages) scatter(r *http.Request, now time.Time) [frame.Count]float64 {
	var none [frame.Count]float64
	for c := range none {
		none[c] = math.NaN()
	}
	if p.o.Rows == nil {
		return none
	}
	ctx, cancel := context.WithTimeout(r.Context(), patience)
	defer cancel()
	all, err := instruments.Scatter(ctx, p.o.Rows, now)
	if err != nil {
		if r.Context().Err() == nil {
			p.o.Errors.Warn("cannot read the last minutes for a page", "path", r.URL.Path, "error", err)
		}
		return none
	}
	return all
}

func trimmed(d time.Duration) string { return fmt.Sprintf("%d min", int(d.Minutes())) }

func (p *Pages) supply(s *instruments.Supply) (words string, low bool) {
	switch {
	case !s.Watched:
		return "Whether the board's supply holds is not known: the board does not tell.", false
	case s.Low:
		return fmt.Sprintf("The board's supply is too low now; it has dipped %d times since the start. Use a stronger power supply and a short, thick cable.", s.Dips), true
	case s.Dips > 0 && s.LastDip != nil:
		return fmt.Sprintf("The board's supply has dipped %d times since the start, last %s: chips forget their settings in a dip. Use a stronger power supply and a short, thick cable.", s.Dips, p.long(*s.LastDip)), true
	}
	return "The board's supply has held since the start.", false
}

func (p *Pages) sensorView(in *instruments.Instrument) sensorView {
	v := sensorView{Name: in.Name, Where: in.Chip + " on " + in.Bus, Class: "up"}
	if in.Address != "" {
		v.Where += ", address " + in.Address
	}
	switch {
	case in.Up:
		v.Health = "The last look gave a reading."
	case in.Fault != nil:
		v.Class, v.Health, v.Hint = "down", "No reading: "+in.Fault.Title, in.Fault.Hint
		if in.Fault.Detail != "" {
			v.Health += " (" + in.Fault.Detail + ")"
		}
		v.Health += ". The fault lies in the " + in.Fault.Part + "."
	case in.LastGood == nil:
		v.Class, v.Health = "down", "It has not been read yet."
	default:
		v.Class, v.Health = "down", "The last look gave no reading."
	}
	v.Facts = p.facts(in)
	for i := range in.Readings {
		one := p.readingView(&in.Readings[i])
		if one.Hint == v.Hint {
			one.Hint = "" // it is said of the chip
		}
		v.Readings = append(v.Readings, one)
		scatter := "Scatter from reading to reading, last " + trimmed(instruments.ScatterSpan)
		if len(in.Readings) > 1 {
			scatter += ", of " + one.Channel
		}
		v.Facts = append(v.Facts, fact{scatter, one.Scatter})
	}
	for _, f := range in.Faults {
		v.Faults = append(v.Faults, faultView{fmt.Sprint(f.Count), f.Title, f.Part, f.Hint})
	}
	return v
}

func (p *Pages) facts(in *instruments.Instrument) (all []fact) {
	add := func(name, value string) { all = append(all, fact{name, value}) }
	if in.LastGood != nil {
		add("Last good", fmt.Sprintf("%s ago, %s", verdict.Ago(time.Duration(*in.Age*float64(time.Second))), p.long(*in.LastGood)))
	} else {
		add("Last good", "never since the start")
	}
	add("Looks that gave a reading", fmt.Sprint(in.Samples))
	add("A look lasts", fmt.Sprintf("%.1f ms", in.Took*1000))
	if in.ColdJunction != nil {
		add("Terminals of the amplifier", p.o.Units.Temperature(*in.ColdJunction))
	}
	if in.Raw != "" {
		add("Raw words", "0x"+in.Raw)
	}
	if in.Serial != "" {
		add("Serial number", in.Serial)
	}
	if in.Former != "" {
		add("Replaced, while the program ran", in.Former)
	}
	for _, c := range []struct {
		name string
		n    uint64
	}{{"Spikes withheld", in.Spikes}, {"Looks at a frozen value", in.Frozen}, {"Jumps of the terminals", in.Jumps}, {"Readings whose lag was not undone in full", in.Lag}} {
		if c.n > 0 {
			add(c.name, fmt.Sprint(c.n))
		}
	}
	switch {
	case in.Calibration == nil:
		add("Calibration", "none: as the chip says")
	case in.Refused != "":
		add("Calibration", "not used: "+in.Refused)
	default:
		add("Calibration", p.calibration(in.Calibration))
	}
	return all
}

func (p *Pages) calibration(e *calibrate.Entry) string {
	amount := p.o.Units.TemperatureDifference
	if e.Channel == frame.Draft.String() {
		amount = p.o.Units.Pressure
	}
	text := string(e.Method) + " of " + e.Time.In(p.o.Zone).Format("2 Jan 2006") + ": offset " + amount(e.Offset) + " ± " + amount(e.Uncertainty)
	if e.Gain != 1 {
		text += fmt.Sprintf(", gain %.4f", e.Gain)
	}
	if !e.ClockTrusted {
		text += " (the clock was not synchronised then)"
	}
	return text
}

func (p *Pages) readingView(r *instruments.Reading) readingView {
	value := p.o.Units.Temperature
	switch {
	case r.Channel == frame.Ambient.String():
		value = p.o.Units.AbsolutePressure
	case r.Unit == "pascals":
		value = p.o.Units.Pressure
	}
	v := readingView{Channel: r.Channel, Value: "no reading", Quality: r.Quality, Hint: r.Hint, Missing: r.Value == nil, Scatter: "too few readings to tell"}
	if r.Value != nil {
		v.Value = value(*r.Value)
	}
	if r.Why != "" {
		v.Quality += ": " + r.Why
	}
	if r.Scatter != nil {
		v.Scatter = p.fine(*r.Scatter, r.Unit == "pascals")
	}
	return v
}

// fine writes a scatter with the digits that the usual figures leave out.
func (p *Pages) fine(v float64, pressure bool) string {
	us := p.o.Units == units.US
	switch {
	case v == 0:
		return "less than what is kept can show"
	case pressure && us:
		return fmt.Sprintf("%.4f in. w.c.", v/units.PascalsPerInH2O)
	case pressure:
		return fmt.Sprintf("%.2f Pa", v)
	case us:
		return fmt.Sprintf("%.2f °F", v*9/5)
	}
	return fmt.Sprintf("%.2f °C", v)
}
