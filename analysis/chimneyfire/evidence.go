package chimneyfire

import (
	"math"
	"slices"

	"fluewright/analysis/burn"
	"fluewright/analysis/portable"
)

// look is what the last half minute was like; NaN where nothing is known.
type look struct {
	flue, rate         float64 // °C, K/s sustained
	flueRise, upRise   float64 // K against the calm minutes' end
	up                 float64
	level, low         float64 // Pa of draft: usual and seldom less
	explained          float64 // Pa
	noise, gusty       float64 // Pa; how far the swings are wind's
	aboveHigh, sagging float64 // Pa
}

// sheath is what a probe at the collar may hide of a quick rise, s: the time constant of
// a sheath of 6 mm (makers' response times, in slow air).
const sheath = 60.0

func (j *Judge) look() look {
	g := &j.gather
	n := min(recent, g.filled)
	l := look{flue: g.back(0).flue, up: g.back(0).up, rate: math.NaN(), explained: math.NaN()}

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
	l.gusty = gusty(draft[:nd])
	slices.Sort(draft[:nd])
	slices.Sort(noise[:nn])
	l.level, l.low, l.noise = math.NaN(), math.NaN(), math.NaN()
	if nd >= recent-1 {
		l.level, l.low = draft[nd/2], draft[1]
	}
	if nn >= recent-1 {
		l.noise = noise[nn/2]
	}
	l.gusty /= l.noise

	if n == recent {
		// What lasts: both the last half minute and its end.
		l.rate = min(slope(g, recent), slope(g, recent/2))
		if hot := l.flue + sheath*max(0, l.rate); j.calm.draws {
			l.explained = float64(j.calm.pull * buoyancy(hot, g.back(0).outside))
		}
	}
	before := g.back(min(lately, max(g.filled-1, 0)))
	l.flueRise, l.upRise = l.flue-before.flue, l.up-before.up
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

// gusty is the mean step between bins, Pa, beside their common trend.
func gusty(draft []float64) float64 {
	if len(draft) < recent-1 {
		return math.NaN()
	}
	trend := (draft[len(draft)-1] - draft[0]) / float64(len(draft)-1)
	sum := 0.0
	for i := 1; i < len(draft); i++ {
		sum += math.Abs(draft[i] - draft[i-1] - trend)
	}
	return sum / float64(len(draft)-1)
}

// What the signs weigh.
const (
	ordinary  = 0.8   // K/s: a quick over-fire reaches 60 K/min at most
	violent   = 2.5   // K/s: no air and no wood does that
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
		e.Level = -3
	case l.flue < drawing:
		e.Level = (l.flue - drawing) / (drawing - tooCold)
	default:
		e.Level = min(1, float64(1.5*(l.flue-drawing))/max(hot-drawing, 50))
	}
	if in.Phase == burn.Lighting {
		e.Level--
	}

	if l.rate > 0 && c.known && l.flue > c.peak+newGround {
		e.Rise = clamp(float64(3*(l.rate-ordinary))/(violent-ordinary), -0.5, 3.5)
	}
	e.Rise = j.fade(&j.held.Rise, e.Rise)

	if c.draws && !math.IsNaN(l.low) {
		e.Surge = surge(c, l)
		e.Roar = roar(c, l)
	}
	if c.known && l.flueRise > 20 {
		e.Upstream = upstream(c, l)
	}
	switch {
	case in.DoorOpen:
		e.Air = -2
	case c.draws && l.level < float64(0.75*c.draft):
		e.Air = -1.5
	}
	return zeroed(e)
}

// surge weighs the draft that has held for half a minute: against what was seldom
// exceeded, and against what the collar explains of it.
func surge(c *calm, l look) float64 {
	scale := max(leastDraw, float64(0.05*c.high), float64(2*(c.high-c.draft)))
	over := clamp((l.low-c.high)/scale, 0, 1)
	if over > 0 && !math.IsNaN(l.explained) {
		over += clamp(float64(0.6*(l.low-l.explained))/scale, 0, 1.5)
	}
	return over * wind(l)
}

// roar weighs the noise: a fire that is twice as strong makes 1.4 times the noise, a
// burning column several times.
func roar(c *calm, l look) float64 {
	if math.IsNaN(l.noise) || math.IsNaN(c.noise) {
		return 0
	}
	return clamp(float64(2*portable.Log(max(l.noise, quiet)/c.noise))-0.7, -0.5, 2) * wind(l)
}

// wind is how much of the pressure's message is left when its swings may be wind's: the
// means of five seconds differ by less than the readings where it roars, and by as much
// in gusts.
func wind(l look) float64 {
	if math.IsNaN(l.gusty) {
		return 1
	}
	return clamp(1-float64((l.gusty-0.8)/0.5), 0.2, 1)
}

// upstream compares the last minute's rise with that of the gas before it. Gas cools on
// its way: what the appliance's fire does to the collar it does to the chamber at least
// as much.
func upstream(c *calm, l look) float64 {
	if math.IsNaN(l.upRise) {
		return 0
	}
	e := clamp(1.5-float64(5*(l.upRise/l.flueRise)), -2, 1.5)
	if l.flue > l.up+20 && c.up > c.flue {
		e += 2
	}
	return e
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
