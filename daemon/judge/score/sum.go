package score

import (
	"slices"
	"time"

	"fluewright/daemon/judge/night"
)

// Share is how many of how many.
type Share struct {
	Of  int `json:"of"`
	Got int `json:"got"`
}

func (s *Share) count(got bool) {
	s.Of++
	if got {
		s.Got++
	}
}

// Percent is the share in per cent, 100 of nothing.
func (s Share) Percent() float64 {
	if s.Of == 0 {
		return 100
	}
	return 100 * float64(s.Got) / float64(s.Of)
}

// Foresight is how a set of crossings was foreseen.
type Foresight struct {
	Share
	leads []float64
	// Median, Tenth: half and a tenth of the leads are shorter, s.
	Median float64 `json:"median_lead_seconds"`
	Tenth  float64 `json:"tenth_lead_seconds"`
}

func (f *Foresight) count(c Crossing) {
	f.Share.count(c.Foreseen)
	f.leads = append(f.leads, c.Lead.Seconds())
}

func (f *Foresight) close() {
	slices.Sort(f.leads)
	f.Median, f.Tenth = quantile(f.leads, 0.5), quantile(f.leads, 0.1)
}

// quantile interpolates between the two values next to the rank.
func quantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	at := q * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[i]
	}
	part := at - float64(i)
	return sorted[i] + part*(sorted[i+1]-sorted[i])
}

// Delays is how a sort of hazard was told.
type Delays struct {
	Share
	delays []float64
	Median float64 `json:"median_delay_seconds"` // of those that were told at all
	// Instead counts false high-priority alarms in its place.
	Instead int `json:"false_alarm_instead"`
}

func (d *Delays) count(one Detection) {
	d.Share.count(one.Seen)
	if one.Delay >= 0 {
		d.delays = append(d.delays, one.Delay.Seconds())
	}
	if one.Instead != "" {
		d.Instead++
	}
}

func (d *Delays) close() {
	slices.Sort(d.delays)
	d.Median = quantile(d.delays, 0.5)
}

// Sum is what came of a set of nights.
type Sum struct {
	Nights  int     `json:"nights"`
	Hours   float64 `json:"hours"`
	Burning float64 `json:"hours_burning"`
	Rows    int     `json:"rows"`

	All Foresight `json:"crossings"`
	// ByCause holds the crossings by their true cause.
	ByCause map[string]*Foresight `json:"crossings_by_cause"`
	Cause   Share                 `json:"cause_right"`
	// CauseLoose takes pieces too small and wood too dry for one cause.
	CauseLoose Share                     `json:"cause_right_fuel_as_one"`
	Confusion  map[string]map[string]int `json:"confusion"` // true, said
	Hazards    map[night.Hazard]*Delays  `json:"hazards"`
	// ByWhat holds the same by hazard and what it was, "sensor-silent: frozen".
	ByWhat   map[string]*Delays `json:"hazards_by_what"`
	False    map[string]int     `json:"false_high"` // by alarm
	FalseAll int                `json:"false_high_all"`
	// LegitRunaways are runaways in nights that call for no high alarm, by kind.
	LegitRunaways map[string]int `json:"runaways_in_legit_nights"`
	Accused       map[string]int `json:"sensors_accused_wrongly"` // by alarm and channel
	AccusedAll    int            `json:"sensors_accused_wrongly_all"`
	Raised        map[string]int `json:"raised"`
}

// PerThousand is a count per 1,000 h burning.
func (s *Sum) PerThousand(count int) float64 {
	if s.Burning == 0 {
		return 0
	}
	return 1000 * float64(count) / s.Burning
}

// Add sums up the nights.
func Add(nights []Night) *Sum {
	s := &Sum{
		ByCause: map[string]*Foresight{}, Confusion: map[string]map[string]int{},
		Hazards: map[night.Hazard]*Delays{}, ByWhat: map[string]*Delays{}, False: map[string]int{}, LegitRunaways: map[string]int{},
		Accused: map[string]int{}, Raised: map[string]int{},
	}
	for i := range nights {
		s.add(&nights[i])
	}
	s.All.close()
	for _, f := range s.ByCause {
		f.close()
	}
	for _, d := range s.Hazards {
		d.close()
	}
	for _, d := range s.ByWhat {
		d.close()
	}
	return s
}

func (s *Sum) add(n *Night) {
	s.Nights++
	s.Rows += n.Rows
	s.Hours += n.Length.Hours()
	s.Burning += n.Burning.Hours()
	for _, c := range n.Crossings {
		s.crossing(c)
	}
	for _, d := range n.Detections {
		s.hazard(d)
	}
	for _, f := range n.False {
		s.FalseAll++
		s.False[string(f.Alarm)]++
	}
	for _, a := range n.Accused {
		s.AccusedAll++
		s.Accused[name(a)]++
	}
	for _, a := range n.Raised {
		s.Raised[string(a.Alarm)]++
		if a.Alarm == "runaway" && n.Legit {
			s.LegitRunaways[n.World+"/"+n.Kind]++
		}
	}
}

func name(s Said) string { return string(s.Alarm) + "/" + s.Channel.String() }

func (s *Sum) crossing(c Crossing) {
	s.All.count(c)
	cause := c.Cause
	if cause == "" {
		cause = "unexplained"
	}
	if s.ByCause[cause] == nil {
		s.ByCause[cause] = &Foresight{}
		s.Confusion[cause] = map[string]int{}
	}
	s.ByCause[cause].count(c)
	s.Confusion[cause][c.Said]++
	if c.Cause != "" {
		s.Cause.count(c.Right(false))
		s.CauseLoose.count(c.Right(true))
	}
}

func (s *Sum) hazard(d Detection) {
	count(s.Hazards, d.Hazard, d)
	if d.What != "" {
		count(s.ByWhat, string(d.Hazard)+": "+d.What, d)
	}
}

func count[K comparable](all map[K]*Delays, k K, d Detection) {
	if all[k] == nil {
		all[k] = &Delays{}
	}
	all[k].count(d)
}

// Minutes writes seconds as minutes, for tables.
func Minutes(seconds float64) float64 { return seconds / time.Minute.Seconds() }
