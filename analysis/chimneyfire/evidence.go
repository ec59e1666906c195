package chimneyfire

import (
	"math"
	"slices"

	"fluewright/analysis/burn"
	"fluewright/analysis/portable"
)

// look is what the last half minute was like; NaN where nothing is known.
type look struct {
	flue, rate       float64 // °C, K/s sustained
	flueRise, upRise float64 // K within the last minute
	level, low       float64 // Pa of draft: usual, and seldom less
	explained        float64 // Pa
	noise            float64 // Pa
	swing            float64 // Pa, standard deviation beside the trend
	roaring          float64 // 0 to 1: the swings are quicker than wind's
}

// sheath is what a probe at the collar may hide of a quick rise, s: the time constant of
// a sheath of 6 mm (makers' response times, in slow air).
const sheath = 60.0

func (j *Judge) look() look {
	g := &j.gather
	n := min(recent, g.filled)
	l := look{flue: g.back(0).flue, rate: math.NaN(), explained: math.NaN(), roaring: 1}

	var draft, noise [recent]float64
	nd, nn := 0, 0
	for i := range n {
		b := g.back(i)
		if !math.IsNaN(b.draft) {
			draft[nd] = b.draft
			nd++
		}
		if !math.IsNaN(b.noise) {
			noise[nn] = b.noise
			nn++
		}
	}
	l.level, l.low, l.noise, l.swing = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if nd >= recent-1 {
		// The least but one of 25 s: one weak moment does not end a surge.
		last := draft
		slices.Sort(last[:recent-1])
		l.low = last[1]
		slices.Sort(draft[:nd])
		l.level = draft[nd/2]
	}
	slices.Sort(noise[:nn])
	if nn >= recent-1 {
		l.noise = noise[nn/2]
	}
	if n == recent {
		l.swing, l.roaring = swings(g)
	}
	if n == recent {
		// What lasts: both the last half minute and its end.
		l.rate = min(slope(g, recent), slope(g, recent/2))
		if hot := l.flue + sheath*max(0, l.rate); j.calm.draws {
			l.explained = float64(j.calm.pull * buoyancy(hot, g.back(0).outside))
		}
	}
	before := g.back(min(lately, max(g.filled-1, 0)))
	l.flueRise, l.upRise = l.flue-before.flue, g.back(0).up-before.up
	return l
}

// slope is the collar's over the last n bins, K/s, by least squares.
func slope(g *gather, n int) float64 {
	var t0, st, sv, stt, stv, m float64
	t0 = g.back(0).end.Seconds()
	for i := range n {
		b := g.back(i)
		if math.IsNaN(b.flue) {
			continue
		}
		t := b.end.Seconds() - t0
		m++
		st += t
		sv += b.flue
		stt += float64(t * t)
		stv += float64(t * b.flue)
	}
	d := float64(m*stt) - float64(st*st)
	if m < 2 || d <= 0 {
		return math.NaN()
	}
	return (float64(m*stv) - float64(st*sv)) / d
}

// gust is the time over which wind at a chimney's end keeps its strength, s, at the least.
const gust = 4.0

// swings tells the noise of a burning column from wind by von Neumann's ratio: half the
// mean square of successive differences over the variance about the course. It is 1 where
// each reading stands for itself and 1 − exp(−Δt/τ) where the pressure keeps its way for
// a time τ. The course is a parabola, so that the beginning of a surge is no swing.
func swings(g *gather) (swing, roaring float64) {
	line := [recent]float64{-5, -3, -1, 1, 3, 5}
	bend := [recent]float64{5, -1, -4, -4, -1, 5}
	const line2, bend2 = 70, 84
	var sum, square, power, step, c1, c2 float64
	for i := range recent {
		b := g.back(i)
		sum += b.raw
		square += b.square
		power += b.power
		step += b.step
		c1 += float64(line[i] * b.raw)
		c2 += float64(bend[i] * b.raw)
	}
	if math.IsNaN(sum + power) { // a bin is missing: nobody knows
		return math.NaN(), 1
	}
	mean := sum / recent
	course := float64(c1*c1)/(line2*recent) + float64(c2*c2)/(bend2*recent)
	slope := 2 * c1 / line2 // of a bin
	variance := square/recent - float64(mean*mean) - course - float64(slope*slope)/12
	if variance <= float64(quiet*quiet) {
		return 0, 1
	}
	ratio := power / recent / 2 / variance
	wind := 1 - portable.Exp(-step/recent/gust)
	return math.Sqrt(variance), clamp((ratio-wind-0.15)/0.25, 0.2, 1)
}

// What the signs weigh.
const (
	ordinary  = 0.6   // K/s: more needs air and fuel that burn freely
	newGround = 10.0  // K above what the calm minutes had seen: no recovery from a dip
	tooCold   = 120.0 // °C: a deposit does not catch fire from gas like this
	hotFlue   = 482.0 // °C, 900 °F: over-fire at the collar (common practice, no source)
	drawing   = 200.0 // °C: a flue in clean burn (400 °F, common practice, no source)
	leastDraw = 0.5   // Pa: the least change of draft that means something
)

// weigh turns the look into evidence.
func (j *Judge) weigh(in Inputs, l look) Evidence {
	var e Evidence
	c := &j.calm
	hot := hotFlue
	if j.settings.FlueLimit > 0 {
		hot = j.settings.FlueLimit
	}
	switch {
	case l.flue < tooCold:
		e.Level = max(-2.5, (l.flue-tooCold)/60-1)
	case l.flue < drawing:
		e.Level = (l.flue - drawing) / (drawing - tooCold)
	default:
		e.Level = min(1, float64(1.5*(l.flue-drawing))/max(hot-drawing, 50))
	}
	fresh := in.Phase == burn.Lighting || c.flue < tooCold && j.custom.flue < tooCold
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
		// A gate that sticks shut lifts the draft too, without noise, and feeds the fire
		// only slowly.
		e.Surge = min(e.Surge, 1+clamp(float64(2*(max(0, e.Rise)+max(0, e.Roar))), 0, 1.5))
		if fresh { // nobody has seen yet what flames are like here
			e.Surge, e.Roar = e.Surge/2, e.Roar/2
		}
	}
	if c.known && l.flueRise > 20 {
		e.Upstream = upstream(l)
	}
	if c.draws {
		// Dry and fine wood climbs as fast, but the draft follows it as it should.
		e.Rise = min(e.Rise, 1.5+clamp(max(0, e.Surge-1)+max(0, e.Roar)+max(0, e.Upstream), 0, 2))
	}
	e.Air = j.air(in.DoorOpen, c.draws && l.level < float64(0.75*c.draft))
	return zeroed(e)
}

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
	return -3 * (1 - float64(j.doored)/lasts)
}

// surge weighs the draft that has held for half a minute: against what was seldom
// exceeded, and against what the collar explains of it.
func (j *Judge) surge(l look) float64 {
	c := &j.calm
	high := max(c.high, j.custom.high)
	scale := max(leastDraw, float64(0.05*high), float64(2*c.swing))
	over := clamp((l.low-high)/scale, 0, 1)
	if over > 0 && !math.IsNaN(l.explained) {
		over += clamp(float64(0.6*(l.low-l.explained))/scale, 0, 1.5)
	}
	// What stands far above its own swings is no gust either.
	return over * max(l.roaring, stands(l, c))
}

// stands is how far the surge is above its own swings, 0 to 1.
func stands(l look, c *calm) float64 {
	if math.IsNaN(l.swing) {
		return 1
	}
	return clamp((l.level-c.draft)/max(l.swing, quiet)/2-1, 0, 1)
}

// roar weighs the noise: a fire that is twice as strong makes 1.4 times the noise, a
// burning column several times.
func (j *Judge) roar(l look) float64 {
	usual := j.usualNoise()
	if math.IsNaN(l.noise) || math.IsNaN(usual) {
		return 0
	}
	return clamp(float64(2*portable.Log(max(l.noise, quiet)/usual))-0.7, -0.5, 3) * l.roaring
}

func (j *Judge) usualNoise() float64 { return max(j.calm.loud(), j.custom.noise) }

// upstream compares the last minute's rise with that of the gas before it. Gas cools on
// its way: what the appliance's fire does to the collar it does to the chamber at least
// as much.
func upstream(l look) float64 {
	if math.IsNaN(l.upRise) {
		return 0
	}
	share := l.upRise / l.flueRise
	if share < -0.5 {
		return -4 // one does not fall as the other climbs: the wires were swapped
	}
	return clamp(1-float64(5*share), -2, 1)
}

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
	for _, p := range []*float64{&e.Rise, &e.Level, &e.Surge, &e.Roar, &e.Upstream, &e.Air} {
		if math.IsNaN(*p) {
			*p = 0
		}
	}
	return e
}

func clamp(v, low, high float64) float64 { return max(low, min(high, v)) }
