package forecast

import (
	"time"

	"fluewright/analysis/alarm"
)

// Probabilities at which a runaway is said, and at which it is no longer excluded. An
// ordinary peak not far below the limit looks like a runaway until it bends. While there is
// time, better evidence is waited for, and for a limit that is near there is none.
// (Judgement, moved on nights made for tuning.)
const (
	said     = 0.85
	saidNear = 0.7  // of a limit that is this near, in s; from twice that on it is said
	near     = 45.0 // by the former
	excluded = 0.35
)

// What ends a rise that was told: the level fell by this share of the way from the room to
// the limit, or nothing was to be said for so long. Flames flicker, and an alarm that goes
// while it still rises comes again a minute later.
const (
	turned  = 0.03
	settled = 10 * time.Minute
)

// decision is what is said of a channel.
type decision struct {
	at      time.Duration // of the latest frame
	verdict alarm.Verdict // of it

	told   bool
	last   time.Duration // when there was reason last
	summit float64       // highest level since it was told, °C
	// passed says that the limit was: what was forecast has come, and near the limit again
	// nothing of it is kept.
	passed bool
}

// step makes a verdict of a forecast. way is that from the room to the limit, K.
func (d *decision) step(at time.Duration, f *Forecast, limit, way float64) alarm.Verdict {
	// Time that runs backwards is no time, and no evidence lasts in it.
	if at >= d.at {
		d.at, d.verdict = at, d.judge(at, f, limit, way)
	}
	return d.verdict
}

func (d *decision) judge(at time.Duration, f *Forecast, limit, way float64) alarm.Verdict {
	if !f.Known {
		return alarm.Blind
	}
	reason := f.Lasting || f.Slope > 2*f.SlopeError && f.Probability >= needed(f, limit)
	d.summit = max(d.summit, f.Level)
	d.passed = f.Level > limit || d.passed && f.Level > limit-float64(over*way)
	switch {
	case reason:
		if !d.told {
			d.told, d.summit = true, f.Level
		}
		d.last = at
		return alarm.Present
	case f.Probability >= excluded:
		return alarm.Between
	case d.told && !d.passed && f.Level > d.summit-float64(turned*way) && at-d.last < settled:
		return alarm.Between
	}
	d.told = false
	return alarm.Absent
}

// needed is the probability at which a runaway is said of a level that rises.
func needed(f *Forecast, limit float64) float64 {
	return saidNear + float64((said-saidNear)*patience(f, limit))
}

// patience is how much time there is for better evidence, by how far the limit is while the
// level goes straight on: 0 for none, 1 for enough.
func patience(f *Forecast, limit float64) float64 {
	return max(0, min(1, (limit-f.Level)/f.Slope/near-1))
}
