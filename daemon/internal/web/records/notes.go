package records

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/units"
	"fluewright/daemon/internal/upkeep"
)

const notesAPage = 50

type notesView struct {
	Trouble     string
	Wrong, Done string
	Notes       []noteView
	Older       string
	Newest      bool
	Closed      bool // nothing can be written
	Form        noteForm
	Mass        string // the unit of wood
	Ways        []moistureWay
}

type noteView struct{ When, By, What, Text string }

// noteForm is what was typed.
type noteForm struct{ Kind, Wood, Mass, Moisture, Way, Text string }

// moistureWay is how the moisture of wood was found out. Meters and scales give the water's
// share of the dry mass, and the monitor reckons with that of the whole.
type moistureWay struct {
	Value, Name, Note string
	dry               bool
	Here              bool
}

var moistureWays = []moistureWay{
	{Value: "meter", Name: "meter, on a freshly split face (% of the dry mass)", Note: "by meter on a freshly split face, of the dry mass", dry: true},
	{Value: "outside", Name: "meter, on the outside (% of the dry mass; reads too dry)", Note: "by meter on the outside, which reads too dry, of the dry mass", dry: true},
	{Value: "oven", Name: "dried and weighed (% of the whole mass)", Note: "dried and weighed, of the whole mass"},
	{Value: "guess", Name: "estimated (% of the whole mass)", Note: "estimated, of the whole mass"},
}

// kilogramsPerPound is exact.
const kilogramsPerPound = 0.45359237

func (p *Pages) serveNotes(w http.ResponseWriter, r *http.Request) {
	v := notesView{}
	if r.URL.Query().Get("done") != "" {
		v.Done = "It is on record."
	}
	p.showNotes(w, r, http.StatusOK, v)
}

func (p *Pages) showNotes(w http.ResponseWriter, r *http.Request, code int, v notesView) {
	ctx, cancel := within(r)
	defer cancel()
	before := cursor(r)
	v.Newest, v.Closed, v.Mass = before == 0, p.o.Actions == nil || p.o.Log == nil, "kg"
	if p.o.Units == units.US {
		v.Mass = "lb"
	}
	for _, way := range moistureWays {
		way.Here = way.Value == v.Form.Way
		v.Ways = append(v.Ways, way)
	}
	if p.o.Log == nil {
		v.Trouble = nothing
		p.serve(w, r, p.notes, code, "Notes", v)
		return
	}
	page, err := trend.NoteLog(ctx, p.o.Log, before, notesAPage)
	if err != nil {
		v.Trouble = p.trouble(r, err)
	}
	v.Older = older("/notes", page.Older)
	for i := range page.Notes {
		v.Notes = append(v.Notes, p.noteView(&page.Notes[i]))
	}
	p.serve(w, r, p.notes, code, "Notes", v)
}

func (p *Pages) noteView(n *trend.NoteEntry) noteView {
	v := noteView{When: p.stamp(n.Time, n.Sure), By: n.By, Text: n.Text}
	switch n.Kind {
	case "fuel":
		var parts []string
		if n.Wood != "" {
			parts = append(parts, n.Wood)
		}
		if n.Kilograms != nil {
			parts = append(parts, p.mass(*n.Kilograms))
		}
		if n.Moisture != nil {
			parts = append(parts, fmt.Sprintf("moisture %.0f %% of the whole mass", *n.Moisture*100))
		}
		v.What = "Fuel: " + cmp.Or(strings.Join(parts, ", "), "no more was said")
	case "calibration":
		v.What, v.Text = "Calibration", n.Text
	case "commissioning":
		v.What = "Commissioning"
	default:
		if job, text, ok := upkeep.Of(n.Text); ok {
			v.What, v.Text = "Done: "+job, text
		}
	}
	return v
}

func (p *Pages) mass(kilograms float64) string {
	if p.o.Units == units.US {
		return fmt.Sprintf("%.0f lb", kilograms/kilogramsPerPound)
	}
	return fmt.Sprintf("%.0f kg", kilograms)
}

func (p *Pages) takeNote(w http.ResponseWriter, r *http.Request) {
	if !form(w, r) {
		return
	}
	f := noteForm{
		Kind: r.PostFormValue("kind"), Wood: line(r.PostFormValue("wood")), Mass: r.PostFormValue("mass"),
		Moisture: r.PostFormValue("moisture"), Way: r.PostFormValue("way"), Text: line(r.PostFormValue("text")),
	}
	e, err := p.entryOf(f)
	code := http.StatusUnprocessableEntity
	words := ""
	switch {
	case err != nil:
		words = "Not taken: " + err.Error() + "."
	case p.o.Actions == nil:
		words = "Nothing can be written here."
	default:
		if err = p.o.Actions.Note(r.Context(), access.Of(r.Context()).Name, e); err == nil {
			back(w, r, "/notes")
			return
		}
		words, code = p.refusal(r, err)
	}
	p.showNotes(w, r, code, notesView{Wrong: words, Form: f})
}

// line makes one line of what was typed into a field of several.
func line(s string) string { return strings.Join(strings.Fields(s), " ") }

// entryOf makes an entry of the log of a form, or says in words what is wrong with it.
func (p *Pages) entryOf(f noteForm) (e command.Entry, err error) {
	e.Kind, e.Text = f.Kind, f.Text
	switch f.Kind {
	case "fuel":
		e.Wood = f.Wood
		if e.Kilograms, err = field(f.Mass, "the amount of wood"); err != nil {
			return e, err
		}
		if e.Kilograms != nil && p.o.Units == units.US {
			kg := *e.Kilograms * kilogramsPerPound
			e.Kilograms = &kg
		}
		if err := moisture(&e, f); err != nil {
			return e, err
		}
		if e.Wood == "" && e.Kilograms == nil && e.Moisture == nil && e.Text == "" {
			return e, errors.New("say something of the wood")
		}
	case "other":
		// What begins like a job that was done must not pass for one.
		if _, _, ok := upkeep.Of(e.Text); ok {
			e.Text = "note: " + e.Text
		}
	default:
		return e, errors.New("choose what the note is about")
	}
	return e, nil
}

// moisture reads a percentage and turns it into the water's share of the whole mass.
func moisture(e *command.Entry, f noteForm) error {
	percent, err := field(f.Moisture, "the moisture")
	if err != nil || percent == nil {
		return err
	}
	for _, way := range moistureWays {
		if way.Value != f.Way {
			continue
		}
		share := *percent / 100
		note := fmt.Sprintf("moisture %s %%, %s", strings.TrimSpace(strings.TrimSuffix(f.Moisture, "%")), way.Note)
		if way.dry {
			share /= 1 + share
		}
		if share >= 0.8 || share < 0 {
			return fmt.Errorf("moisture of %s %% is not that of wood", f.Moisture)
		}
		e.Moisture, e.Text = &share, strings.TrimPrefix(e.Text+"; "+note, "; ")
		return nil
	}
	return errors.New("say how the moisture was found out: the ways differ by half")
}

// field reads a number that may be missing.
func field(text, what string) (*float64, error) {
	text = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "%"))
	if text == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return nil, fmt.Errorf("%s is not a number", what)
	}
	return &v, nil
}
