package cause

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// explain gives the observations that speak for a cause, strongest first.
func (t *Tracker) explain(i int, f *features, k *clues, c *Cause) {
	length := f.top - f.foot
	rose := Evidence{Kind: Rose, Channel: f.channel, Value: f.high, Reference: f.footAt, For: length, At: f.foot}
	loaded := Evidence{Kind: Loaded, Channel: frame.Count, For: max(f.sinceLoad, 0), At: f.foot - f.sinceLoad}
	switch {
	case f.cold:
		loaded.Kind = Lit
	case f.revived:
		loaded = Evidence{Kind: Revived, Channel: f.channel, Value: f.footAt, At: f.foot}
	case f.presumed:
		loaded.Kind = Visited
	}
	ordinary := Evidence{Kind: DraftOrdinary, Channel: frame.Draft, Value: f.draft, Reference: t.now.DraftHigh, For: length, At: f.foot}
	if !(f.draft <= t.now.DraftHigh) {
		ordinary.Value = math.NaN()
	}
	switch i {
	case iDraftHigh:
		since := t.overSince(f)
		mean := t.course.mean(rowDraft, since-slot, f.top)
		if since == f.top || !(mean > t.now.DraftHigh) {
			return
		}
		c.add(Evidence{Kind: DraftOver, Channel: frame.Draft, Value: mean, Reference: t.now.DraftHigh, For: f.top - since, At: since})
		if f.start > t.now.DraftLow && f.finish > 1.1*f.start {
			c.add(Evidence{Kind: DraftClimbed, Channel: frame.Draft, Value: f.finish, Reference: f.start, For: length, At: f.foot})
		}
		c.add(rose)
	case iCoalBed:
		if f.loaded && !f.cold {
			c.add(loaded)
			if !math.IsNaN(f.bed) && !f.revived {
				c.add(Evidence{Kind: OnCoals, Channel: f.bedChannel, Value: f.bedAt, For: f.coals, At: loaded.At})
			}
			c.add(rose)
			c.add(ordinary)
		}
	case iFineFuel:
		if f.loaded {
			c.add(rose)
			c.add(loaded)
			c.add(ordinary)
		}
	case iDryFuel:
		if !f.loaded {
			return
		}
		if t.hasNote && t.moisture < tooDry {
			c.add(Evidence{Kind: Moisture, Channel: frame.Count, Value: t.moisture, Reference: tooDry, At: t.noted})
		}
		if k.again > 0.5 {
			c.add(Evidence{Kind: Again, Channel: f.channel, At: loaded.At})
		}
		c.add(loaded)
		if f.stayed > 0 {
			c.add(Evidence{Kind: Stayed, Channel: f.channel, Value: f.high, Reference: t.room() + float64(0.75*f.span), For: f.stayed, At: f.top - f.stayed})
		}
		c.add(rose)
		c.add(ordinary)
	case iAirLeak:
		if t.now.Door {
			c.add(Evidence{Kind: Door, Channel: frame.Count, For: t.now.At - t.door, At: t.door})
		}
		if at, ok := t.leapt(f.top); ok && k.leapt > 0.5 {
			c.add(Evidence{Kind: Leapt, Channel: frame.Flue, Value: t.course.near(rowFlue, at+leap), Reference: t.course.near(rowFlue, at), For: leap, At: at})
		}
		if k.sag > 0.2 {
			c.add(Evidence{Kind: DraftSagged, Channel: frame.Draft, Value: f.post, Reference: f.pre, At: f.foot})
		}
		if f.under > 0.05 {
			c.add(Evidence{Kind: DraftUnder, Channel: frame.Draft, Value: f.draft, Reference: t.now.DraftLow, For: length, At: f.foot})
		}
		if f.firebox[1] < f.firebox[0] {
			c.add(Evidence{Kind: Fell, Channel: frame.Firebox, Value: f.firebox[1], Reference: f.firebox[0], For: length, At: f.foot})
		}
		if f.steady.Minutes() >= 3 {
			c.add(Evidence{Kind: Steady, Channel: f.channel, Value: f.low, Reference: f.up, For: f.steady, At: f.foot - f.steady})
		}
		c.add(rose)
		none := Evidence{Kind: NotLoaded, Channel: frame.Count, At: f.foot}
		if f.loaded && !f.revived {
			none.For = f.sinceLoad
		}
		if !f.loaded || f.revived || f.sinceLoad > dip {
			c.add(none)
		}
	case iCreosote:
		if f.channel != frame.Flue {
			return
		}
		c.add(rose)
		if f.finish > 1.1*f.start {
			c.add(Evidence{Kind: DraftSurged, Channel: frame.Draft, Value: f.finish, Reference: f.start, For: length, At: f.foot})
		}
		if t.gain(frame.Firebox, f.firebox) < 0.1 {
			c.add(Evidence{Kind: Unmoved, Channel: frame.Firebox, Value: f.firebox[1], Reference: f.firebox[0], For: length, At: f.foot})
		}
		if t.gain(frame.Chamber, f.chamber) < 0.1 {
			c.add(Evidence{Kind: Unmoved, Channel: frame.Chamber, Value: f.chamber[1], Reference: f.chamber[0], For: length, At: f.foot})
		}
	}
}

// overSince returns since when the draft had stood above the band, up to the top of the
// rise; lulls of a minute do not end it.
func (t *Tracker) overSince(f *features) time.Duration {
	since := f.top
	for i := t.course.after(f.top) - 1; i >= 0; i-- {
		p := t.course.point(i)
		if p.value[rowDraft] > t.now.DraftHigh {
			since = p.at
		} else if since-p.at > time.Minute {
			break
		}
	}
	return since
}
