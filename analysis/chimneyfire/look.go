package chimneyfire

import (
	"math"
	"slices"

	"fluewright/analysis/portable"
)

// look is what the last half minute was like; NaN where nothing is known.
type look struct {
	flue, rate       float64 // °C, K/s sustained
	flueRise, upRise float64 // K within the last minute
	grew, upGrew     float64 // K of that beyond what the minute before it promised
	level, low       float64 // Pa of draft: usual, and seldom less
	explained        float64 // Pa
	noise            float64 // Pa
	swing            float64 // Pa, standard deviation beside the trend
	roaring          float64 // 0 to 1: the swings are quicker than wind's
	random           float64 // 0 to 1: they have no beat
	mostly           float64 // 0 to 1: and mostly had none while they were loud
	told             float64 // 0 to 1: the readings are quick enough to tell a beat
}

// sheath is what a probe at the collar may hide of a quick rise, s: the time constant of
// a sheath of 6 mm (makers' response times, in slow air).
const sheath = 60.0

func (j *Judge) look() look {
	g := &j.gather
	n := min(recent, g.filled)
	l := look{flue: g.back(0).flue, rate: math.NaN(), explained: math.NaN(), roaring: 1, grew: math.NaN(), upGrew: math.NaN()}
	if pace := pace(g); pace > 0 { // not NaN
		l.told = quickly(pace)
	}

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
		var mean float64
		mean, l.swing, l.roaring = swings(g)
		g.back(0).random = random(g)
		l.random = 1
		for i := range 3 { // a beat that is not quite in time looks like none now and then
			l.random = min(l.random, g.back(i).random)
		}
		l.mostly = mostly(g, recent)
		// A gate that beats goes on beating, though for moments it may look like noise.
		l.random = min(l.random, mostly(g, lasts))
		if l.roaring == 1 && mean > l.low {
			// Where each reading stands for itself, the mean is known better than the least.
			l.low = max(l.low, mean-float64(2*l.swing)/math.Sqrt(readings(g)))
		}
		// What lasts: both the last half minute and its end.
		l.rate = min(slope(g, recent), slope(g, recent/2))
		if hot := l.flue + float64(sheath*max(0, l.rate)); j.calm.draws {
			l.explained = float64(j.calm.pull * buoyancy(hot, g.back(0).outside))
		}
	}
	before := g.back(min(lately, max(g.filled-1, 0)))
	l.flueRise, l.upRise = l.flue-before.flue, g.back(0).up-before.up
	if g.filled > 2*lately {
		// How things were going until a minute ago.
		flue, up := trend(g, func(b *bin) float64 { return b.flue }), trend(g, func(b *bin) float64 { return b.up })
		l.grew, l.upGrew = l.flueRise-flue, l.upRise-up
	}
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
func swings(g *gather) (mean, swing, roaring float64) {
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
		return math.NaN(), math.NaN(), 1
	}
	mean = sum / recent
	course := float64(c1*c1)/(line2*recent) + float64(c2*c2)/(bend2*recent)
	slope := 2 * c1 / line2 // of a bin
	variance := square/recent - float64(mean*mean) - course - float64(slope*slope)/12
	if variance <= float64(quiet*quiet) {
		return mean, 0, 1
	}
	ratio := power / recent / 2 / variance
	wind := 1 - portable.Exp(-step/recent/gust)
	return mean, math.Sqrt(variance), clamp((ratio-wind-0.15)/0.25, 0.2, 1)
}

const (
	loud  = 1.5        // of the usual noise
	lasts = 2 * minute // bins
)

// random tells noise from a gate that beats: of a beat each step follows from the two
// before it, whatever its pace. What is left of the steps' variance beside what those two
// foretell is 0 of a sine and 2/3 of noise (differences of white noise, AR(2)).
func random(g *gather) float64 {
	var power, one, two float64
	for i := range recent {
		b := g.back(i)
		power += b.power
		one += b.next[0]
		two += b.next[1]
	}
	if !(power > 0) || math.IsNaN(one+two) {
		return 0
	}
	one, two = one/power, two/power
	rest := 1 - float64(one*one)
	if !(rest > 0) {
		return 0
	}
	first, second := one*(1-two)/rest, (two-float64(one*one))/rest
	return quickly(pace(g)) * clamp((1-float64(first*one)-float64(second*two)-0.35)/0.2, 0, 1)
}

// pace is the mean time between the readings of the draft, s.
func pace(g *gather) float64 {
	sum := 0.0
	for i := range recent {
		sum += g.back(i).step
	}
	return sum / recent
}

// quickly is 0 to 1: looked at more seldom than every few seconds and not quite in time, a
// beat is noise too.
func quickly(pace float64) float64 { return clamp((4-pace)/1.5, 0, 1) }

// mostly is how random the swings have mostly been since they are loud, within the last so
// many bins.
func mostly(g *gather, last int) float64 {
	var random [lasts]float64
	n := 0
	for n < min(last, g.filled) && g.back(n).noise > float64(loud*g.usual) {
		random[n] = g.back(n).random
		n++
	}
	if n == 0 {
		return g.back(0).random
	}
	slices.Sort(random[:n])
	return random[n/2]
}

// readings is about how many readings of the draft the last half minute has.
func readings(g *gather) float64 {
	n := 0.0
	for i := range recent {
		n += binLength.Seconds() / max(g.back(i).step, fast)
	}
	if n > 1 { // not NaN
		return n
	}
	return 1
}

// trend is what the minute before the last one would have made of the last one, K.
func trend(g *gather, of func(*bin) float64) float64 {
	return of(g.back(lately)) - of(g.back(2*lately))
}
