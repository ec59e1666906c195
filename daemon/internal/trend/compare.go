package trend

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"fluewright/daemon/internal/units"
)

// Comparison is two burns side by side, and what was done between them.
type Comparison struct {
	A Burn `json:"a"`
	B Burn `json:"b"`
	// Rows compare what both have, in the order of the table of burns.
	Rows []Compared `json:"compared"`
	// Between lists what a person or a new program did from the end of the one to the start
	// of the other: notes, calibrations, commissioning, configuration, software.
	Between []Done `json:"between"`
}

// Compared is one quantity of both burns, SI; null where it was not measured.
type Compared struct {
	What   string   `json:"what"`
	A      *float64 `json:"a"`
	B      *float64 `json:"b"`
	Change *float64 `json:"change"` // B less A, where both are there

	write func(units.System, float64) string
	// apart writes a difference.
	apart func(units.System, float64) string
}

// Done is something that was done.
type Done struct {
	Time time.Time `json:"time"`
	What string    `json:"what"`
}

// Compare puts two burns side by side.
func Compare(ctx context.Context, a History, first, second Burn) (Comparison, error) {
	c := Comparison{A: first, B: second, Between: []Done{}}
	for _, q := range quantities {
		r := Compared{What: q.what, A: q.of(&first), B: q.of(&second), write: q.write, apart: q.apart}
		if r.apart == nil {
			r.apart = q.write
		}
		if r.A != nil && r.B != nil {
			d := *r.B - *r.A
			r.Change = &d
		}
		if r.A != nil || r.B != nil {
			c.Rows = append(c.Rows, r)
		}
	}
	w := Window{first.End, second.Start}
	if second.Start.Before(first.Start) {
		w = Window{second.End, first.Start}
	}
	var err error
	c.Between, err = between(ctx, a, w)
	return c, err
}

var quantities = []struct {
	what         string
	of           func(*Burn) *float64
	write, apart func(units.System, float64) string
}{
	{"lasted", func(b *Burn) *float64 { d := b.End.Sub(b.Start).Seconds(); return &d }, length, nil},
	{"loads", func(b *Burn) *float64 { n := float64(b.Loads); return &n }, count, nil},
	{"door openings", func(b *Burn) *float64 { n := float64(b.Doors); return &n }, count, nil},
	{"hottest flue", func(b *Burn) *float64 { return b.PeakFlue }, units.System.Temperature, units.System.TemperatureDifference},
	{"hottest chamber", func(b *Burn) *float64 { return b.PeakChamber }, units.System.Temperature, units.System.TemperatureDifference},
	{"mean draft", func(b *Burn) *float64 { return b.MeanDraft }, units.System.Pressure, nil},
	{"least draft", func(b *Burn) *float64 { return b.LeastDraft }, units.System.Pressure, nil},
	{"most draft", func(b *Burn) *float64 { return b.MostDraft }, units.System.Pressure, nil},
	{"draft above the band", func(b *Burn) *float64 { return &b.DraftAbove }, length, nil},
	{"draft below the band", func(b *Burn) *float64 { return &b.DraftBelow }, length, nil},
	{"lighting", func(b *Burn) *float64 { return &b.Lighting }, length, nil},
	{"warm-up", func(b *Burn) *float64 { return &b.WarmUp }, length, nil},
	{"clean burn", func(b *Burn) *float64 { return &b.CleanBurn }, length, nil},
	{"smoulder", func(b *Burn) *float64 { return &b.Smoulder }, length, nil},
	{"coals", func(b *Burn) *float64 { return &b.Coals }, length, nil},
	{"not seen", func(b *Burn) *float64 { return &b.Unseen }, length, nil},
	{"flue below the dew point", func(b *Burn) *float64 { return b.Condensing }, KelvinHours, nil},
	{"flue cold enough for tar", func(b *Burn) *float64 { return b.Tar }, KelvinHours, nil},
	{"heat to the air", func(b *Burn) *float64 { return b.Heat }, Energy, nil},
}

func length(_ units.System, s float64) string { return signed(s, Lasted(math.Abs(s))) }

func count(_ units.System, n float64) string { return fmt.Sprintf("%.0f", n) }

// signed puts a minus before a text of the amount.
func signed(v float64, text string) string {
	if v < 0 {
		return "-" + text
	}
	return text
}

// KelvinHours writes how far below something how long, K s.
func KelvinHours(u units.System, ks float64) string {
	if u == units.SI {
		return fmt.Sprintf("%.1f K h", ks/3600)
	}
	return fmt.Sprintf("%.1f °F h", ks/3600*9/5)
}

// Energy writes heat, J.
func Energy(u units.System, joules float64) string {
	if u == units.SI {
		return fmt.Sprintf("%.1f kWh", joules/3.6e6)
	}
	return fmt.Sprintf("%.0f Btu", joules/units.JoulesPerBtu)
}

// Texts writes the row in the site's units; what is not there is "–".
func (c *Compared) Texts(u units.System) (a, b, change string) {
	a, b, change = "–", "–", "–"
	if c.A != nil {
		a = c.write(u, *c.A)
	}
	if c.B != nil {
		b = c.write(u, *c.B)
	}
	if c.Change != nil {
		if change = c.apart(u, *c.Change); *c.Change > 0 {
			change = "+" + change
		}
		if c.apart(u, 0) == strings.TrimLeft(change, "+-") {
			change = "same"
		}
	}
	return a, b, change
}

// between finds what was done in a window.
func between(ctx context.Context, a History, w Window) ([]Done, error) {
	all := []Done{}
	if !w.From.Before(w.To) {
		return all, nil
	}
	for _, kind := range []struct {
		table string
		words func(fields) string
	}{
		{"notes", func(f fields) string { return "note by " + f.text("author") + ": " + f.text("note") }},
		{"calibrations", func(f fields) string { return f.text("channel") + " calibrated: " + f.text("method") }},
		{"commissionings", func(fields) string { return "commissioning" }},
	} {
		events, err := a.Events(ctx, kind.table, w.From, w.To)
		if err != nil {
			return nil, err
		}
		for i := range events {
			all = append(all, Done{events[i].At, kind.words(events[i].Fields)})
		}
	}
	boots, err := a.Boots(ctx, w.From, w.To)
	if err != nil {
		return nil, err
	}
	for i := 1; i < len(boots); i++ {
		before, after := &boots[i-1], &boots[i]
		if before.Configuration != after.Configuration {
			all = append(all, Done{after.From, "the configuration changed: " + changed(before.Configuration, after.Configuration)})
		}
		if before.Software != after.Software {
			all = append(all, Done{after.From, "software " + before.Software + " became " + after.Software})
		}
	}
	return all, nil
}

// changed lists the lines of a configuration that are new.
func changed(before, after string) string {
	old := map[string]bool{}
	for line := range strings.Lines(before) {
		old[strings.TrimSpace(line)] = true
	}
	var fresh []string
	for line := range strings.Lines(after) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") && !old[line] {
			fresh = append(fresh, line)
		}
	}
	if fresh == nil {
		return "lines went"
	}
	return strings.Join(fresh, ", ")
}
