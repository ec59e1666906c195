package alarm

import (
	"math"
	"time"
)

// Verdict is what a condition's judge says of one frame.
type Verdict uint8

// The verdicts.
const (
	Blind   Verdict = iota // a reading it depends on is missing
	Absent                 // the condition does not hold, with room to spare
	Between                // it does not hold, but not by its hysteresis
	Present                // it holds
)

// Finding is what is found of one alarm in one frame.
type Finding struct {
	Verdict Verdict
	// Value and Limit are the number and the limit that it is about.
	Value, Limit float64
	// Fault is the sensor layer's code where it is about a sensor.
	Fault string
	// Updated says that the account of it, such as its causes, has changed so much that
	// whoever was told must be told again.
	Updated bool
}

// maxPause is how long a half-finished hold survives without readings: a hazard seen
// for most of its hold time must not be forgotten over a lost frame, and two sightings
// with a long gap between them say nothing about the time between.
const maxPause = 2 * time.Minute

// An alarm that comes back within soon of clearing has relapsed. From the second relapse
// on it takes twice as long to clear, and twice that, up to longest; after quiet it is
// an ordinary alarm again. Invented: the standards ask for an end of chatter and leave
// the means open.
const (
	soon    = 10 * time.Minute
	quiet   = time.Hour
	doubles = 3
	longest = 30 * time.Minute
	// leastDoubled is what a clear-after time of nothing is doubled from.
	leastDoubled = 5 * time.Second
)

// point is one alarm on the panel. Its moments are on the panel's clock.
type point struct {
	status  *Status // its place on the panel
	timing  Timing
	monitor bool
	by      []int // the points that suppress it

	finding Finding       // of this step
	verdict Verdict       // the last that was not blind
	sighted bool          // there was one
	seen    time.Duration // when
	present time.Duration // how long the condition has been seen to hold
	away    time.Duration // how long it has been seen to be gone

	since    time.Duration // the state was entered
	relapses int
	began    time.Duration    // the standing began
	cleared  time.Duration    // a standing ended, if relapsing
	fell     bool             // one ever did
	raises   [3]time.Duration // the latest raisings, oldest first
	raised   int              // how many of them there were, up to three

	shelved bool
	end     time.Duration // of the shelf
}

// sense takes what was found at now and decides whether the condition holds.
func (p *point) sense(now time.Duration, f Finding) {
	f.Value, f.Limit = number(f.Value), number(f.Limit)
	p.finding = f
	p.status.Blind = f.Verdict == Blind || f.Verdict > Present
	if p.status.Blind {
		p.away = 0
		return
	}
	p.count(now, f.Verdict)
	p.seen, p.verdict, p.sighted = now, f.Verdict, true
	switch c := p.status.Condition; {
	case c != Holds && f.Verdict == Present && p.present >= p.timing.Hold:
		p.turn(Holds)
	case c == Holds && f.Verdict == Absent && p.away >= p.clearAfter(),
		// Nobody need wait an hour after a start to be told that there is nothing.
		c == NotKnown && f.Verdict != Present && p.away >= min(p.timing.ClearAfter, maxPause):
		p.turn(Gone)
	}
}

func (p *point) turn(c Condition) {
	p.status.Condition = c
	p.present, p.away = 0, 0
}

// count adds the time since the last sighting to how long the condition has held or
// been gone; only time between two sightings of the same kind counts.
func (p *point) count(now time.Duration, v Verdict) {
	dt := now - p.seen
	same := p.sighted && dt <= maxPause
	if v == Present {
		p.away = 0
		if !same || p.verdict != Present {
			p.present = 0
		} else {
			p.present += dt
		}
		return
	}
	p.present = 0
	// A condition that holds needs the hysteresis to be passed; becoming known does not.
	counts := func(v Verdict) bool {
		return v == Absent || v == Between && p.status.Condition == NotKnown
	}
	switch {
	case !counts(v), !same, !counts(p.verdict):
		p.away = 0
	default:
		p.away += dt
	}
}

// clearAfter is the alarm's time to clear, longer for one that keeps coming back.
func (p *point) clearAfter() time.Duration {
	base := p.timing.ClearAfter
	n := min(p.relapses-1, doubles)
	if n <= 0 {
		return base
	}
	return max(base, min(max(base, leastDoubled)<<n, longest))
}

// raise counts a raising at now.
func (p *point) raise(now time.Duration) {
	if p.fell {
		switch since := now - p.cleared; {
		case since <= soon:
			p.relapses = min(p.relapses+1, doubles+1)
		case since > quiet:
			p.relapses = 0
		}
	}
	p.status.Occurrence++
	p.status.Acknowledged = false
	p.began = now
	p.raises = [3]time.Duration{p.raises[1], p.raises[2], now}
	p.raised = min(p.raised+1, 3)
}

// chatters reports whether the alarm was raised three times or more within a minute.
func (p *point) chatters(now time.Duration) bool {
	return p.raised == 3 && now-p.raises[0] <= chatterSpan
}

// number leaves out what is none.
func number(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}
