package cause

import (
	"time"

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
	if t.now.BlowerStopped && subject == alarm.PlenumOverheat {
		score[iBlower] = 4
		said[iBlower].add(Evidence{
			Kind: Stopped, Channel: frame.Plenum, Value: t.now.Values.Or(frame.Plenum, t.now.Values[frame.Flue]),
			For: t.now.At - t.stopped, At: t.stopped,
		})
	}
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
	over := ramp(f.over, 0, 0.25, 0.25)
	// What stands out of the draft explains the rise; it leaves little for the rest.
	ordinary := float64(-4 * ramp(f.over, 0.05, 0.3, 0))

	// Whether the rise began with the load. A cold furnace takes its time to light.
	with := 0.0
	if f.loaded {
		late, soon := 18*time.Minute, 7*time.Minute
		if f.cold {
			late, soon = 30*time.Minute, 14*time.Minute
		}
		with = ramp(f.sinceLoad.Minutes(), late.Minutes(), soon.Minutes(), 0)
	}
	quick := ramp(f.speed, 0.015, 0.08, 0.5) // an ordinary load takes half an hour
	hurried := ramp(f.speed, 0.06, 0.2, 0.5)

	// Whether the gas got hot behind the appliance and not in it.
	behind := ramp(t.answer(f), 0.45, 0.2, 0.3)
	violent := ramp(f.speed, 0.08, 0.3, 0.5)

	climb := ramp(f.finish/f.start, 1.05, 1.3, 0)
	s[iDraftHigh] = -2 + float64(5.5*over) + float64(climb*over) - float64(2*behind) - float64(1.5*violent)

	if f.loaded && !f.cold {
		bed := ramp(f.bed, 0.25, 0.55, 0.3)
		s[iCoalBed] = -3 + float64(3*with) + float64(3*bed) + quick + ordinary
	}
	if f.loaded {
		note := 0.0
		if t.hasNote {
			note = float64(3 * ramp(t.moisture, 0.14, tooDry, 0))
			note -= float64(2 * ramp(t.moisture, 0.13, 0.18, 0))
		}
		s[iFineFuel] = -2.5 + float64(2*with) + float64(2*hurried) + quick + ordinary
		s[iDryFuel] = -1.8 + float64(2*with) + float64(1.5*quick) - float64(1.5*hurried) + note + ordinary
	}

	// Air beyond the control: in the middle of a burn, with a draft that sags although the
	// flue gets hotter, or a firebox that cools while the gas behind it gets hotter.
	sag := ramp(f.post/f.pre, 0.99, 0.85, 0)
	low := ramp(f.under, 0, 0.3, 0)
	sudden := float64(ramp(f.steady.Minutes(), 2, 8, 0) * ramp(f.speed, 0.01, 0.04, 0.5))
	cooler := ramp(t.gain(frame.Firebox, f.firebox), 0, -0.1, 0)
	door := 0.0
	if t.now.Door {
		door = 1
	}
	s[iAirLeak] = -3 + float64(1.5*(1-with)) + float64((1+2*(1-with))*sudden) + float64(3*sag) + low + float64(2*cooler) + door + ordinary

	// The deposit burns behind the appliance: the flue gets hot and nothing before it does.
	if f.channel == frame.Flue {
		surge := ramp(f.finish/f.start, 1.1, 1.6, 0)
		roar := ramp(f.roar, 1.3, 2.5, 0.2)
		s[iCreosote] = -4 + float64(2*behind) + float64(1.5*surge) + float64(1.5*roar) + float64(1.5*violent) + float64(1-with)
		if subject == alarm.ChimneyFire {
			s[iCreosote] += 4
		}
	}
}
