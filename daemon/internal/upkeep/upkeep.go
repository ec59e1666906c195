// Package upkeep tells which jobs a furnace with its chimney and its monitor needs, when each
// was done as far as the log says, and whether it is due. It does nothing and reminds nobody.
package upkeep

import (
	"context"
	"math"
	"strings"
	"time"

	"fluewright/analysis/notice"
	"fluewright/daemon/internal/trend"
)

// Standing is whether a job is due.
type Standing string

// The standings. What nobody has logged is not known to have been done.
const (
	Due      Standing = "due"
	NotDue   Standing = "not due"
	NotKnown Standing = "not known"
)

// Job is a piece of upkeep and how it stands.
type Job struct {
	// Job is its name, which begins the note that it was done.
	Job   string   `json:"job"`
	State Standing `json:"state"`
	// Done is when the log last says so, null where it does not; By and Text are the note's.
	Done *time.Time `json:"done_at"`
	By   string     `json:"done_by,omitempty"`
	Text string     `json:"text,omitempty"`
	// Fire is the time with fire since then, or since the monitor began to count where
	// nobody has logged it; null where it is not known.
	Fire *float64 `json:"fire_seconds"`
	// FireDue is after how much of it the job is due; null where that does not matter.
	FireDue *float64 `json:"fire_due_seconds"`
	// Tar is the time in which smoke met a wall on which tar condenses; of the flue alone.
	Tar    *float64 `json:"tar_seconds,omitempty"`
	TarDue *float64 `json:"tar_due_seconds,omitempty"`
	// DateDue is when the job is due whatever was burnt; null where that does not matter or
	// is not known.
	DateDue *time.Time `json:"date_due_at"`

	Declared
}

// Declared is what is known of a job before anything was burnt.
type Declared struct {
	Title string `json:"title"`
	// Why and How are sentences for the owner. The appliance's manual and local codes come
	// before them.
	Why string `json:"why"`
	How string `json:"how"`
	// Every says in words how often.
	Every string `json:"every"`

	name    string
	counted notice.Job    // the analysis counts its hours; NoJob: the log of burns does
	fire    time.Duration // 0: hours of fire do not matter
	date    int           // months; 0: the calendar does not matter
}

const year = 12

// declared are the jobs, the most frequent first. Where the intervals come from is in package
// notice; those of filter, gasket and yearly inspection are common practice, no source (the
// yearly inspection is in NFPA 211, from memory).
var declared = []Declared{
	{
		name: "ash", counted: notice.Ash, Title: "Ash",
		Why:   "A full pan chokes the fire, and embers glow under ash for days.",
		How:   "Take it out as the manual says, into a metal container with a lid, outdoors and away from wood. Shut the ash door tightly: air through it drives the fire.",
		Every: "after about a week of burning day and night",
	},
	{
		name: "filter", fire: 700 * time.Hour, Title: "Air filter",
		Why:   "A clogged filter keeps the heat in the furnace: the warm air overheats.",
		How:   "With the fire out and the blower off, change or clean the filter as the manual says. See that registers are open.",
		Every: "after about a month of burning day and night",
	},
	{
		name: "sweeping", counted: notice.Flue, date: year, Title: "Chimney and smoke pipe",
		Why:   "Creosote burns: a chimney fire can crack the flue and set the house on fire.",
		How:   "Have the chimney, its cap and the smoke pipe inspected, and swept where there is creosote, by a licensed or certified sweep where the code asks for one. The furnace is cold for it.",
		Every: "after about a month of burning day and night, sooner when it smoked into a cold flue, and once a year at least",
	},
	{
		name: "probes", counted: notice.Probes, date: year, Title: "Probes, hose and zero",
		Why:   "A probe in soot reads too low, a blocked hose reads nothing: the monitor would miss a danger.",
		How:   "With the furnace cold, look at the probes and the draft hose for soot and water. Let the installer check the zero of the draft sensor.",
		Every: "once a season",
	},
	{
		name: "gasket", date: year, fire: 4000 * time.Hour, Title: "Door gaskets",
		Why:   "Air through a worn gasket drives the fire beyond its control.",
		How:   "With the fire out, shut each door on a strip of paper: where it slips out, the gasket is worn. Have it replaced with the kind that the manual names.",
		Every: "once a season",
	},
	{
		name: "inspection", date: year, Title: "Yearly inspection",
		Why:   "Limit controls, heat exchanger, clearances and the carbon monoxide alarms are beyond what this monitor sees.",
		How:   "Have the whole installation inspected by a licensed person before the season, and the smoke and carbon monoxide alarms tested. Local codes may ask for more.",
		Every: "once a year",
	},
}

// Names lists the jobs as notes name them.
func Names() []string {
	var all []string
	for _, d := range declared {
		all = append(all, d.name)
	}
	return all
}

// Of splits a note that says that a job was done: its name, and what was written to it.
func Of(note string) (job, text string, ok bool) {
	job, text, _ = strings.Cut(note, ":")
	for _, d := range declared {
		if d.name == job {
			return job, strings.TrimSpace(text), true
		}
	}
	return "", note, false
}

// Now is what is known of the present: the analysis's count, if there is one, and the fire of
// the burn that goes on, s.
type Now struct {
	Time  time.Time
	Count *notice.Upkeep
	Going float64
}

// List tells all jobs, the most frequent first. Without a log, nil, it is not known whether
// anything was done.
func List(ctx context.Context, l trend.Log, now Now) ([]Job, error) {
	all := make([]Job, len(declared))
	for i, d := range declared {
		all[i] = Job{Job: d.name, State: NotKnown, Declared: d}
	}
	if l != nil {
		if err := find(ctx, l, all); err != nil {
			return nil, err
		}
	}
	for i := range all {
		j := &all[i]
		if err := j.hours(ctx, l, now); err != nil {
			return nil, err
		}
		j.judge(now.Time)
	}
	return all, nil
}

// find looks for when each was last done.
func find(ctx context.Context, l trend.Log, all []Job) error {
	left := len(all)
	return trend.EachNote(ctx, l, func(at time.Time, by, note string) bool {
		name, text, ok := Of(note)
		if !ok {
			return true
		}
		for i := range all {
			if j := &all[i]; j.Job == name && j.Done == nil {
				j.Done, j.By, j.Text = &at, by, text
				left--
			}
		}
		return left > 0
	})
}

// hours counts the fire since the job was done.
func (j *Job) hours(ctx context.Context, l trend.Log, now Now) error {
	if j.counted != notice.NoJob {
		burnt, tar := notice.Interval(j.counted)
		j.FireDue = seconds(burnt)
		if tar > 0 {
			j.TarDue = seconds(tar)
		}
		if now.Count != nil {
			j.Fire = seconds(now.Count.Burnt[j.counted])
			if tar > 0 {
				j.Tar = seconds(now.Count.Tar)
			}
		}
		return nil
	}
	if j.fire == 0 {
		return nil
	}
	d := j.fire.Seconds()
	j.FireDue = &d
	if l == nil {
		return nil
	}
	since, _ := l.Span()
	if j.Done != nil {
		since = *j.Done
	}
	fire, err := trend.FireSince(ctx, l, since)
	if err != nil {
		return err
	}
	if !math.IsNaN(now.Going) {
		fire += now.Going
	}
	j.Fire = &fire
	return nil
}

func seconds(hours float64) *float64 {
	s := hours * 3600
	return &s
}

// judge says whether it is due. That it is not needs to be known: of when it was done, and of
// all that was burnt since.
func (j *Job) judge(now time.Time) {
	if j.Done != nil && j.date > 0 {
		d := j.Done.AddDate(0, j.date, 0)
		j.DateDue = &d
	}
	past := func(v, due *float64) bool { return v != nil && due != nil && *v >= *due }
	switch {
	case past(j.Fire, j.FireDue), past(j.Tar, j.TarDue), j.DateDue != nil && !now.Before(*j.DateDue):
		j.State = Due
	case j.Done == nil, j.FireDue != nil && j.Fire == nil:
		j.State = NotKnown
	default:
		j.State = NotDue
	}
}
