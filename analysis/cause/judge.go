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

// Where each cause's score is kept.
const (
	iDraftHigh = iota
	iCoalBed
	iFineFuel
	iDryFuel
	iAirLeak
	iCreosote
	iBlower
	nCauses
)

var codes = [nCauses]Code{DraftHigh, CoalBed, FineFuel, DryFuel, AirLeak, Creosote, Blower}

// never is the score of a cause that is out of the question.
const never = -1e3

// judge ranks the causes of a rise of the channel into list and returns how many.
func (t *Tracker) judge(subject alarm.Name, c frame.Channel, list *[nCauses]Cause) int {
	var score [nCauses]float64
	var said [nCauses]Cause
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
		k := t.clues(&f)
		t.score(subject, &f, &k, &score)
		for i := range said {
			t.explain(i, &f, &k, &said[i])
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
