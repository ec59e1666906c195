package curves

import (
	"math"
	"time"

	"fluewright/analysis/frame"
)

// drawing follows the plan in steps of at most a second.
type drawing struct {
	*plan
	at      time.Duration
	temp    frame.Values
	slow    float64 // the flue as the chimney's wall has it
	cool    float64 // how far a door has cooled things
	sag     float64
	depth   float64
	gust    float64
	swing   float64 // of a fluttering gate, rad
	slowly  float64 // the wander of the intensity
	running bool    // the blower
	q       float64
	shown   frame.Values
}

func newDrawing(p *plan) *drawing {
	d := &drawing{plan: p}
	for i := range d.pulses {
		d.pulses[i].level()
	}
	for c := range d.temp {
		d.temp[c] = p.room
	}
	d.slow = p.outdoor + 0.4*(p.room-p.outdoor)
	d.step(0.2)
	return d
}

// Burning implements night.Model.
func (d *drawing) Burning() bool { return d.q > 0.04 }

// Advance implements night.Model.
func (d *drawing) Advance(at time.Duration) frame.Values {
	for d.at < at {
		dt := min(time.Second, at-d.at)
		d.at += dt
		d.step(dt.Seconds())
	}
	return d.shown
}

// bend is the sum of the marks that are on.
func (d *drawing) bend(dt float64) mark {
	var b mark
	for i := range d.marks {
		m := &d.marks[i]
		m.step(d.at, dt)
		b.intensity += m.now * m.intensity
		b.flue += m.now * m.flue
		b.firebox += m.now * m.firebox
		b.draft += m.now * m.draft
		b.push += m.now * m.push
		b.open += m.now * m.open
		b.set += m.now * m.set
		b.roar += m.now * m.roar
		b.flutter += m.now * m.flutter
		b.fan += m.now * m.fan
		b.filter += m.now * m.filter
	}
	return b
}

func (d *drawing) step(dt float64) {
	b := d.bend(dt)
	sum := 0.0
	for i := range d.pulses {
		v := d.pulses[i].value(d.at)
		sum += v * v * v
	}
	d.slowly += -d.slowly*dt/120 + d.wander*math.Sqrt(2*dt/120)*d.NormFloat64()
	d.q = math.Cbrt(sum) * (1 + b.intensity) * (1 + d.slowly)

	open := 0.0
	for _, o := range d.doors {
		if d.at >= o.from && d.at < o.to {
			open, d.depth, d.sag = 1, o.depth, o.sag
		}
	}
	tau := 30.0
	if open == 0 {
		tau = 80
	}
	d.cool += (open - d.cool) * dt / tau

	for _, c := range hot {
		rise := (d.level[c] - d.room) * math.Pow(math.Max(0, d.q), d.exponent[c])
		switch c {
		case frame.Flue:
			rise += b.flue
		case frame.Firebox:
			rise *= 1 - b.firebox
		}
		d.temp[c] += (d.room + rise - d.temp[c]) * dt / d.tau[c]
	}
	d.warmAir(b, dt)
	d.shown = d.temp
	for _, c := range hot {
		d.shown[c] -= d.cool * d.depth * dip[c] * (d.temp[c] - d.room)
	}
	d.shown[frame.Room], d.shown[frame.Return], d.shown[frame.Outdoor] = d.room, d.room-1.5, d.outdoor
	d.shown[frame.Ambient] = 101325 * math.Pow(1-2.25577e-5*d.site.Altitude, 5.2559)
	d.shown[frame.Draft] = d.draftNow(b, open, dt)
}

// dip is how much of a door's cold air each channel feels.
var dip = [frame.Count]float64{frame.Firebox: 0.4, frame.Chamber: 0.5, frame.Flue: 1}

// draftNow is the chimney's draft, clamped by the regulator.
func (d *drawing) draftNow(b mark, open, dt float64) float64 {
	d.slow += (d.shown[frame.Flue] - d.slow) * dt / d.wall
	mean := d.outdoor + d.share*(d.slow-d.outdoor)
	free := d.friction * 9.81 * d.height * d.shown[frame.Ambient] / 287 * (1/(d.outdoor+273.15) - 1/(mean+273.15))
	set := d.set * (1 + b.set)
	held := free
	if over := free - set; over > 0 {
		held = set + d.gate*over
	}
	shut := math.Min(1, b.open)
	p := shut*free + (1-shut)*held
	p = p*(1+b.draft) - b.push
	p *= 1 - open*d.sag
	d.gust += -d.gust*dt/d.gustTime + d.gusts*math.Sqrt(2*dt/d.gustTime)*d.NormFloat64()
	d.swing += 2 * math.Pi * 0.4 * dt
	// A chimney that hardly draws is no storm's plaything here: gusts grow with its draft.
	gust := d.gust * min(1, max(0.1, held/d.set))
	return p + gust + b.roar*d.NormFloat64() + b.flutter*math.Sin(d.swing) + 0.05*math.Sqrt(d.q)*d.NormFloat64()
}

// warmAir runs the blower between its two temperatures.
func (d *drawing) warmAir(b mark, dt float64) {
	switch {
	case b.fan > 0.5 || d.temp[frame.Plenum] < d.fanOn-9:
		d.running = false
	case d.temp[frame.Plenum] > d.fanOn:
		d.running = true
	}
	aim, tau := d.room+0.5*(d.temp[frame.Flue]-d.room), 420.0
	if d.running {
		aim, tau = d.room+d.rise*(1+b.filter)*math.Sqrt(math.Max(0, d.q)), 45
	}
	d.temp[frame.Plenum] += (aim - d.temp[frame.Plenum]) * dt / tau
}
