package now

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/daemon/internal/verdict"
)

const (
	// spelled is how many groups stand above the readings with all that is known of them;
	// those behind follow below, to be unfolded: whoever is in a burst of alarms has no time.
	spelled = 3
	// mostLines is how many alarms of a group have a line each.
	mostLines = 3
)

// group is alarms of one kind, told together: a cable that breaks takes nine readings.
type group struct {
	ID       string // of the element, the same as long as the alarms are
	Priority string
	Title    string
	Lines    []string // one for each alarm, if there are several, or one for all
	For      string
	Note     string // that it cannot be judged, or was put aside
	Action   string // what to do first; empty where the verdict says it
	Forecast string
	Why      *whyView
	Fold     bool     // action and causes are unfolded by whoever wants them
	Taken    []string // by whom, and when
	Take     []occurrence
}

// occurrence is what an acknowledgement names.
type occurrence struct {
	Alarm, Channel string
	Number         uint32
}

// whyView is why something gets too hot.
type whyView struct {
	Cause    string // a sentence
	Evidence []string
	Advice   string
	Others   []string // causes that are less likely, a sentence each
}

// alarms puts the alarms of a tick into groups, those that nobody has taken first.
func (p *Page) alarms(v *view, s *status.Status, standing []alarm.Status, silence time.Duration) {
	for i, g := range groups(standing) {
		told := p.group(g, s, silence)
		if i == 0 && strings.HasPrefix(v.Action, told.Action) {
			v.Action, told.Action = told.Action, "" // said once; the causes stand with the alarm
		}
		if len(told.Take) > 0 {
			v.Raised += "Alarm: " + told.Title + ". "
			if len(v.Alarms) < spelled {
				v.Alarms = append(v.Alarms, told)
				continue
			}
			told.Fold = true
			v.More = append(v.More, told)
			continue
		}
		told.Fold = true
		v.Taken = append(v.Taken, told)
	}
	v.Over = p.over(s)
}

// groups are the alarms by name and by whether they were taken, in the order of the first of
// each.
func groups(all []alarm.Status) (out [][]alarm.Status) {
	for _, a := range all {
		i := slices.IndexFunc(out, func(g []alarm.Status) bool {
			return g[0].Key.Name == a.Key.Name && open(g[0]) == open(a) && g[0].State == a.State
		})
		if i < 0 {
			out = append(out, nil)
			i = len(out) - 1
		}
		out[i] = append(out[i], a)
	}
	return out
}

// open reports whether a person can take the alarm, and none has.
func open(a alarm.Status) bool { return a.State == alarm.Raised }

func (p *Page) group(all []alarm.Status, s *status.Status, silence time.Duration) group {
	first := all[0]
	g := group{ID: "alarm-" + string(first.Key.Name), Priority: first.Priority.String()}
	var since time.Duration
	var actions []string
	for i, a := range all {
		what, action := p.o.Verdict.Render(a, s)
		g.Lines = append(g.Lines, what)
		action, _, _ = strings.Cut(action, " "+message.Why(s.Assessment.Account(a.Key).Causes))
		if !slices.Contains(actions, action) {
			actions = append(actions, action)
		}
		if a.Blind || silence > 0 {
			g.Note = "; cannot be judged now, so treat it as standing"
		}
		if i == 0 || a.Since < since {
			since = a.Since
		}
		if open(a) {
			g.Take = append(g.Take, named(a))
		} else if a.State == alarm.Acknowledged {
			g.Taken = append(g.Taken, p.taken(a))
			g.ID = "taken-" + string(first.Key.Name)
		}
	}
	if first.State == alarm.Shelved {
		g.Note = "; put aside by " + first.ShelvedBy
		g.ID = "aside-" + string(first.Key.Name)
	}
	g.Taken = slices.Compact(g.Taken)
	g.For = verdict.Ago(s.Frame.At - since + silence)
	g.Title, g.Action = begin(g.Lines[0]), actions[0]
	if n := len(all); n > 1 {
		d, _ := alarm.Declared(first.Key.Name)
		g.Title = fmt.Sprintf("%d × %s", n, d.Title)
		if len(actions) > 1 {
			g.Action = d.Action
		}
		if n > mostLines {
			g.Lines = []string{places(all)}
		}
	} else {
		g.Lines = nil
	}
	account := s.Assessment.Account(first.Key)
	g.Forecast = forecast(account, s)
	if analysis.Explains(first.Key.Name) {
		g.Why = p.why(account.Causes, s)
	}
	return g
}

// begin makes words begin a line.
func begin(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// places names the channels of alarms.
func places(all []alarm.Status) string {
	var names []string
	for _, a := range all {
		names = append(names, a.Key.Channel.String())
	}
	return strings.Join(names, ", ")
}

// named names an occurrence as the form sends it.
func named(a alarm.Status) occurrence {
	o := occurrence{Alarm: string(a.Key.Name), Number: a.Occurrence}
	if a.Key.Channel < frame.Count {
		o.Channel = a.Key.Channel.String()
	}
	return o
}

// taken says who has taken an alarm.
func (p *Page) taken(a alarm.Status) string {
	if p.o.Actions != nil {
		if by, at, ok := p.o.Actions.Taker(a.Key, a.Occurrence); ok {
			if by == "" {
				by = "somebody"
			}
			return fmt.Sprintf("Acknowledged by %s at %s.", by, at.Format("15:04"))
		}
	}
	return "Acknowledged."
}

// forecast says when a limit will be passed, where that is expected.
func forecast(a analysis.Account, s *status.Status) string {
	if !a.Passes {
		return ""
	}
	left := a.ExpectedAt - s.Frame.At
	if left < time.Minute {
		return "The limit is expected to be passed within a minute."
	}
	return fmt.Sprintf("The limit is expected to be passed at %s, in about %s.", s.WallOf(a.ExpectedAt).Format("15:04"), verdict.Ago(max(left, 2*time.Minute)))
}

// why puts a ranking of causes into words.
func (p *Page) why(ranking []cause.Cause, s *status.Status) *whyView {
	w := &whyView{Cause: message.Why(ranking)}
	if len(ranking) == 0 {
		return w
	}
	w.Advice = message.CauseAdvice(ranking[0].Code)
	for i, line := range message.Causes(ranking, s.WallOf, p.o.Units) {
		if i == 0 {
			w.Evidence = line.Evidence
			continue
		}
		w.Others = append(w.Others, message.Why(ranking[i:i+1]))
	}
	return w
}

// over is what is over and nobody has taken note of.
func (p *Page) over(s *status.Status) *group {
	var g group
	for _, a := range s.Assessment.Alarms {
		if a.State == alarm.Returned {
			what, _ := p.o.Verdict.Render(a, s)
			g.Lines = append(g.Lines, fmt.Sprintf("%s, since %s", begin(what), s.WallOf(a.Since).Format("15:04")))
			g.Take = append(g.Take, named(a))
		}
	}
	if g.Lines == nil {
		return nil
	}
	return &g
}
