package commissionpage

import (
	"fmt"
	"hash/fnv"
	"net/http"
	"slices"
	"strings"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/verdict"
)

// view is the page as the template takes it.
type view struct {
	commission.View
	Under bool // a commissioning is under way
	May   bool // this person may go on with it
	Here  access.Person

	Number, Of int // which step it is
	Season     bool
	On         string // what is asked, for forms: see on
	Live       live
	Form       []field
	Ready, Set bool // there is a button, and a mark beside it
	Mark       string
	Found      []line // in this step
	Steps      []step
	Over       bool // nothing is left but to keep the report
	Wrong      string
	Look       bool // somebody has to look and say that there is no fire
	Reason     string
	Test       *testView
	Past       []pastView
	PastErr    string
}

type (
	line struct{ Sign, Text, Advice, Class string }

	step struct {
		Number                        int
		Title, Outcome, Class, Reason string
		ID                            commissioning.Step
		Here, Asked, MayRepeat        bool
		Lines                         []line
	}

	// field is a question of a form with what was typed.
	field struct {
		Key, Text, Value, Wrong string
		Choices                 []choice
	}

	choice struct {
		Value, Words string
		Here         bool
	}
)

// refused is what was not taken, and what was typed.
type refused struct {
	words  string
	look   bool
	reason string
	mark   string
	typed  map[string]string // by field
	wrong  map[string]string
	form   bool // it was a form's
}

// live is what changes from second to second.
type live struct {
	Mark            string // changes when the page has to be loaded again
	AsOf            string
	Level, Headline string
	Action          string
	Silent          string
	Big, Rest       []commission.Reading // of Big, one without a value is not read
	Bar             *bar
	Running         bool
	Doing           string
	Pictures        []commission.Picture
}

// procedure returns what is under way.
func (p *Pages) procedure() (commission.View, bool) {
	if p.o.Desk == nil {
		return commission.View{}, false
	}
	return p.o.Desk.View()
}

func (p *Pages) view(r *http.Request, wrong refused) *view {
	v := &view{Here: access.Of(r.Context()), Wrong: wrong.words}
	v.May = v.Here.May(access.Commission) && p.o.Desk != nil
	v.View, v.Under = p.procedure()
	v.Live = p.liveOf(v.View, v.Under)
	if !v.Under {
		v.First = commission.First
		if p.o.Desk != nil {
			_, err := p.o.Desk.Last()
			v.Season = err == nil
		}
		v.Past, v.PastErr = p.past(r)
		return v
	}
	v.On, v.Over = on(&v.View), v.Task == commissioning.Done
	for _, s := range v.View.Steps {
		one := step{
			Title: s.Title, Outcome: s.Outcome, Reason: s.Reason, ID: s.Step, Here: s.Step == v.Now && !v.Over,
			Asked: s.Outcome != commissioning.NotAsked.String(), Class: strings.ReplaceAll(s.Outcome, " ", "-"), Lines: lines(s.Lines),
		}
		if one.Asked {
			v.Of++
			one.Number = v.Of
		}
		begun := s.Outcome != commissioning.NotDone.String() || len(s.Lines) > 0 || s.Step == v.Now && v.Running
		one.MayRepeat = v.May && one.Asked && begun
		if one.Here {
			v.Number, v.Found = one.Number, one.Lines
			if s.Outcome == commissioning.NotDone.String() {
				one.Outcome = "now"
			}
		}
		v.Steps = append(v.Steps, one)
	}
	if !v.May {
		return v
	}
	if v.Asks == "give" {
		_, fields := commission.Forms(v.Task, p.o.Desk.Site(), p.o.Units)
		v.Form = form(fields, wrong)
	}
	v.Ready, v.Set = v.Asks == "ready", v.Asks == "ready" && v.View.Mark != 0
	v.Mark, v.Reason, v.Look = fmt.Sprintf("%g", v.View.Mark), wrong.reason, wrong.look
	if wrong.mark != "" {
		v.Mark = wrong.mark
	}
	if v.Task == commissioning.TestAlarm {
		v.Test = p.test.view()
	}
	return v
}

func lines(all []commission.Line) (out []line) {
	for _, l := range all {
		out = append(out, line{commission.Sign(l.Grade), l.Text, l.Advice, gradeClasses[l.Grade]})
	}
	return out
}

var gradeClasses = map[commissioning.Grade]string{
	commissioning.Good: "good", commissioning.Caution: "caution", commissioning.Bad: "bad", commissioning.Stop: "bad",
}

// form lays out fields, with what was typed where that was not taken.
func form(fields []commission.Field, wrong refused) (all []field) {
	for i := range fields {
		f := &fields[i]
		one := field{Key: f.Key, Text: f.Text, Value: f.Value}
		if wrong.form {
			one.Value, one.Wrong = wrong.typed[f.Key], wrong.wrong[f.Key]
		}
		for _, c := range f.Choices {
			one.Choices = append(one.Choices, choice{c, commission.Choice(c), c == one.Value})
		}
		all = append(all, one)
	}
	return all
}

// on tells what is asked from whatever else may be: the same task is asked for each probe
// and each mark. Forms carry it, so that a page that is old is refused.
func on(v *commission.View) string {
	sum := fnv.New64a()
	fmt.Fprint(sum, v.Now, v.Task, v.Do)
	return fmt.Sprintf("%x", sum.Sum64())
}

// moved changes when a page that is open has to be loaded again.
func moved(v *commission.View) string {
	sum := fnv.New64a()
	fmt.Fprint(sum, on(v), v.Running, v.Steps)
	return fmt.Sprintf("%x", sum.Sum64())
}

func (p *Pages) live() live {
	v, under := p.procedure()
	return p.liveOf(v, under)
}

// liveOf lays out the readings. What is old is not shown as if it were of now.
func (p *Pages) liveOf(v commission.View, under bool) live {
	latest, silence := p.o.Feed.Latest(), p.silence()
	said := p.o.Verdict.Judge(latest, silence)
	l := live{Level: said.Level.String(), Headline: said.Headline, Action: said.Action, Mark: "none"}
	if latest != nil {
		l.AsOf = latest.Wall.Format("15:04:05")
	}
	if !under {
		return l
	}
	l.Mark, l.Running, l.Doing, l.Pictures = moved(&v), v.Running, v.Doing, v.Pictures
	if v.Task == commissioning.TestAlarm && p.test.waits() {
		l.Mark += "-test"
	}
	if silence > 0 {
		l.Silent = "Nothing has been read for " + verdict.Ago(silence) + "."
		return l
	}
	for _, name := range []string{"draft", "flue"} {
		i := slices.IndexFunc(v.Live, func(r commission.Reading) bool { return r.Name == name })
		if i < 0 {
			l.Big = append(l.Big, commission.Reading{Name: name}) // not read
			continue
		}
		l.Big = append(l.Big, v.Live[i])
	}
	for _, reading := range v.Live {
		if reading.Name != "draft" && reading.Name != "flue" {
			l.Rest = append(l.Rest, reading)
		}
	}
	if v.Gauge.Shown {
		l.Bar = draw(v.Gauge)
	}
	return l
}

// bar is the draft beside its band, in the drawing's 320 units of width.
type bar struct {
	Low, Width, High, Pointer float64
	Label, LowText, HighText  string
}

// draw places the draft on a scale from a third of the upper limit below zero to twice it.
func draw(g commission.Gauge) *bar {
	from, to := -g.High/3, 2*g.High
	x := func(v float64) float64 { return min(max(320*(v-from)/(to-from), 4), 316) }
	if !(to > from) {
		return nil
	}
	return &bar{
		Low: x(g.Low), High: x(g.High), Width: x(g.High) - x(g.Low), Pointer: x(g.Draft), LowText: g.LowText, HighText: g.HighText,
		Label: "Draft " + g.Value + "; specified " + g.LowText + " to " + g.HighText,
	}
}
