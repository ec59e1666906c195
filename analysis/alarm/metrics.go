package alarm

import "time"

// What the metrics count by. The flood's beginning is quoted from ISA-18.2 by a secondary
// source; its end, the day of a stale alarm and the three in a minute of a chattering one
// (ISA-TR18.2.5, EEMUA 191) are from memory.
const (
	period      = 10 * time.Minute
	floodAbove  = 10 // alarms in a period
	floodBelow  = 5
	staleAfter  = 24 * time.Hour
	chatterSpan = time.Minute
)

// slots divide the period that slides.
const slots = 60

// Metrics tells how the alarms do as alarms, after IEC 62682 / ISA-18.2. Counts are since
// the panel was made.
type Metrics struct {
	// Raised counts raisings, by priority (index Low to High; 0 is unused).
	Raised [High + 1]uint64
	// Recent counts those of the last 10 min, to within 10 s.
	Recent int
	// Flood is set from more than 10 in 10 min until fewer than 5; Floods counts them.
	Flood  bool
	Floods uint64
	// Periods counts whole periods of 10 min, Flooded those in which more than 10 alarms
	// were raised, and Most is the most in one, the present one included.
	Periods, Flooded uint64
	Most             int
	// Standing, Shelved and Suppressed count alarms as they are; Unacknowledged those,
	// standing or over, that nobody has taken.
	Standing, Shelved, Suppressed, Unacknowledged int
	// Stale counts those that have stood for more than a day, and Chattering those that
	// were raised three times within a minute, the last.
	Stale, Chattering int

	whole uint64 // raised in whole periods
}

// Rate is the mean number of alarms in 10 min over the whole periods; zero before one has
// passed.
func (m Metrics) Rate() float64 {
	if m.Periods == 0 {
		return 0
	}
	return float64(m.whole) / float64(m.Periods)
}

// InFlood is the share of whole periods with more than 10 alarms, 0 to 1.
func (m Metrics) InFlood() float64 {
	if m.Periods == 0 {
		return 0
	}
	return float64(m.Flooded) / float64(m.Periods)
}

// Share is that of a priority in all raisings, 0 to 1; zero before there was one.
func (m Metrics) Share(p Priority) float64 {
	if all := m.total(); all > 0 && p <= High {
		return float64(m.Raised[p]) / float64(all)
	}
	return 0
}

func (m Metrics) total() uint64 { return m.Raised[Low] + m.Raised[Medium] + m.Raised[High] }

// Metrics returns how the alarms do as of the last step.
func (a *Annunciator) Metrics() Metrics {
	m := a.counts.m
	for i := range a.points {
		p := &a.points[i]
		s := p.status
		switch {
		case s.State.Standing():
			m.Standing++
			if a.clock.now-p.began > staleAfter {
				m.Stale++
			}
		case s.State == Shelved:
			m.Shelved++
		case s.State == Suppressed:
			m.Suppressed++
		}
		if s.Occurrence > 0 && !s.Acknowledged {
			m.Unacknowledged++
		}
		if p.chatters(a.clock.now) {
			m.Chattering++
		}
	}
	return m
}

// counter counts raisings on the panel's clock.
type counter struct {
	m      Metrics
	slot   int64 // the present one, counted from the clock's zero
	window [slots]int
	bin    int64 // the present whole period
	inBin  int
}

// advance moves on to now.
func (c *counter) advance(now time.Duration) {
	slot := int64(now / (period / slots))
	for range min(slot-c.slot, slots) {
		c.slot++
		c.m.Recent -= c.window[c.slot%slots]
		c.window[c.slot%slots] = 0
	}
	c.slot = slot
	if bin := int64(now / period); bin > c.bin {
		if c.inBin > floodAbove {
			c.m.Flooded++
		}
		c.m.Periods += uint64(bin - c.bin)
		c.m.whole += uint64(c.inBin)
		c.bin, c.inBin = bin, 0
	}
}

func (c *counter) raised(p Priority) {
	c.m.Raised[p]++
	c.m.Recent++
	c.window[c.slot%slots]++
	c.inBin++
	c.m.Most = max(c.m.Most, c.inBin)
}

// settle says whether there is a flood.
func (c *counter) settle() {
	switch {
	case !c.m.Flood && c.m.Recent > floodAbove:
		c.m.Flood = true
		c.m.Floods++
	case c.m.Flood && c.m.Recent < floodBelow:
		c.m.Flood = false
	}
}
