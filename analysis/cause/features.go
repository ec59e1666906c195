package cause

import (
	"math"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
)

// features are what the burn so far has to say about a rise. NaN: it cannot be told.
type features struct {
	rise

	loaded    bool
	presumed  bool          // from a door or a dip: nobody has told yet
	revived   bool          // from the rise alone, out of a fire that had burnt down
	burntDown float64       // 0 to 1: how far it had, at the foot
	cold      bool          // the load lit a cold furnace
	sinceLoad time.Duration // from the load to the foot
	// bed is the highest share of the way from room to limit at which a channel stood
	// just before the reload, bedChannel which.
	bed        float64
	bedChannel frame.Channel
	bedAt      float64
	coals      time.Duration
	held       float64 // how far above the room it stood then, as a share of the burn's peak
	decay      float64 // how fast it had been cooling, shares of that a minute
	char       float64 // minutes of full flames whose char had not burnt away

	draft  float64 // mean over the rise, Pa
	late   float64 // its excess over the band's end in the last part of the rise, share of it
	under  float64 // how far it fell short of the band's lower end, share of it
	pre    float64 // mean draft before the foot, Pa
	post   float64 // mean draft in the first minutes after it, Pa
	start  float64 // mean draft in the first third of the rise, Pa
	finish float64 // mean draft at the top, Pa
	roar   float64 // noise of the draft at the top over that before the foot
	stayed time.Duration
	// What each was at the foot and at the top, °C.
	firebox [2]float64
	chamber [2]float64
	flue    [2]float64
}

var (
	rowFirebox, _ = row(frame.Firebox)
	rowChamber, _ = row(frame.Chamber)
	rowFlue, _    = row(frame.Flue)
	rowDraft, _   = row(frame.Draft)
)

// look measures the features of a rise.
func (t *Tracker) look(x rise) features {
	f := features{rise: x, bed: math.NaN()}
	c := &t.course
	t.lookAtLoad(&f)

	// Windows are cut so that the lag of a sheath, a minute or two, does not mix what
	// was before with what came after.
	const lag = 2 * time.Minute
	f.draft = c.mean(rowDraft, x.foot-time.Minute, x.top)
	f.under = math.NaN()
	if low := t.now.DraftLow; low > 0 {
		f.under = 1 - f.draft/low
	}
	// Before and after: not over the open door of a load, which is why what the draft
	// does then is looked for around the door.
	from, until, since := x.foot-10*time.Minute, x.foot-lag, x.foot
	if f.loaded && f.sinceLoad >= -lag && f.sinceLoad < 10*time.Minute {
		opened := x.foot - f.sinceLoad
		from, until, since = opened-10*time.Minute, opened-time.Minute, max(x.foot, opened+lag)
	}
	f.pre, f.post = c.mean(rowDraft, from, until), c.mean(rowDraft, since, min(since+5*time.Minute, x.top))
	f.start = c.mean(rowDraft, x.foot-lag, x.foot+(x.top-x.foot)/3)
	f.finish = c.mean(rowDraft, x.top-lag, x.top+slot)
	late := min(4*time.Minute, (x.top-x.foot)/2)
	f.late = ratio(c.mean(rowDraft, x.top-late-slot, x.top), t.now.DraftHigh) - 1
	f.roar = ratio(t.roughness(x.top-lag, x.top+slot), max(t.roughness(from, until), 2*little))
	f.firebox = [2]float64{c.near(rowFirebox, x.foot), c.near(rowFirebox, x.top)}
	f.chamber = [2]float64{c.near(rowChamber, x.foot), c.near(rowChamber, x.top)}
	f.flue = [2]float64{c.near(rowFlue, x.foot), c.near(rowFlue, x.top)}
	f.stayed = t.stayed(x)
	return f
}

// lookAtLoad measures what the latest load was laid on.
func (t *Tracker) lookAtLoad(f *features) {
	l, ok := t.load()
	f.presumed = ok && l.Known == t.now.At && l.Known != t.now.Load.Known
	if dip, out := t.outOfDip(f); out && (!ok || f.foot-l.At > 2*visit) {
		// Nobody told of a load, yet the rise comes out of a dip as a door makes it.
		l, ok = burn.Load{At: dip, Flue: math.NaN(), Chamber: math.NaN(), Firebox: math.NaN()}, true
		f.presumed = true
	}
	f.burntDown = ramp((f.footAt-t.room())/f.span, 0.35, 0.22, 0)
	if f.burntDown > 0.5 && (!ok || f.foot-l.At > spent) {
		l, ok = burn.Load{At: f.foot, Flue: math.NaN(), Chamber: math.NaN(), Firebox: math.NaN()}, true
		f.presumed, f.revived = true, true
	}
	if !ok || l.At > f.top {
		return
	}
	f.loaded, f.cold, f.coals = true, l.Cold, l.Coals
	f.sinceLoad = f.foot - l.At
	if l.Cold {
		return
	}
	// Brick holds the firebox hot over few coals; gas tells, and it has the last word. The
	// load may be dated some minutes late, when the door has cooled the gas already.
	for _, b := range [...]struct {
		c frame.Channel
		v float64
	}{{frame.Chamber, l.Chamber}, {frame.Flue, l.Flue}, {frame.Firebox, l.Firebox}} {
		r, _ := row(b.c)
		if before := t.course.highest(r, l.At-early, l.At); before > b.v || math.IsNaN(b.v) && !math.IsInf(before, 0) {
			b.v = before
		}
		if math.IsNaN(b.v) || b.c == frame.Firebox && !math.IsNaN(f.bed) {
			continue
		}
		if s := (b.v - t.room()) / t.span(b.c); math.IsNaN(f.bed) || s > f.bed {
			f.bed, f.bedChannel, f.bedAt = s, b.c, b.v
		}
	}
	t.lookAtBed(f, l.At)
}

// outOfDip returns when a channel fell abruptly just before the foot of the rise, false if
// none did.
func (t *Tracker) outOfDip(f *features) (time.Duration, bool) {
	c := &t.course
	first, last := c.after(f.foot-early), c.after(f.foot)
	for _, r := range [...]int{rowFirebox, rowChamber, rowFlue} {
		if i, ok := t.dipped(r, first, last); ok {
			return c.point(i).at, true
		}
	}
	return 0, false
}

// spent is how long after a load what has burnt down does not rise to the limit again, more
// air or less: that takes new wood, though nobody saw the door.
const spent = 50 * time.Minute

// early is how long before a load its door may have been opened.
const early = 5 * time.Minute

// lookAtBed measures how the bed had been glowing before the door was opened: a large one
// stays hot and cools slowly.
func (t *Tracker) lookAtBed(f *features, at time.Duration) {
	f.held, f.decay, f.char = math.NaN(), math.NaN(), math.NaN()
	r, ok := row(f.bedChannel)
	if !ok || math.IsNaN(f.bed) {
		return
	}
	const over = 12 * time.Minute
	room := t.room()
	peak := t.course.highest(r, at-90*time.Minute, at)
	if !math.IsInf(peak, 0) {
		f.held = (f.bedAt - room) / max(peak-room, 10)
	}
	f.char = t.char(at)
	f.decay = (t.course.near(r, at-early-over) - t.course.near(r, at-early)) / over.Minutes() / max(f.bedAt-room, 10)
}

// Flames leave a fifth of the wood as char, which glows for one to four hours (both from
// memory): it burns away with charFor. Flames that keep the flue under leastFlames of the
// way to its limit are a small fire's.
const (
	charFor     = time.Hour
	leastFlames = 0.7
)

// char is how much of it lies in the fire at a time, as the minutes of flames at the flue's
// highest that it takes to make it; NaN without a flue.
func (t *Tracker) char(at time.Duration) float64 {
	c, room, span := &t.course, t.room(), t.span(frame.Flue)
	sum, high, left, next := 0.0, math.NaN(), 1.0, at
	for i := c.after(at) - 1; i >= 0; i-- {
		p := c.point(i)
		dt := next - p.at
		next = p.at
		left *= charFor.Seconds() / (charFor + dt).Seconds()
		v := (p.value[rowFlue] - room) / span
		if math.IsNaN(v) {
			continue
		}
		if !(v <= high) {
			high = (c.smooth(rowFlue, i) - room) / span
		}
		sum += float64(max(0, v) * min(dt, early).Minutes() * left)
	}
	return sum / max(high, leastFlames)
}

// roughness is the mean noise of the draft within slots, Pa; NaN without any.
func (t *Tracker) roughness(from, to time.Duration) float64 {
	sum, n := 0.0, 0.0
	for i := t.course.after(from); i < t.course.n && t.course.point(i).at <= to; i++ {
		if v := t.course.point(i).rough; !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum / n
}

// stayed is how long the channel has been above three quarters of its way to the limit,
// or had been when it fell.
func (t *Tracker) stayed(x rise) time.Duration {
	mark := t.room() + float64(0.75*x.span)
	first, last := x.top, x.top
	for i := t.course.after(x.foot); i < t.course.n; i++ {
		if t.course.smooth(x.row, i) > mark {
			first, last = min(first, t.course.point(i).at), t.course.point(i).at
		}
	}
	return last - first
}

// gain is how far a temperature went from the foot to the top as a share of its way to its
// limit, so that channels of different places compare.
func (t *Tracker) gain(c frame.Channel, v [2]float64) float64 {
	return (v[1] - v[0]) / t.span(c)
}

// answer is how far firebox and chamber went along with the flue, as a share of its own
// rise; NaN without either.
func (t *Tracker) answer(f *features) float64 {
	firebox, chamber := t.gain(frame.Firebox, f.firebox), t.gain(frame.Chamber, f.chamber)
	if math.IsNaN(chamber) || firebox > chamber {
		chamber = firebox
	}
	return chamber / t.gain(frame.Flue, f.flue)
}

// passed is 0 to 1 for a flue that has risen since the time given while the chamber, whose gas
// it is, took no part: what burns there burns behind it. A probe in brick is late by a minute or
// two.
func (t *Tracker) passed(f *features, since time.Duration) float64 {
	if f.channel != frame.Flue {
		return 0
	}
	chamber := t.gain(frame.Chamber, [2]float64{t.course.near(rowChamber, since), f.chamber[1]})
	flue := t.gain(frame.Flue, [2]float64{t.course.near(rowFlue, since), f.flue[1]})
	if !(flue > 0) {
		return 0
	}
	return float64(ramp(chamber/flue, 0.3, 0.1, 0) * ramp((f.top-since).Minutes(), 1, 3, 0))
}

// little is a draft, Pa, that is none to compare others with.
const little = 0.05

// ratio compares two drafts; NaN where the second is none to compare with.
func ratio(a, b float64) float64 {
	if !(b > little) {
		return math.NaN()
	}
	return a / b
}

// ramp goes from 0 at a to 1 at b, which may be below a. Where x is no number it is the
// neutral value.
func ramp(x, a, b, neutral float64) float64 {
	if math.IsNaN(x) {
		return neutral
	}
	return math.Min(1, math.Max(0, (x-a)/(b-a)))
}
