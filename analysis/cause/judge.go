package cause

import (
	"fluewright/analysis/alarm"
	"fluewright/analysis/frame"
	"fluewright/analysis/portable"
)

// named is the weight below which a cause is not worth naming.
const named = 0.1

// outstanding is the weight that the best cause must have for anything to stand out.
const outstanding = 0.25

// tooDry is the moisture of wood, wet basis, under which it burns too fast: common
// practice, no source.
const tooDry = 0.10

// judge ranks the causes of a rise of the channel into list and returns how many.
func (t *Tracker) judge(subject alarm.Name, c frame.Channel, list *[len7]Cause) int {
	var score [len7]float64
	var said [len7]Cause
	for i, code := range codes {
		said[i].Code = code
		score[i] = never
	}
	t.judgeAir(subject, &score[iBlower], &said[iBlower])
	if subject == alarm.PlenumOverheat {
		c = t.driver()
	}
	if x, ok := t.findRise(c); ok {
		f := t.look(x)
		t.score(subject, &f, &score)
		for i := range said {
			t.explain(i, &f, &said[i])
		}
	}
	if subject == alarm.ChimneyFire {
		score[iCreosote] = max(score[iCreosote], 2)
	}

	total := 1.0 // of nothing standing out
	for i, s := range score {
		if s > never {
			said[i].Weight = portable.Exp(min(s, 8))
			total += said[i].Weight
		}
	}
	n := 0
	for i := range said {
		said[i].Weight /= total
		if said[i].Weight < named || said[i].Evidence[0].Kind == None {
			continue
		}
		at := n
		for at > 0 && list[at-1].Weight < said[i].Weight {
			list[at] = list[at-1]
			at--
		}
		list[at] = said[i]
		n++
	}
	if n > 0 && list[0].Weight < outstanding {
		return 0
	}
	return n
}

// judgeAir says how far the heat is not carried away: the blower stands, or the plenum is
// too hot over a fire that is within its limits.
func (t *Tracker) judgeAir(subject alarm.Name, score *float64, c *Cause) {
	hot := subject == alarm.PlenumOverheat
	if t.now.BlowerStopped {
		*score = 2
		if hot {
			*score = 4
		}
		c.add(Evidence{
			Kind: Stopped, Channel: frame.Plenum, Value: t.now.Values.Or(frame.Plenum, t.now.Values[frame.Flue]),
			For: t.now.At - t.stopped, At: t.stopped,
		})
	}
	if !hot {
		return
	}
	fire := t.driver()
	limit, v := t.now.Limits[fire], t.now.Values[fire]
	if share := (v - t.room()) / max(limit-t.room(), 50); limit > 0 && share < 0.95 {
		*score = max(*score, 3-float64(4*ramp(share, 0.75, 0.95, 0)))
		c.add(Evidence{Kind: Within, Channel: fire, Value: v, Reference: limit, At: t.now.At})
	}
}

// driver is the limited channel that is nearest to its limit: the fire heats the plenum.
func (t *Tracker) driver() frame.Channel {
	best, c := 0.0, frame.Flue
	for _, l := range [...]frame.Channel{frame.Firebox, frame.Chamber, frame.Flue} {
		if limit := t.now.Limits[l]; limit > 0 && t.now.Values.Has(l) {
			if s := (t.now.Values[l] - t.room()) / max(limit-t.room(), 50); s > best {
				best, c = s, l
			}
		}
	}
	return c
}

// never is the score of a cause that is out of the question.
const never = -1e3

// Where each cause's score is kept.
const (
	iDraftHigh = iota
	iCoalBed
	iFineFuel
	iDryFuel
	iAirLeak
	iCreosote
	iBlower
)

var codes = [len7]Code{DraftHigh, CoalBed, FineFuel, DryFuel, AirLeak, Creosote, Blower}

// score adds up the log-odds of each cause against nothing standing out.
func (t *Tracker) score(subject alarm.Name, f *features, s *[len7]float64) {
	// A draft beyond the band explains the rise and leaves little for the rest.
	over := ramp(f.late, 0.03, 0.25, 0.25)
	ordinary := float64(-4 * ramp(f.late, 0.05, 0.3, 0))
	climb := ramp(f.finish/f.start, 1.05, 1.3, 0)

	// Whether the gas got hot behind the appliance and not in it, and how the draft took it.
	behind := ramp(t.answer(f), 0.45, 0.2, 0.3)
	violent := ramp(f.speed, 0.05, 0.2, 0.5)
	surge := ramp(f.finish/f.start, 1.1, 1.5, 0)
	roar := ramp(f.roar, 1.3, 2.5, 0.2)

	with := f.withLoad()
	leapt := 0.0
	if at, ok := t.leapt(f.top); ok {
		leapt = 1
		if !f.loaded || at < f.foot-f.sinceLoad+leap {
			with = float64(with / 3) // it was there before the load, or was taken for one
		}
	}
	// Nobody lays wood on a fire that burns at its best: what looks like a load there may
	// be a door that was left ajar.
	full := 0.0
	if f.loaded && !f.cold {
		full = float64(ramp(f.held, 0.85, 0.97, 0) * ramp(f.decay, 0.01, 0.003, 0))
	}
	// Over a hot bed the upper pieces of a load catch fire late, and all at once.
	bed, upper := 0.0, 0.0 // upper: as far as that explains it
	if f.loaded && !f.cold {
		bed = ramp(f.bed, 0.25, 0.6, 0.3)
		upper = float64(bed * ramp(f.sinceLoad.Minutes(), 45, 25, 0))
		leapt = float64(leapt * (1 - upper))
	}
	quick := ramp(f.speed, 0.015, 0.08, 0.5) // an ordinary load takes half an hour
	hurried := ramp(f.speed, 0.05, 0.2, 0.5)
	lagging := ramp(f.sinceLoad.Minutes(), 0.5, 3, 0.5) // the wood took its time to catch
	// Dryness is a property of the stock: the load before burnt as quickly.
	again := float64((1 - bed) * ramp(t.before[f.row]/f.speed, 0.4, 0.8, 0))

	s[iDraftHigh] = -2 + float64(5.5*over) + float64(climb*over) - float64(2.5*behind) - float64(violent*behind) - float64(1.5*roar)

	if f.loaded && !f.cold {
		left := ramp(f.held, 0.2, 0.4, 0.5) // a bed that cools slowly because it is nearly out is none
		s[iCoalBed] = -3.7 + float64(2*max(with, float64(0.8*upper))) + float64(3*bed) +
			float64(left*float64(2*ramp(f.decay, 0.018, 0.008, 0.3))) + float64(left*float64(1.5*ramp(f.coals.Minutes(), 3, 20, 0))) + quick - float64(3*full) + ordinary
	}
	if f.loaded {
		note := 0.0
		if t.hasNote {
			note = float64(3*ramp(t.moisture, 0.14, tooDry, 0)) - float64(2*ramp(t.moisture, 0.13, 0.18, 0))
		}
		long := ramp(f.stayed.Minutes(), 20, 40, 0)
		s[iFineFuel] = -2.3 + float64(2*with) + quick + float64(1.2*hurried) - float64(1.2*lagging) - float64(2*again) - float64(2*long) - full + ordinary
		s[iDryFuel] = -1.5 + float64(2*with) + quick - float64(0.8*hurried) + float64(0.6*lagging) + again + long + note - full + ordinary
	}

	// Air beyond the control: in the middle of a burn, with a draft that sags although the
	// flue gets hotter, or a firebox that lags behind while the gas behind it gets hotter.
	sag := ramp(f.post/f.pre, 0.99, 0.85, 0)
	low := ramp(f.under, 0, 0.3, 0)
	sudden := float64((1 - upper) * float64(ramp(f.steady.Minutes(), 2, 8, 0)*ramp(f.speed, 0.01, 0.04, 0.5)))
	cooler := 0.0
	if f.channel != frame.Firebox {
		cooler = ramp(t.gain(frame.Firebox, f.firebox)/t.gain(f.channel, [2]float64{f.footAt, f.high}), 0.6, 0.1, 0)
	}
	door := 0.0
	if t.now.Door {
		door = 1
	}
	pulled := ramp(f.post/f.pre, 1.08, 1.3, 0)
	s[iAirLeak] = -3 + float64(1.5*float64((1-with)*(1-upper))) + float64(2*full) + float64((1+float64(2*(1-with)))*sudden) + float64(3*sag) + low +
		cooler + door + float64(4*leapt) - float64(2*pulled) - roar + ordinary

	// The deposit burns behind the appliance: the flue gets hot and nothing before it does.
	if f.channel == frame.Flue {
		s[iCreosote] = -4 + float64(2.5*behind) + float64(1.5*surge) + float64(2*roar) + float64(1.5*violent) + float64(1-with)
		if subject == alarm.ChimneyFire || t.now.ChimneyFire {
			s[iCreosote] += 4
		}
	}
}

// withLoad says how far the rise goes with the load: 1 if it began soon after wood was
// laid on, 0 if that was long ago. A cold furnace takes its time to light.
func (f *features) withLoad() float64 {
	switch {
	case !f.loaded:
		return 0
	case f.cold:
		return ramp(f.sinceLoad.Minutes(), 30, 14, 0)
	default:
		return ramp(f.sinceLoad.Minutes(), 18, 7, 0)
	}
}
