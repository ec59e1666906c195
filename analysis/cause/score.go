package cause

import (
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
)

// clues are what the features of a rise come to, each 0 to 1: not at all to plainly.
// Their bounds and the weights below are this project's own: set by what follows from
// physics, and then moved as little as simulated nights of three kinds asked for.
type clues struct {
	over, climb            float64 // the draft: above the band, growing with the heat
	behind, violent        float64 // hot behind the appliance only, and within minutes
	passed                 float64 // and the chamber, whose gas it is, takes no part
	surge, roar            float64 // the draft: shooting up, noisy
	with, leapt, full      float64 // the rise: came with a load, began with a leap, had a full fire before
	bed, left, upper       float64 // the load: on a hot bed, that has coals left, whose upper pieces caught fire late
	char                   float64 // there was much char, of flames that were long and hot, and ended lately
	prompt, growing        float64 // it caught fire at once; the fire grew already when it was laid on
	quick, hurried, fierce float64 // the wood: quicker than usual, much quicker, as only much surface is
	lagging                float64 // slow to catch
	again, long            float64 // so it did the time before, and it lasts
	sag, pulled, low       float64 // the draft: fell as the rise began, grew, is below the band
	sudden, cooler         float64 // out of a steady burn; the firebox stays behind
}

// clues weighs the features.
func (t *Tracker) clues(f *features) (k clues) {
	k.over = ramp(f.late, 0.03, 0.25, 0.25)
	k.climb = ramp(ratio(f.finish, f.start), 1.05, 1.3, 0)
	k.behind = ramp(t.answer(f), 0.45, 0.2, 0.3)
	k.violent = ramp(f.speed, 0.05, 0.2, 0.5)
	k.surge = ramp(ratio(f.finish, f.start), 1.1, 1.5, 0)
	k.roar = ramp(f.roar, 1.3, 2.5, 0.2)

	k.with = f.withLoad()
	loadAt := f.foot - f.sinceLoad
	leaptAt, leapt := t.leapt(f.top)
	k.passed = t.passed(f, f.foot)
	if leapt {
		k.passed = max(k.passed, t.passed(f, leaptAt))
		k.leapt = 1 - k.passed
		if leaptAt < loadAt+leap {
			k.with = float64(k.with / 3) // it was there before the load, or was taken for one
		}
	}
	bedded := 1.0
	if f.loaded && !f.cold {
		// Nobody lays wood on a fire that burns at its best: what looks like a load there
		// may be a door that was left ajar.
		k.full = float64(ramp(f.held, 0.85, 0.97, 0) * ramp(f.decay, 0.01, 0.003, 0))
		// Coals cool. Where it grew already the load before is what burns, and somebody looked.
		k.growing = ramp(f.decay, -0.005, -0.02, 0)
		k.bed = ramp(f.bed, 0.25, 0.6, 0.3)
		// A bed that cools slowly because it is nearly out is none.
		k.left = float64(ramp(f.held, 0.2, 0.4, 0.5) * ramp(f.bed, 0.08, 0.2, 0.5))
		// Nothing but a lack of wood ends flames: where they end slowly, coals carry on. A fire
		// that falls away quickly leaves few, and one that still burns at its best has not
		// made them yet.
		k.char = float64(ramp(f.char, 25, 36, 0) * ramp(f.decay, 0.036, 0.026, 0.5) * (1 - k.full))
		// Over a hot bed the upper pieces of a load catch fire late, and all at once.
		k.upper = float64(k.bed * ramp(f.sinceLoad.Minutes(), 45, 25, 0))
		if leaptAt >= loadAt {
			k.leapt = float64(k.leapt * (1 - k.upper))
		}
		bedded = ramp(f.bed, 0.05, 0.15, 1)
		// A large bed lights cold wood from below within a minute or two; elsewhere it first
		// has to dry.
		k.prompt = ramp(f.sinceLoad.Minutes(), 5+float64(6*k.char), 2+float64(4*k.char), 0.5)
	}

	k.quick = ramp(f.speed, 0.015, 0.08, 0.5) // an ordinary load takes half an hour
	k.hurried = ramp(f.speed, 0.05, 0.18, 0.5)
	k.fierce = ramp(f.speed, 0.2, 0.35, 0)
	// Any wood takes its time on a bed that is nearly out.
	k.lagging = ramp(f.sinceLoad.Minutes(), 0.5, 8-float64(3.5*bedded), 0.5)
	if f.revived {
		k.lagging, k.prompt = 0.5, 0.5 // nobody knows when it was laid on
	}
	k.again = float64((1 - k.left) * ramp(t.before[f.row]/f.speed, 0.4, 0.8, 0))
	k.long = ramp(f.stayed.Minutes(), 20, 40, 0)

	k.sag = ramp(ratio(f.post, f.pre), 0.99, 0.85, 0)
	k.pulled = ramp(ratio(f.post, f.pre), 1.08, 1.3, 0)
	k.low = ramp(f.under, 0, 0.3, 0)
	k.sudden = float64((1 - k.upper) * float64(ramp(f.steady.Minutes(), 2, 8, 0)*ramp(f.speed, 0.01, 0.04, 0.5)))
	if f.channel != frame.Firebox {
		k.cooler = ramp(t.gain(frame.Firebox, f.firebox)/t.gain(f.channel, [2]float64{f.footAt, f.high}), 0.6, 0.1, 0)
	}
	return k
}

// score adds up the log-odds of each cause against nothing standing out.
func (t *Tracker) score(subject alarm.Name, f *features, k *clues, s *[nCauses]float64) {
	// A draft beyond the band explains the rise and leaves little for the rest.
	rest := float64(-4 * ramp(f.late, 0.05, 0.3, 0))

	if t.now.DraftHigh > 0 {
		s[iDraftHigh] = -2 + float64(5.5*k.over) + float64(k.climb*k.over) -
			float64(2.5*k.behind) - float64(k.violent*k.behind) - float64(1.5*k.roar)
	}

	if f.loaded && !f.cold {
		coals := float64(2*ramp(f.decay, 0.018, 0.008, 0.3)) + float64(1.5*ramp(f.coals.Minutes(), 3, 20, 0))
		s[iCoalBed] = rest - 3.7 + float64(2*max(k.with, float64(0.8*k.upper))) + float64(3*k.bed) +
			max(float64(k.left*coals), float64(3*k.char)) + k.quick - float64(3*k.full) - float64(2*(1-k.prompt)) - float64(2*k.growing) - float64(2*k.fierce)
	}
	if f.loaded {
		// Small pieces are quick to catch and to rise; dry ones take their time, and last.
		wood := rest + float64(2*k.with) + k.quick - float64(k.full*(1-k.growing))
		s[iFineFuel] = wood - 1.8 + float64(0.8*k.hurried) + k.fierce - float64(0.7*k.lagging) - float64(2*k.again) - float64(2*k.long)
		s[iDryFuel] = wood - 1.6 - float64(0.4*k.hurried) + float64(0.7*k.lagging) + k.again + k.long + t.note()
	}

	// Air beyond the control: in the middle of a burn, with a draft that sags although the
	// flue gets hotter, or a firebox that stays behind while the gas after it gets hotter.
	alone := float64((1 - k.with) * (1 - k.upper))
	s[iAirLeak] = rest - 3 + float64(1.5*alone) + float64((1+float64(2*(1-k.with)))*k.sudden) +
		float64(2*k.full) + float64(4*k.leapt) + float64(3*k.sag) + k.low + k.cooler - float64(2*k.pulled) - k.roar -
		float64(3*k.passed) // through the appliance it comes by the chamber
	if t.now.Door {
		s[iAirLeak]++
	}

	// The deposit burns behind the appliance: the flue gets hot and nothing before it does.
	if f.channel == frame.Flue {
		s[iCreosote] = -4 + float64(2.5*k.behind) + float64(1.5*k.surge) + float64(2*k.roar) + float64(1.5*k.violent) + (1 - k.with) + float64(1.5*k.passed)
		if subject == alarm.ChimneyFire || t.now.ChimneyFire {
			s[iCreosote] = max(s[iCreosote]+4, 4) // whoever found it has looked closer
			for i := range iCreosote {
				s[i] = min(s[i], 1)
			}
		}
	}
}

// note is what the logged moisture says of dry wood, in log-odds.
func (t *Tracker) note() float64 {
	if !t.hasNote {
		return 0
	}
	return float64(3*ramp(t.moisture, 0.14, tooDry, 0)) - float64(2*ramp(t.moisture, 0.13, 0.18, 0))
}

// withLoad says how far the rise goes with the load: 1 if it began soon after wood was
// laid on, 0 if that was long ago. A cold furnace takes its time to light.
func (f *features) withLoad() float64 {
	switch {
	case !f.loaded:
		return 0
	case f.revived:
		return 0.8
	case f.cold:
		return ramp(f.sinceLoad.Minutes(), 30, 14, 0)
	default:
		// On a fire that has burnt down wood lies and dries for long, and then it is what burns.
		return max(ramp(f.sinceLoad.Minutes(), 18, 7, 0), float64(0.8*f.burntDown))
	}
}
