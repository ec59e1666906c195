package records

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"fluewright/analysis/cause"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/standing"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/verdict"
)

const (
	alarmsAPage = 40
	// figuresOver is the window of the figures.
	figuresOver = 30 * 24 * time.Hour
)

type alarmsView struct {
	Trouble  string
	Blind    string // nothing is read: what stands is as it was
	Unknown  bool   // nothing has been read at all
	Standing []standingView
	Over     []standingView // and nobody has taken it
	Rest     []restView
	Log      []entryView
	Older    string
	Newest   bool
	Figures  *figuresView
	Declared []declaredView
}

// standingView is an alarm that stands.
type standingView struct {
	Name, Priority, Message, Action, State, For, Since string
	// Form: what acknowledging it says; Open says that nobody has.
	Alarm, Channel string
	Occurrence     uint32
	Open           bool
	Taken          string
	Causes         []causeView
}

type restView struct{ Name, State string }

// entryView is an entry of the log.
type entryView struct {
	Name, Priority, Message, When string
	Causes                        []causeView
}

type causeView struct {
	What, Weight string
	Evidence     []string
}

type declaredView struct {
	Name, Priority, Title, Consequence, Action string
	Respond, Hold, Clear, Needs                string
	Not                                        []string
}

func (p *Pages) serveAlarms(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := within(r)
	defer cancel()
	before := cursor(r)
	v := alarmsView{Newest: before == 0}
	if v.Newest {
		p.standing(&v)
		v.Declared = p.declared()
	}
	if p.o.Log == nil {
		v.Trouble = nothing
	} else if err := p.log(ctx, &v, before); err != nil {
		v.Trouble = p.trouble(r, err)
	}
	p.serve(w, r, p.alarms, http.StatusOK, "Alarms", v)
}

// standing lists how the alarms are now.
func (p *Pages) standing(v *alarmsView) {
	s := p.o.Feed.Latest()
	if s == nil {
		v.Unknown = true
		return
	}
	silence := p.silence()
	if silence > 0 {
		v.Blind = "Nothing has been read for " + verdict.Ago(silence) + ". What follows is as it was then."
	}
	stand, rest := standing.Now(s, p.o.Verdict, p.o.Units, silence)
	said := map[string]string{} // by what to do, the alarm that it was first said of
	for i := range stand {
		v.Standing = append(v.Standing, p.standingView(&stand[i], said))
	}
	for i := range rest {
		if a := &rest[i]; a.State == "cleared" && !a.Acknowledged {
			v.Over = append(v.Over, p.standingView(a, said))
			continue
		}
		v.Rest = append(v.Rest, restView{verdict.Name(rest[i].Key), state(&rest[i])})
	}
}

func (p *Pages) standingView(a *standing.Alarm, said map[string]string) standingView {
	v := standingView{
		Name: verdict.Name(a.Key), Priority: a.Priority, Message: a.Message, Action: a.Action, State: state(a),
		For: verdict.Ago(seconds(a.Lasted)), Since: p.long(a.Since), Causes: causes(a.Causes),
		Alarm: a.Alarm, Channel: a.Channel, Occurrence: a.Occurrence, Open: !a.Acknowledged && a.State != "shelved",
	}
	// In a burst the same is to be done for many: it is said once.
	if first := said[a.Action]; a.Action != "" && first != "" {
		v.Action = "as for " + first + ", above."
	} else {
		said[a.Action] = v.Name
	}
	if a.Acknowledged {
		v.Taken = "Acknowledged; who did is not known."
		if p.o.Taker != nil {
			if by, at, ok := p.o.Taker(a.Key, a.Occurrence); ok {
				v.Taken = "Acknowledged by " + cmp.Or(by, "somebody without a name") + ", " + p.long(at) + "."
			}
		}
	}
	return v
}

// state words how an alarm stands, so that "normal" is never said of one that cannot be
// judged.
func state(a *standing.Alarm) string {
	switch {
	case a.State == "unjudged":
		return "not judged yet"
	case a.State == "shelved":
		return "shelved by " + a.ShelvedBy
	case a.State == "suppressed":
		return "not told while there is " + a.SuppressedBy
	case a.State == "raised" && a.Blind, a.State == "acknowledged" && a.Blind:
		return a.State + ", and cannot be judged now: treat it as standing"
	case a.Blind:
		return "cannot be judged"
	case a.State == "cleared" && !a.Acknowledged:
		return "over, and nobody has acknowledged it"
	case a.State == "cleared":
		return "over"
	}
	return a.State
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func causes(lines []message.CauseLine) (all []causeView) {
	for _, c := range lines {
		what := message.CauseTitle(cause.Code(c.Code))
		all = append(all, causeView{cmp.Or(what, c.Code), fmt.Sprintf("%.2f", c.Weight), c.Evidence})
	}
	return all
}

// log reads a page of the log of alarms and, with the newest, the figures.
func (p *Pages) log(ctx context.Context, v *alarmsView, before int64) error {
	page, err := trend.AlarmLog(ctx, p.o.Log, before, alarmsAPage)
	if err != nil {
		return err
	}
	v.Older = older("/alarms", page.Older)
	for i := range page.Alarms {
		v.Log = append(v.Log, p.entry(&page.Alarms[i]))
	}
	if before != 0 {
		return nil
	}
	now := p.now()
	stats, err := trend.StatsOfAlarms(ctx, p.o.Log, trend.Window{From: now.Add(-figuresOver), To: now})
	if err != nil {
		return err
	}
	v.Figures = p.figures(&stats)
	return nil
}

// entry words one alarm of the log.
func (p *Pages) entry(a *trend.AlarmEntry) entryView {
	v := entryView{Name: words(a.Alarm, a.Channel), Priority: a.Priority, Message: cmp.Or(a.Message, words(a.Alarm, a.Channel)), Causes: causes(a.Causes)}
	if a.Raised == nil {
		v.When = "Raised before this history."
	} else {
		v.When = "Raised " + p.stamp(*a.Raised, a.Sure) + "."
	}
	switch {
	case a.Acknowledged != nil:
		v.When += " Acknowledged " + p.long(*a.Acknowledged)
		if a.By != "" {
			v.When += " by " + a.By
		}
		if a.Raised != nil {
			v.When += ", after " + trend.Lasted(max(a.Acknowledged.Sub(*a.Raised).Seconds(), 0))
		}
		v.When += "."
	case a.Cleared != nil:
		v.When += " Nobody acknowledged it."
	}
	switch {
	case a.Lasted != nil:
		v.When += " Over after " + trend.Lasted(*a.Lasted) + "."
	case a.Cleared != nil:
		v.When += " Over " + p.long(*a.Cleared) + "."
	default:
		v.When += " Not over, as far as is on record; last told as " + a.State + "."
	}
	return v
}

// words is the alarm's name in words.
func words(name, channel string) string {
	w := strings.ReplaceAll(name, "-", " ")
	if channel != "" {
		w += " (" + channel + ")"
	}
	return w
}

func (p *Pages) declared() (all []declaredView) {
	for _, d := range standing.Declarations(p.o.Timing) {
		v := declaredView{
			Name: words(d.Alarm, ""), Priority: d.Priority, Title: d.Title, Consequence: d.Consequence, Action: d.Action,
			Respond: trend.Lasted(d.Respond), Hold: trend.Lasted(d.Hold), Clear: trend.Lasted(d.ClearAfter),
		}
		var needs []string
		if d.Own {
			needs = append(needs, "the reading of its channel")
		}
		needs = append(needs, d.Needs...)
		for _, c := range d.Fitted {
			needs = append(needs, "a sensor for "+c)
		}
		v.Needs = cmp.Or(strings.Join(needs, ", "), "nothing")
		for _, s := range d.Not {
			v.Not = append(v.Not, words(s.Alarm, "")+": "+s.Why)
		}
		all = append(all, v)
	}
	return all
}
