package burn

import (
	"math"
	"time"

	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
)

// Kind is how a burn began. The zero value says that nobody saw it.
type Kind uint8

// The kinds.
const (
	Found     Kind = iota // it burnt when the monitor began to look
	ColdStart             // lit in a cold furnace
	OnCoals               // wood laid on coals
)

var kinds = [...]string{"found", "cold-start", "reload"}

// String returns the kind's name as every output writes it.
func (k Kind) String() string {
	if int(k) < len(kinds) {
		return kinds[k]
	}
	return kinds[Found]
}

// Peak is the hottest reading of a channel, or the largest one of a pressure; Value is NaN
// where there was none.
type Peak struct {
	Value float64
	At    time.Duration
}

// How says how a quantity is known. The zero value says that it is not.
type How uint8

// The ways.
const (
	NotKnown How = iota
	Observed     // the readings show it
	Inferred     // a figure of the trade was passed, the thing itself was not seen
)

// Mark is a moment of a burn, counted from its start; it means something if How says so.
type Mark struct {
	After time.Duration
	How   How
}

// Drafts are the statistics of the draft of a burn, weighted by time. Least and Most are of
// the draft averaged over some seconds, so that they are not the sensor's noise; NaN where
// there was no reading. Below, Within and Above are times against the appliance's band and
// all zero at a site without one. Pa.
type Drafts struct {
	Least, Most          float64
	Seen                 time.Duration
	Below, Within, Above time.Duration
	sum                  float64 // Pa s
}

// Creosote is how long and how far the flue's wall was too cold; see chimney.Dose. Seen is
// the time that was counted. Typical says that the chimney, the outdoor temperature or the
// draft were not known and usual ones were taken instead: it then compares burns of one
// house, and nothing else.
type Creosote struct {
	chimney.Dose
	Seen    time.Duration
	Typical bool
}

// Delivered is the warm air's part. Rise is the integral of its temperature rise over the
// furnace, K s, over the time Seen in which plenum and return (or room) were read. Heat is
// in J while the blower ran, NaN unless the site gives its air flow.
type Delivered struct {
	Rise float64
	Seen time.Duration
	Heat float64
}

// Summary is a burn so far, or a finished one. Times are on the frames' clock.
type Summary struct {
	Kind       Kind
	Start, End time.Duration
	// PeakFlue is the hottest flue reading, °C; PeakChamber likewise, NaN without one.
	PeakFlue, PeakChamber float64
	// CleanBurn is the time spent in that phase.
	CleanBurn time.Duration
	// MeanDraft is over the burn's draft readings, Pa; NaN without any.
	MeanDraft float64

	// Loads counts the wood laid on, the first one too where it was seen; Doors the door
	// openings.
	Loads, Doors int
	// Peaks are those of each channel.
	Peaks [frame.Count]Peak
	// In is the time in each phase; In[Unknown] is time that nobody saw. They add up to
	// End - Start.
	In [phaseCount]time.Duration
	// FanOn is the blower's first start, Clean the first clean burn. Only a cold start or a
	// reload that was seen has them.
	FanOn, Clean Mark
	Draft        Drafts
	Creosote     Creosote
	Delivered    Delivered
}

// nothing is the summary of a burn that has just begun.
func nothing(k Kind, start time.Duration) Summary {
	s := Summary{
		Kind: k, Start: start, End: start,
		PeakFlue: math.NaN(), PeakChamber: math.NaN(), MeanDraft: math.NaN(),
	}
	for c := range s.Peaks {
		s.Peaks[c].Value = math.NaN()
	}
	s.Draft.Least, s.Draft.Most = math.NaN(), math.NaN()
	s.Delivered.Heat = math.NaN()
	return s
}

// moment is one frame as a summary takes it: the time since the one before was spent in
// phase, and seen unless it was a gap.
type moment struct {
	at, dt time.Duration
	seen   bool
	phase  Phase
	values *frame.Values
	draft  float64 // averaged, NaN without
	site   *Site
	wall   *wall
	fan    fan
}

func (s *Summary) add(m *moment) {
	s.End = m.at
	for c, v := range m.values {
		if p := &s.Peaks[c]; !math.IsNaN(v) && !(v <= p.Value) {
			*p = Peak{v, m.at}
		}
	}
	s.PeakFlue, s.PeakChamber = s.Peaks[frame.Flue].Value, s.Peaks[frame.Chamber].Value
	if !math.IsNaN(m.draft) {
		if !(m.draft >= s.Draft.Least) {
			s.Draft.Least = m.draft
		}
		if !(m.draft <= s.Draft.Most) {
			s.Draft.Most = m.draft
		}
	}
	if s.Kind != Found {
		if s.Clean.How == NotKnown && m.phase == CleanBurn {
			s.Clean = Mark{m.at - s.Start, Observed}
		}
		if s.FanOn.How == NotKnown && m.fan.started != NotKnown && m.fan.at >= s.Start {
			s.FanOn = Mark{m.fan.at - s.Start, m.fan.started}
		}
	}
	if !m.seen {
		s.In[Unknown] += m.dt
		return
	}
	s.In[m.phase] += m.dt
	s.CleanBurn = s.In[CleanBurn]
	s.Draft.add(m)
	s.Delivered.add(m)
	if m.wall.fresh {
		c := &s.Creosote
		c.Add(m.wall.margins, m.phase == Lighting || m.phase == WarmUp || m.phase == Smoulder, m.wall.over.Seconds())
		c.Seen += m.wall.over
		c.Typical = c.Typical || m.wall.typical
	}
	if s.Draft.Seen > 0 {
		s.MeanDraft = s.Draft.sum / s.Draft.Seen.Seconds()
	}
}

func (d *Drafts) add(m *moment) {
	v := m.values[frame.Draft]
	if math.IsNaN(v) {
		return
	}
	d.Seen += m.dt
	d.sum += float64(v * m.dt.Seconds())
	switch {
	case !m.site.banded():
	case m.draft < m.site.DraftLow:
		d.Below += m.dt
	case m.draft > m.site.DraftHigh:
		d.Above += m.dt
	default:
		d.Within += m.dt
	}
}

func (d *Delivered) add(m *moment) {
	rise := warmed(m.values)
	if math.IsNaN(rise) {
		return
	}
	d.Seen += m.dt
	d.Rise += float64(max(0, rise) * m.dt.Seconds())
	if m.site.AirFlow > 0 {
		if math.IsNaN(d.Heat) {
			d.Heat = 0
		}
		if m.fan.runs {
			d.Heat += float64(carried(m.site.AirFlow, m.values, max(0, rise)) * m.dt.Seconds())
		}
	}
}
