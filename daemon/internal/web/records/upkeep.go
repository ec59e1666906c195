package records

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"fluewright/analysis/burn"
	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/command"
	"fluewright/daemon/internal/upkeep"
)

type upkeepView struct {
	Trouble     string
	Wrong, Done string
	Closed      bool
	Jobs        []jobView
}

type jobView struct {
	Job, Title, State, Class, Why, How, Every string
	Last, Text, Due                           string
	Fire, Tar                                 *gauge
}

// gauge is how much of an interval has passed.
type gauge struct {
	Name, Words string
	Value, Max  float64 // hours
	// Soon and Late are from where on it is coloured as such: the words say it too.
	Soon, Late float64
}

func (p *Pages) serveUpkeep(w http.ResponseWriter, r *http.Request) {
	v := upkeepView{}
	if r.URL.Query().Get("done") != "" {
		v.Done = "It is on record, and counts from now on."
	}
	p.showUpkeep(w, r, http.StatusOK, v)
}

func (p *Pages) showUpkeep(w http.ResponseWriter, r *http.Request, code int, v upkeepView) {
	ctx, cancel := within(r)
	defer cancel()
	v.Closed = p.o.Actions == nil || p.o.Log == nil
	now := upkeep.Now{Time: p.now()}
	if p.o.Upkeep != nil {
		if count, ok := p.o.Upkeep(); ok {
			now.Count = &count
		}
	}
	if s := p.o.Feed.Latest(); s != nil && s.Assessment.Burning {
		b := &s.Assessment.Burn
		for phase, d := range b.In {
			if burn.Phase(phase).Fire() {
				now.Going += d.Seconds()
			}
		}
	}
	if p.o.Log == nil {
		v.Trouble = nothing
	}
	jobs, err := upkeep.List(ctx, p.o.Log, now)
	if err != nil {
		v.Trouble = p.trouble(r, err)
		now.Count = nil
		jobs, _ = upkeep.List(ctx, nil, now) // what there is to do, at least
	}
	for i := range jobs {
		v.Jobs = append(v.Jobs, p.jobView(&jobs[i]))
	}
	p.serve(w, r, p.upkeep, code, "Upkeep", v)
}

func (p *Pages) jobView(j *upkeep.Job) jobView {
	v := jobView{
		Job: j.Job, Title: j.Title, State: string(j.State), Class: "known", Why: j.Why, How: j.How, Every: j.Every,
		Last: "Not on record as done.", Text: j.Text,
	}
	switch j.State {
	case upkeep.Due:
		v.Class = "due"
	case upkeep.NotKnown:
		v.Class, v.State = "unknown", "not known whether it is due"
	}
	if j.Done != nil {
		v.Last = "Last done " + p.long(*j.Done)
		if j.By != "" {
			v.Last += " by " + j.By
		}
		v.Last += "."
	}
	if j.DateDue != nil {
		v.Due = "Due " + j.DateDue.In(p.o.Zone).Format("2 Jan 2006") + " at the latest."
	}
	since := "since then"
	if j.Done == nil {
		since = "since the monitor began to count"
	}
	v.Fire = gaugeOf("Fire", since, j.Fire, j.FireDue)
	v.Tar = gaugeOf("Smoke in a flue cold enough for tar", since, j.Tar, j.TarDue)
	return v
}

func gaugeOf(name, since string, v, due *float64) *gauge {
	if v == nil || due == nil {
		return nil
	}
	hours := time.Duration(*v * float64(time.Second)).Hours()
	most := *due / 3600
	return &gauge{name, fmt.Sprintf("%.0f h of %.0f h %s", hours, most, since), hours, most, 0.8 * most, 0.99 * most}
}

func (p *Pages) takeDone(w http.ResponseWriter, r *http.Request) {
	if !form(w, r) {
		return
	}
	job := r.PostFormValue("job")
	words, code := "Not taken: there is no such job.", http.StatusUnprocessableEntity
	switch {
	case !slices.Contains(upkeep.Names(), job):
	case p.o.Actions == nil:
		words = "Nothing can be written here."
	default:
		err := p.o.Actions.Note(r.Context(), access.Of(r.Context()).Name, command.Entry{Kind: job, Text: line(r.PostFormValue("text"))})
		if err == nil {
			back(w, r, "/upkeep")
			return
		}
		words, code = p.refusal(r, err)
	}
	p.showUpkeep(w, r, code, upkeepView{Wrong: words})
}
