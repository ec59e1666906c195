package forecast

import (
	"time"

	"fluewright/analysis/alarm"
)

// Probabilities at which a runaway is said, once it has lasted, and at which it is no longer
// excluded.
const (
	said     = 0.6
	excluded = 0.35
)

// A log that rolls, a door that shuts and flames that take hold of a piece make a minute of
// steep rise that no heated mass goes on with; it looks like a runaway only while it lasts.
// So evidence must last, for a share of what is left beyond the time in which every second
// counts: a limit that is near is told at once, and one that is far can wait that long.
// (Judgement, moved on nights made for tuning.)
const (
	patience    = 0.25 // share of the time to the limit
	urgent      = 75.0 // s to the limit
	mostPatient = 90.0 // s
)

// What ends a rise that was told: the level fell by this share of the way from the room to
// the limit, or nothing was to be said for so long. Flames flicker, and an alarm that goes
// while it still rises comes again a minute later.
const (
	turned  = 0.03
	settled = 10 * time.Minute
)

// decision is what is said of a channel, and since when there was reason to.
type decision struct {
	at      time.Duration // of the latest frame
	verdict alarm.Verdict // of it

	lasting bool
	since   time.Duration // of lasting

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
		d.lasting = false
		return alarm.Blind
	}
	reason := f.Slope > 2*f.SlopeError && f.Probability >= said
	if reason && !d.lasting {
		d.since = at
	}
	d.lasting = reason
	d.summit = max(d.summit, f.Level)
	d.passed = f.Level > limit || d.passed && f.Level > limit-float64(over*way)
	switch {
	case reason && (at-d.since).Seconds() >= wait(f, limit):
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

// wait is how long the evidence must last in s, while the level goes straight on.
func wait(f *Forecast, limit float64) float64 {
	return max(0, min(mostPatient, float64(patience*((limit-f.Level)/f.Slope-urgent))))
}
