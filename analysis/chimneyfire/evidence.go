package chimneyfire

import (
	"math"

	"fluewright/analysis/burn"
	"fluewright/analysis/portable"
)

// What the signs weigh.
const (
	ordinary  = 0.6   // K/s: more needs air and fuel that burn freely
	newGround = 10.0  // K above what the calm minutes had seen: no recovery from a dip
	tooCold   = 120.0 // °C: a deposit does not catch fire from gas like this
	hotFlue   = 482.0 // °C, 900 °F: over-fire at the collar (common practice, no source)
	drawing   = 200.0 // °C: a flue in clean burn (400 °F, common practice, no source)
	leastDraw = 0.5   // Pa: the least change of draft that means something
	unheard   = 4.0   // K/s for half a minute: of no fire in an appliance (judgement)
	leap      = 60.0  // K above what the calm minutes had seen
	plainly   = 0.3   // as little random is a plain beat

	assumedRoom   = 20.0  // °C
	hotBefore     = 100.0 // K before the collar: brick around a probe that is still being heated lags
	wasCooler     = 0.08  // of the rise before the collar, over that: by so much the collar was cooler,
	hasHeld       = 0.05  // and so much less is still the same fire
	plainlyHotter = 0.04
)

// weigh turns the look into evidence.
func (j *Judge) weigh(in Inputs, l look) Evidence {
	var e Evidence
	c := &j.calm
	e.Level = j.level(l.flue)
	cold, _ := j.warmth()
	fresh := in.Phase == burn.Lighting || c.flue < cold && j.custom.flue < cold
	if fresh {
		e.Level-- // kindling flares up in a cold flue
	}

	if l.rate > 0 && c.known && l.flue > c.peak+newGround {
		own := max(ordinary, float64(0.8*j.custom.rate))
		e.Rise = clamp(float64(2*(l.rate-own)), 0, 3.5)
	}
	e.Rise = j.fade(&j.held.Rise, e.Rise)

	if c.draws && !math.IsNaN(l.low) {
		e.Surge = j.surge(l)
		e.Roar = j.roar(l)
		// A gate that flutters is as loud, but it beats, and lifts nothing.
		e.Roar = min(e.Roar, 1+float64(3*max(0, e.Surge-1))+float64(3*l.random*l.roaring))
		// A gate that sticks shut lifts the draft too, without noise, and feeds the fire
		// only slowly; but it does so at once.
		swells := j.swells()
		e.Surge = min(e.Surge, 1+clamp(float64(2*(max(0, e.Rise)+max(0, e.Roar)))+float64(1.3*swells), 0, 1.5))
		// The hot gas behind the collar comes first, and the collar follows.
		e.Surge += float64(swells * clamp(e.Surge-1, 0, 1) * clamp((l.grew-1)/6, 0, 1))
		if fresh { // nobody has seen yet what flames are like here
			e.Surge, e.Roar = e.Surge/2, e.Roar/2
		}
	}
	if c.known {
		e.Upstream = upstream(l)
		if e.Surge < 1 {
			e.Upstream = min(e.Upstream, cooled(l))
		}
	}
	if c.draws && e.Roar < 0.5 && j.beyond(l) {
		// A gate that does not open any more pulls the flames through the appliance: the
		// firebox is cooled, and the heat arrives at the collar.
		e.Surge, e.Upstream = 0, min(e.Upstream, 0.5)
	}
	if c.draws {
		// Dry and fine wood climbs as fast, but the draft follows it as it should.
		e.Rise = min(e.Rise, 1.3+clamp(max(0, e.Surge-1)+max(0, e.Roar)+max(0, e.Upstream-0.5), 0, 2))
	}
	if l.flue > c.peak+leap { // NaN is not more
		// No exchanger lets the flames of the firebox through so fast, unless they were seen
		// to come.
		e.Rise += float64(clamp(float64(1.5*(l.rate-unheard)), 0, 4) * clamp(1+e.Upstream, 0, 1))
	}
	e.Hotter = j.hotter(l)
	e.Air = j.air(in.DoorOpen, c.draws && l.level < float64(0.75*c.draft))
	return zeroed(e)
}

// level weighs how hot the collar is: little speaks for a chimney fire over coals.
func (j *Judge) level(flue float64) float64 {
	hot := hotFlue
	if j.settings.FlueLimit > 0 {
		hot = j.settings.FlueLimit
	}
	cold, drawing := j.warmth()
	switch {
	case flue < cold:
		return max(-2.5, (flue-cold)/60-1)
	case flue < drawing:
		return (flue - drawing) / (drawing - cold)
	default:
		return min(0.8, float64(1.3*(flue-drawing))/max(hot-drawing, 50))
	}
}

// warmth is below what the collar is too cold, and from where on it is as it should be,
// °C. Where the limit is low the probe sits in cooler gas than elsewhere, or on the pipe.
func (j *Judge) warmth() (cold, draws float64) {
	share := 1.0
	if limit := j.settings.FlueLimit; limit > 0 {
		share = min(1, math.Sqrt(limit/hotFlue))
	}
	return max(60, tooCold*share), max(90, drawing*share)
}

// beyond reports a draft that no heat in the column makes of the calm one: draft goes
// with buoyancy, and infinitely hot gas has but 1/To of it. A regulator that has stopped
// to hold explains it.
func (j *Judge) beyond(l look) bool {
	outside := j.gather.back(0).outside
	return l.level > float64(1.1*j.calm.draft*buoyancy(endless, outside)/buoyancy(j.calm.flue, outside))
}

// endless is a heat beyond any, °C.
const endless = 1e9

// air weighs what more air would explain: a door, a draft that sags as it does while one
// is open, and the fire that flares up behind it.
func (j *Judge) air(open, sags bool) float64 {
	const lasts = 120 // bins, 10 min
	switch {
	case open || sags:
		j.doored = 1
	case j.doored > 0:
		j.doored++
	}
	if j.doored == 0 || j.doored > lasts {
		return 0
	}
	return float64(3*(float64(j.doored)/lasts)) - 3
}

// surge weighs the draft that has held for half a minute: against what was seldom
// exceeded, and against what the collar explains of it.
func (j *Judge) surge(l look) float64 {
	c := &j.calm
	high := max(c.high, j.custom.high)
	scale := max(leastDraw, float64(0.05*high), float64(2*c.swing))
	over := clamp((l.low-high)/scale, 0, 1)
	if over > 0 && !math.IsNaN(l.explained) {
		// Where a regulator holds the draft far below what such gas would draw, what it gives
		// way is the gas's doing.
		over = float64(over * (1 - clamp(float64(2*(l.explained-l.low))/l.low, 0, 1)))
		over += clamp(float64(0.6*(l.low-l.explained))/scale, 0, 1.5)
	}
	// What stands far above its own swings is no gust either.
	return over * max(l.roaring*(1-j.beats(l)), stands(l, c))
}

// swells is 0 to 1 for a draft that came up over tens of seconds, as heat fills a column.
// A gate that falls shut, a fan that stops and a door make theirs within moments, and the
// wind its fronts within minutes.
func (j *Judge) swells() float64 {
	g, base := &j.gather, j.calm.draft
	top := float64((g.back(0).draft+g.back(1).draft)/2) - base // of the last ten seconds
	if !(top > 0) {
		return 0
	}
	leap := 0.0
	for i := range climb {
		if i+2 >= g.filled {
			return 0
		}
		if d := g.back(i).draft - g.back(i+2).draft; d > leap {
			leap = d
		}
		if g.back(i).draft < base+float64(top/4) {
			return clamp((0.65-leap/top)/0.25, 0, 1)
		}
	}
	return 0
}

// climb is how long a column takes to fill with heat, bins, at the most.
const climb = 2 * minute

// beats is 0 to 1 for a draft that is loud by a beat: a gate that swings lifts the mean by
// what it is shut longer than before, and that by no more than it swings. Where the
// draft is looked at too seldom to tell, it is none.
func (j *Judge) beats(l look) float64 {
	usual := j.usualNoise()
	if math.IsNaN(l.noise) || math.IsNaN(usual) {
		return 0
	}
	return float64(l.told * clamp(1-l.mostly/plainly, 0, 1) * clamp(max(l.noise, quiet)/usual-1, 0, 1))
}

// stands is how far the surge is above its own swings, 0 to 1.
func stands(l look, c *calm) float64 {
	if math.IsNaN(l.swing) {
		return 1
	}
	above := (l.level - c.draft) / max(l.swing, quiet)
	return clamp(float64(above/2)-1, 0, 1)
}

// roar weighs the noise: a fire that is twice as strong makes 1.4 times the noise, a
// burning column several times.
func (j *Judge) roar(l look) float64 {
	usual := j.usualNoise()
	if math.IsNaN(l.noise) || math.IsNaN(usual) {
		return 0
	}
	return clamp(float64(2*portable.Log(max(l.noise, quiet)/usual))-0.7, -0.5, 4) * l.roaring
}

// usualNoise is what the column was like of late and, while the fire may have changed,
// over hours: flames that flare up show at the collar.
func (j *Judge) usualNoise() float64 {
	loud := larger(j.calm.loud(), j.custom.noise/2)
	g := &j.gather
	change := math.Abs(g.back(0).flue - g.back(min(lately, max(g.filled-1, 0))).flue)
	return loud + float64(max(0, j.custom.noise-loud)*clamp((change-4)/16, 0, 1))
}

// upstream compares the last minute's rise with that of the gas before it. Gas cools on
// its way: what the appliance's fire does to the collar it does to the chamber at least
// as much. What had been going on before is taken off both, since a probe in brick goes
// on for minutes.
func upstream(l look) float64 {
	if math.IsNaN(l.upRise) {
		return 0
	}
	if l.flueRise > 20 && l.upRise < float64(-0.5*l.flueRise) {
		return -4 // one does not fall as the other climbs: the wires were swapped
	}
	if !(l.grew > 6) {
		if l.flueRise > 20 {
			return min(0, explains(l.upRise/l.flueRise))
		}
		return 0
	}
	if l.flueRise <= 0 {
		return 0 // it fell, and has stopped
	}
	share := l.upGrew / l.grew
	if l.upRise > 20 {
		// The collar follows by a minute or two what has climbed so far already.
		share = max(share, l.upRise/l.flueRise)
	}
	return explains(share) * clamp((l.grew-6)/14, 0, 1)
}

// hotter weighs a collar that is hotter than the gas before it, which was not so before and has
// not cooled: no fire in the appliance, no air and no bypass does that, and no blower that
// stops. Where both climb, the thicker sheath or the one in brick is late.
func (j *Judge) hotter(l look) float64 {
	c, up := &j.calm, j.gather.back(0).up
	rise := c.up - assumedRoom
	if !(rise >= hotBefore && c.up-c.flue >= float64(wasCooler*rise) && up >= c.up-float64(hasHeld*rise) && l.flue > c.peak+newGround) ||
		j.gather.stopped() {
		return 0
	}
	took := (up - c.up) / (l.flue - c.flue)
	return clamp(float64(3*(l.flue-up))/float64(plainlyHotter*rise), 0, 3) * clamp(1.5-float64(6*took), 0, 1)
}

// cooled is the most that upstream may say where it falls while the collar climbs and the
// draft does not surge: cold air through an open ash door does that as well.
func cooled(l look) float64 {
	falls := -l.upRise / max(l.flueRise, 1)
	if !(falls > 0) {
		return math.Inf(1)
	}
	return 0.5 + clamp(3-float64(10*falls), 0, 1)
}

// explains weighs the share of the collar's rise that was seen upstream.
func explains(share float64) float64 { return clamp(1.5-float64(6*share), -2, 1.5) }

// fade lets evidence go slowly: a column that has reached its heat climbs no more.
func (j *Judge) fade(held *float64, now float64) float64 {
	const over = 180.0 // s
	s := binLength.Seconds()
	*held = max(now, float64(*held*(over/(over+s))))
	if *held < 0.05 {
		*held = 0
		return now
	}
	return *held
}

// zeroed makes parts that came out of nothing nothing.
func zeroed(e Evidence) Evidence {
	for _, p := range []*float64{&e.Rise, &e.Level, &e.Surge, &e.Roar, &e.Upstream, &e.Hotter, &e.Air} {
		if math.IsNaN(*p) {
			*p = 0
		}
	}
	return e
}

func clamp(v, low, high float64) float64 { return max(low, min(high, v)) }
