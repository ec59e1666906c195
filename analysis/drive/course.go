package drive

import (
	"math"
	"time"
)

// Course is the curve of now, apart from the one before if the draft changed at once.
type Course struct {
	Now    Curve
	Before Curve  // of before the last change; empty if there was none
	Change Change // the last one

	run   Change // minutes in succession that do not fit the curve
	trial Curve  // of these
}

// Change is a change of the draft at an equal drive, within minutes.
type Change struct {
	At      time.Duration // when it began
	Ratio   float64       // draft after over before; 0: there was no change
	Pascals float64       // draft after less before
	Drive   float64       // Pa/m, when it began
	minutes float64
	up      bool
}

// When a change is one: the draft is by a third below what the curve has, or by half
// above, and stays so. The appliance's own damper moves an unregulated draft by a fifth
// (its flow's share of the loss); a squall or a door is over sooner.
const (
	dropped   = 0.65
	jumped    = 1.5
	leastStep = 2.0 // Pa
	lasts     = 10 * time.Minute
)

// Add takes a minute and reports whether with it a change became certain.
func (c *Course) Add(m Minute) bool {
	least, most, known := c.Now.Expect(m.Drive)
	up := m.Draft > most
	expected := least
	if up {
		expected = most
	}
	step := m.Draft - expected
	fits := !known || math.Abs(step) < leastStep ||
		m.Draft > float64(dropped*least) && m.Draft < float64(jumped*max(most, leastDraft))
	r := &c.run
	if fits || r.minutes > 0 && (up != r.up || m.At < r.At) {
		*r, c.trial = Change{}, Curve{}
	}
	if fits {
		c.Now.Add(m)
		return false
	}
	if r.minutes == 0 {
		r.At, r.Drive, r.up = m.At, m.Drive, up
	}
	c.trial.Add(m)
	r.minutes++
	r.Ratio += (m.Draft/max(expected, leastDraft) - r.Ratio) / r.minutes
	r.Pascals += (step - r.Pascals) / r.minutes
	if m.At-r.At < lasts {
		return false
	}
	c.Change, c.Before, c.Now = *r, c.Now, c.trial
	*r, c.trial = Change{}, Curve{}
	return true
}
