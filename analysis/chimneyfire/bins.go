package chimneyfire

import (
	"math"
	"time"
)

const (
	binLength = 5 * time.Second // one reading even at 0.2 Hz
	minute    = 12              // bins
	kept      = 12 * minute
	recent    = 6      // bins that are judged: 30 s
	lately    = minute // bins that are too young to be calm
)

// bin is what five seconds were like; NaN where there was no reading.
type bin struct {
	end     time.Duration // on the judge's own clock
	flue    float64       // °C
	up      float64       // °C, chamber, else firebox
	draft   float64       // Pa
	noise   float64       // Pa, by how much the draft leaves its way between readings a second apart
	raw     float64       // Pa, mean of these readings
	power   float64       // Pa², mean square of the steps from one to the next
	next    [2]float64    // Pa², mean product of a step with the one before and the one before that
	square  float64       // Pa², mean square of the draft
	step    float64       // s, between them
	random  float64       // 0 to 1, how little of a beat there was by then
	outside float64       // °C
	suspect bool          // a fire in the chimney was suspected: no example of calm
}

// mean is an average in the making.
type mean struct{ sum, n float64 }

func (m *mean) add(v float64) { m.sum, m.n = m.sum+v, m.n+1 }

func (m *mean) take() float64 {
	v := m.sum / m.n // NaN when empty
	*m = mean{}
	return v
}

// despiked passes a channel on without single wild readings.
type despiked struct {
	last [2]float64
	n    int
}

func (d *despiked) step(v float64) float64 {
	a, b := d.last[0], d.last[1]
	d.last[0], d.last[1] = b, v
	if d.n < 2 {
		d.n++
		if d.n == 2 { // two readings: the one that is nearer to calm is not known
			return min(b, v)
		}
		return v
	}
	return max(min(a, b), min(max(a, b), v))
}

// gather collects readings into bins and keeps the latest.
type gather struct {
	ring   [kept]bin
	place  int
	filled int
	length time.Duration // of the bin in hand

	flueSpike, upSpike, draftSpike despiked
	lastDraft, lastAt              float64
	hasDraft                       bool
	held, heldAt                   float64 // a reading that leapt, until the next one
	holds                          bool
	usual                          float64    // Pa of noise
	steps                          [2]float64 // the last and the one before
	hasSteps                       int

	flue, up, draft, outside        mean
	raw, square, noise, power, step mean
	next                            [2]mean
}

// fast is the time between two readings of the draft that are compared, s: less says
// nothing of what is faster or slower than wind.
const fast = 0.95

// A reading that leaps by more than so much, and from which the next one comes back to the
// one before, is a relay or a bad plug and no gas: readings of a roar hardly ever come back
// so nearly.
const (
	wildTimes = 10.0  // the usual noise
	wildLeast = 1.0   // Pa
	comesBack = 0.125 // of the leap
)

// add takes the readings of one frame at time now, s.
func (g *gather) add(now, flue, up, draft, outside float64) {
	if !math.IsNaN(flue) {
		g.flue.add(g.flueSpike.step(flue))
	}
	if !math.IsNaN(up) {
		g.up.add(g.upSpike.step(up))
	}
	if !math.IsNaN(outside) {
		g.outside.add(outside)
	}
	if math.IsNaN(draft) {
		g.hasDraft, g.hasSteps, g.holds = false, 0, false
		return
	}
	g.draft.add(g.draftSpike.step(draft))
	last := g.lastAt
	if g.holds {
		last = g.heldAt
	}
	if g.hasDraft && now-last < fast {
		return
	}
	off := math.Abs(draft - g.lastDraft)
	switch {
	case g.holds:
		g.holds = false
		if first := math.Abs(g.held - g.lastDraft); off > float64(comesBack*min(first, math.Abs(g.held-draft))) {
			g.take(g.heldAt, g.held)
		}
	case g.hasDraft && off > max(wildLeast, float64(wildTimes*g.usual)):
		g.held, g.heldAt, g.holds = draft, now, true
		return
	}
	g.take(now, draft)
}

// take takes a reading of the draft that is none of a single leap.
func (g *gather) take(now, draft float64) {
	if g.hasDraft {
		d := draft - g.lastDraft
		g.power.add(float64(d * d))
		g.step.add(now - g.lastAt)
		if g.hasSteps > 0 {
			// A draft that climbs evenly, as it does behind a gate that sticks shut, is not loud.
			g.noise.add(math.Abs(d-g.steps[0]) / math.Sqrt(3))
		}
		for i := range g.hasSteps {
			g.next[i].add(float64(d * g.steps[i]))
		}
		g.steps = [2]float64{d, g.steps[0]}
		g.hasSteps = min(g.hasSteps+1, len(g.steps))
	}
	g.raw.add(draft)
	g.square.add(float64(draft * draft))
	g.lastDraft, g.lastAt, g.hasDraft = draft, now, true
}

// close ends the bin in hand.
func (g *gather) close(end time.Duration) {
	g.ring[g.place] = bin{
		end: end, flue: g.flue.take(), up: g.up.take(), draft: g.draft.take(), outside: g.outside.take(),
		raw: g.raw.take(), noise: g.noise.take(), power: g.power.take(), square: g.square.take(), step: g.step.take(),
		next: [2]float64{g.next[0].take(), g.next[1].take()},
	}
	g.place = (g.place + 1) % kept
	g.filled = min(g.filled+1, kept)
}

// moves is by how much a reading moves at least, K.
const moves = 0.01

// stopped reports whether the reading before the collar has been the same for two minutes, which
// no gas is for so long.
func (g *gather) stopped() bool {
	for i := 1; i < min(2*minute, g.filled); i++ {
		if math.Abs(g.back(i).up-g.back(0).up) > moves {
			return false
		}
	}
	return true
}

// back returns the bin so many before the newest.
func (g *gather) back(i int) *bin { return &g.ring[(g.place-1-i+2*kept)%kept] }
