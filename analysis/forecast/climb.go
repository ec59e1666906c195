package forecast

import (
	"math"
	"time"
)

// climb is the long look at a channel. The filter looks back over half a minute or so, and
// a piece that falls, or a wave of some minutes, bends its curvature; for a limit that is
// minutes away it matters whether the climb went on for as many minutes. It keeps the means
// of half minutes.
type climb struct {
	level, draft     [parts]float64 // the latest whole ones, newest last; draft NaN for none
	whole            int            // how many there are
	sum, drafts      float64        // of the one in hand
	samples, ofDraft int
	since, last      time.Duration // it began; the latest sample
	begun            bool
	driven           time.Duration // for how long more than the usual air has driven the fire
	lasts            bool          // a climb that will pass the limit has lasted
	slope            float64       // of it, K/s
}

// climbing is the probability of passing the limit of a climb that has lasted, before the
// furnace's own past has its say (judgement).
const climbing = 0.97

// part is what a mean is made over, and parts how many are kept.
const (
	part  = 30 * time.Second
	parts = 64
)

// absurd is what no reading comes to, °C or Pa.
const absurd = 1e5

// A climb is believed to go on for as long again as it has lasted, times a share, and no
// further than trusted. Nobody knows what it is before it has outlasted what a load of wood
// takes to burn up: after that there is no end of it in sight. Where the reason shows,
// there is no need to wait: more than the usual air drives it, or it began as the draft fell
// and stayed down, which is air that comes in somewhere (wood that burns up pulls more, and
// a loading door that is shut again gives the draft back). The times and shares are
// judgement, moved on nights made for tuning; a wide range of them does as well.
const (
	trusted = 8 * time.Minute

	outlasts, outlastsShare = 18 * time.Minute, 1 / 1.5
	drivenAfter, drivenFor  = 8 * time.Minute, 2 * time.Minute
	letIn, letInShare       = 4 * time.Minute, 1 / 0.7
	letInDrop, letInLeast   = 0.12, 0.5 // of the draft that went: share and Pa
)

// What a climb is: in the upper part of the way from the room to the limit, at this part of
// it a minute at the least; every two minutes of it brought a share of what the latest four
// bring; of two equal stretches the later one is not clearly flatter; the latest two
// minutes are not so much steeper that most of the slope is new; and at the moment it still
// has this share of its slope.
const (
	high     = 0.65
	creeping = 0.36e-2
	going    = 0.4
	flatter  = 0.85
	newly    = 1.5
	stretch  = 4 // parts
	still    = 0.8
)

// step takes a sample. draft is in Pa, NaN for none.
func (c *climb) step(at time.Duration, v, draft float64, driven bool, room, limit float64) {
	dt := at - c.last
	switch {
	case c.begun && dt <= 0 || math.Abs(v) > absurd:
		return
	case !c.begun || dt > maxGap:
		*c = climb{begun: true, since: at, last: at}
		dt = 0
	}
	c.last = at
	if c.driven += dt; !driven {
		c.driven = 0
	}
	for at-c.since >= part {
		c.since += part
		c.close(v)
		c.judge(room, limit)
	}
	c.sum += v
	c.samples++
	if math.Abs(draft) < absurd {
		c.drafts += draft
		c.ofDraft++
	}
}

// goesOn reports whether a climb that has lasted still is as steep as it was. The means tell
// half a minute later than the filter that somebody closed the air.
func (c *climb) goesOn(s state, limit float64) bool {
	return c.lasts && s.level <= limit && s.slope >= float64(still*c.slope)
}

// tell adds to a forecast what the long look knows better.
func (c *climb) tell(f *Forecast, at time.Duration, limit float64) {
	f.Lasting = true
	if !f.Passes {
		ahead := max(0, (limit-f.Level)/c.slope)
		f.Passes, f.At = true, at+time.Duration(math.Round(ahead*1e3))*time.Millisecond
	}
	f.Probability = max(f.Probability, said)
	f.Peak = max(f.Peak, limit)
}

// close ends the part in hand. One without a sample lies half-way to the one that comes.
func (c *climb) close(v float64) {
	mean, draft := v, math.NaN()
	switch {
	case c.samples > 0:
		mean = c.sum / float64(c.samples)
	case c.whole > 0:
		mean = (c.level[parts-1] + v) / 2
	}
	if c.ofDraft > 0 {
		draft = c.drafts / float64(c.ofDraft)
	}
	copy(c.level[:], c.level[1:])
	copy(c.draft[:], c.draft[1:])
	c.level[parts-1], c.draft[parts-1] = mean, draft
	c.whole = min(parts, c.whole+1)
	c.sum, c.samples, c.drafts, c.ofDraft = 0, 0, 0, 0
}

// judge says whether the climb in hand has lasted.
func (c *climb) judge(room, limit float64) {
	c.lasts = false
	if c.whole <= 4*stretch {
		return
	}
	now, way := c.ago(0), limit-room
	slope := c.held()
	left := limit - now
	if slope < float64(creeping*way*part.Minutes()) || now < room+float64(high*way) || left <= 0 {
		return
	}
	lasted := c.lasted(slope)
	if !c.steady(lasted) {
		return
	}
	needs, share := outlasts, outlastsShare
	if c.driven >= drivenFor {
		needs, slope = drivenAfter, c.latest()
	}
	if c.airCameIn(lasted) {
		needs, share, slope = letIn, letInShare, c.latest()
	}
	age := time.Duration(lasted) * part
	ahead := left / slope * part.Seconds()
	if age >= needs && ahead <= min(trusted.Seconds(), float64(share*age.Seconds())) {
		c.lasts, c.slope = true, slope/part.Seconds()
	}
}

// ago is the mean of some parts ago.
func (c *climb) ago(n int) float64 { return c.level[parts-1-n] }

// held is the slope that has lasted, K a part: of the latest four stretches the second
// flattest one. A burst lifts one or two of them.
func (c *climb) held() float64 {
	least, second := math.Inf(1), math.Inf(1)
	for i := range 4 {
		switch rise := c.ago(i*stretch) - c.ago((i+1)*stretch); {
		case rise < least:
			least, second = rise, least
		case rise < second:
			second = rise
		}
	}
	return second / stretch
}

// latest is the slope of the latest four minutes, K a part. Where the reason for a climb
// shows, what is new about it is part of it.
func (c *climb) latest() float64 { return (c.ago(0) - c.ago(2*stretch)) / (2 * stretch) }

// lasted is for how many parts it has climbed without a stop.
func (c *climb) lasted(slope float64) (n int) {
	for n+stretch < c.whole && c.ago(n)-c.ago(n+stretch) >= float64(going*slope*stretch) {
		n++
	}
	return n
}

// steady reports whether the climb goes on as it was: of the latest 4, 8 and 16 minutes, as
// far as it has lasted, the later half is not clearly flatter than the earlier one, and the
// slope of the latest two is not new.
func (c *climb) steady(lasted int) bool {
	for half := stretch; 2*half <= lasted+stretch && 2*half < c.whole; half *= 2 {
		late, early := c.ago(0)-c.ago(half), c.ago(half)-c.ago(2*half)
		if late < float64(flatter*early) || half == stretch && late > float64(newly*early) {
			return false
		}
	}
	return true
}

// airCameIn reports whether the draft is below what it was when the climb began.
func (c *climb) airCameIn(lasted int) bool {
	now, before := c.draftOf(0), math.Inf(-1)
	for n := max(stretch, lasted-2); n < lasted+10 && n+stretch < c.whole; n++ {
		if d := c.draftOf(n); d > before {
			before = d
		}
	}
	return now > 0 && now < min(float64((1-letInDrop)*before), before-letInLeast)
}

// draftOf is the mean draft of the stretch that ended some parts ago, NaN where a reading
// is missing.
func (c *climb) draftOf(n int) (sum float64) {
	for i := range stretch {
		sum += c.draft[parts-1-n-i]
	}
	return sum / stretch
}
