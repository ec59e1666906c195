package nights

import (
	"math"
	"math/rand/v2"
	"time"
)

// plan is all that a night is drawn from; a kind changes what matters to it.
type plan struct {
	d draw

	rated            float64
	brick            bool
	ap               appliance
	kind             chimneyKind
	height, diameter float64
	altitude         float64
	sky              weather
	room, set        float64
	demand           float64
	regulatorSet     float64 // Pa, as installed
	noRegulator      bool
	wood             fuel
	hours            float64
	period           float64
	fitted           [Channels]bool
	noisy            float64 // times the usual noise
	script           []func(*Night)
}

func newPlan(d draw) *plan {
	p := &plan{d: d, noisy: 1}
	p.size(d.over(10, 45))
	p.altitude = pick(d, 0, d.between(0, 400), d.between(200, 1200), d.between(800, 2500))
	p.sky = weather{
		mean: d.between(-18, 8), swing: d.between(1, 5), hour: d.between(16, 22),
		wind: d.between(0, 4), gusty: d.between(0.15, 0.3), gustLag: d.between(2, 6),
		terminal: d.between(0.1, 0.4), swirl: d.between(0, 0.15),
	}
	p.room, p.set = d.between(15, 20), d.between(19.5, 22)
	p.demand = d.between(0.75, 1)
	p.regulatorSet = d.between(9, 14)
	p.wood = ordinary(d)
	p.hours = d.between(8, 12)
	p.period = pick(d, 1.0, 1, 1, 1, 1, 1, 0.5, 2)
	for c := range p.fitted {
		p.fitted[c] = c == Flue || c == Draft || d.chance([Channels]float64{0.8, 0.75, 1, 0.85, 0.5, 0.8, 0.8, 1, 0.6}[c])
	}
	if d.chance(0.1) {
		p.fitted = [Channels]bool{Flue: true, Draft: true}
	}
	return p
}

// size draws an appliance of so many kW and a chimney that fits it.
func (p *plan) size(kW float64) {
	d := p.d
	p.rated, p.brick = kW*1e3, d.chance(0.6)
	p.ap = newAppliance(d, p.rated, p.brick)
	p.kind = pick(d, steelInsulated, steelInsulated, masonryInside, masonryOutside, steelOutside)
	switch {
	case kW < 13:
		p.diameter, p.height = pick(d, 0.13, 0.15), d.between(5, 9)
	case kW < 30:
		p.diameter, p.height = pick(d, 0.15, 0.15, 0.18), d.between(6, 11)
	default:
		p.diameter, p.height = pick(d, 0.18, 0.2), d.between(7, 12)
	}
	p.wood = ordinary(d)
}

// ordinary is good firewood.
func ordinary(d draw) fuel {
	f := fuel{diameter: d.between(0.08, 0.13), moisture: d.between(0.14, 0.2)}
	if d.chance(0.6) {
		f.density, f.char = d.between(560, 680), d.between(0.22, 0.25)
	} else {
		f.density, f.char = d.between(400, 500), d.between(0.19, 0.22)
	}
	return f
}

// loadOf is the plan's wood, of so many ordinary full loads.
func (p *plan) loadOf(part float64) fuel {
	f := p.wood
	f.mass = part * p.ap.load
	return f
}

func (p *plan) then(f func(*Night)) { p.script = append(p.script, f) }

// build makes the night.
func (p *plan) build() *Night {
	d := p.d
	p.sky.pressure = 101325 * math.Pow(1-2.25577e-5*p.altitude, 5.25588) * d.between(0.985, 1.015)
	n := &Night{end: p.hours * 3600, period: p.period}
	n.steps = int(math.Ceil(p.period))
	n.step = p.period / float64(n.steps)
	n.d = draw{rand.New(rand.NewPCG(d.Uint64(), d.Uint64()))}

	w := &n.w
	w.d = draw{rand.New(rand.NewPCG(d.Uint64(), d.Uint64()))}
	w.room, w.set = p.room, p.set
	w.sky = p.sky
	w.outdoor = w.sky.outdoor(0)
	w.fire = newFire(p.ap, p.room)
	w.fire.demand = p.demand
	w.flue = newChimney(d, p.kind, p.height, p.diameter, p.room, w.outdoor)
	w.neutral = d.between(0.2, 1)
	design := p.rated * d.between(0.45, 0.7)
	w.leak = design / 38
	w.house = w.leak * 3600 * d.between(15, 40)
	w.gate = regulator{
		set: p.regulatorSet, band: d.between(3, 6),
		area:     0.6 * math.Pi / 4 * math.Pow(p.diameter*d.between(0.9, 1.1), 2),
		stiction: d.between(0.005, 0.03), lag: d.between(0.8, 2),
	}
	if p.noRegulator {
		w.gate.area = 0
	}

	lagFlue := d.over(8, 60)
	n.Site = Site{
		Fitted:   p.fitted,
		DraftLow: 0.65 * p.regulatorSet, DraftHigh: p.regulatorSet + w.gate.band*0.6 + 1,
		Set: p.regulatorSet, Altitude: p.altitude, Height: p.height, Diameter: p.diameter,
		Rated: p.rated, FanOn: p.ap.fanOn, FanOff: p.ap.fanOff,
		Lag: [Channels]float64{
			Firebox: d.over(20, 90), Chamber: d.over(20, 90), Flue: lagFlue, Plenum: d.over(6, 30),
			Return: d.over(10, 40), Room: d.over(20, 60), Outdoor: d.over(20, 90), Draft: 0.3, Ambient: 0.3,
		},
		Period: time.Duration(p.period * float64(time.Second)),
	}
	typeTest(d, &p.ap, &n.Site)
	w.fire.ap = p.ap
	quantum := pick(d, 0.25, 0.25, 0.25, 0.0625, 1)
	truth := w.truths()
	for c := range n.s.p {
		q := &n.s.p[c]
		*q = probe{
			fitted: p.fitted[c], lag: n.Site.Lag[c], quantum: quantum,
			noise: p.noisy * d.over(0.08, 0.5), offset: d.between(-1, 1), held: math.NaN(), value: truth[c],
		}
		n.inside[c] = true
	}
	n.s.p[Draft].noise, n.s.p[Draft].quantum = p.noisy*d.over(0.03, 0.2), pick(d, 0.1, 0.05, 0.017)
	n.s.p[Draft].offset = d.between(-0.3, 0.3)
	n.s.p[Draft].value = 0
	n.s.p[Ambient].noise, n.s.p[Ambient].quantum, n.s.p[Ambient].offset = 3, 1, d.between(-80, 80)
	n.lost = d.over(1e-6, 1e-3)
	for _, f := range p.script {
		f(n)
	}
	return n
}

// typeTest is what the maker does: he burns the appliance hard and lawfully on a stand,
// with the draft at the top of its band, corrects chamber and exchanger until the hottest
// readings are what he wants, and sets the limits above them.
func typeTest(d draw, ap *appliance, site *Site) {
	chamber, flue := d.between(570, 660), d.between(330, 415)
	least, most := 0.4*ap.chamberUA, 3*ap.chamberUA
	var peak [Channels]float64
	for range 4 {
		peak = onTheStand(*ap, site)
		c := clamp(peak[Chamber]/chamber, 0.6, 1.6)
		was := ap.chamberUA
		ap.chamberUA = clamp(ap.chamberUA*c*c, least, most)
		ap.chamberLink *= ap.chamberUA / was
		if ap.chamberUA == most { // the probe goes where it is cooler
			ap.chamberFlame, ap.chamberView = ap.chamberFlame/(c*c), ap.chamberView/c
		}
		ap.ntu = clamp(ap.ntu*math.Pow(clamp(peak[Flue]/flue, 0.7, 1.4), 1.1), 0.4, 1.4)
	}
	peak = onTheStand(*ap, site)
	five := func(x float64) float64 { return 5 * math.Ceil(x/5) }
	for c := range site.Limits {
		site.Limits[c] = math.NaN()
	}
	site.Limits[Flue] = five(math.Max(1.08*peak[Flue], clamp(peak[Flue]*d.between(1.14, 1.3), 400, 540)))
	site.Limits[Chamber] = five(math.Max(1.08*peak[Chamber], clamp(peak[Chamber]*d.between(1.1, 1.22), 650, 775)))
	site.Limits[Firebox] = five(peak[Firebox] * d.between(1.12, 1.25))
	site.Limits[Plenum] = five(math.Max(93, peak[Plenum]*1.15))
}

// onTheStand returns the highest readings of the hottest lawful use: lit from cold with the
// air fully open; and a hot furnace with a full load, fed again before it has burnt down.
func onTheStand(ap appliance, site *Site) [Channels]float64 {
	wood := fuel{mass: ap.load, diameter: 0.1, moisture: 0.16, density: 520, char: 0.21}
	cold, hot := newStand(ap, site), newStand(ap, site)
	wood.mass *= 0.8
	cold.light(0, wood)
	peak := burnOut(cold, 1.2*3600, site)

	f := &hot.w.fire
	f.char, f.glow, f.brick, f.deep, f.chamber, f.chamberGas = 0.06*ap.load, 850, 450, 350, 350, 350
	f.hot, f.cold, f.plenum = 130, 70, 50
	wood.mass = ap.load
	hot.lay(wood, 1)
	again := wood
	again.mass *= 0.5
	hot.once(1800, func(n *Night) bool { return n.wood() < 0.3*ap.load }, func(n *Night) { n.lay(again, 1) })
	for c, v := range burnOut(hot, 4*3600, site) {
		peak[c] = math.Max(peak[c], v)
	}
	return peak
}

func newStand(ap appliance, site *Site) *Night {
	n := &Night{}
	n.w.d = draw{rand.New(rand.NewPCG(1, 1))}
	n.w.room, n.w.draft = 20, site.DraftHigh
	n.w.fire = newFire(ap, 20)
	return n
}

// burnOut runs a furnace on the stand and returns its highest readings.
func burnOut(n *Night, until float64, site *Site) (peak [Channels]float64) {
	const step = 2
	f := &n.w.fire
	through, _ := root((site.Set+site.DraftHigh)/2 + gravity*f.ap.rise*0.7)
	var value [Channels]float64
	for n.w.t < until {
		n.act()
		f.called, f.demand = true, 1
		f.step(f.conductance(1.2)*through, 20, 20, step)
		n.w.t += step
		truth := n.w.truths()
		for c := range value {
			value[c] += (truth[c] - value[c]) * (1 - math.Exp(-step/site.Lag[c]))
			peak[c] = math.Max(peak[c], value[c])
		}
	}
	return peak
}
