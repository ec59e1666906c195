package curves

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
)

type kindOf struct {
	night.Kind
	script func(*plan)
}

func legit(name, about string, script func(*plan)) kindOf {
	return kindOf{night.Kind{Name: name, About: about, Legit: true}, script}
}

func hazard(name, about string, script func(*plan)) kindOf {
	return kindOf{night.Kind{Name: name, About: about}, script}
}

var kinds = []kindOf{
	legit("ordinary", "one load, lit and burnt", func(p *plan) { p.usual() }),
	legit("two-loads", "a second load on what is left of the first", func(p *plan) {
		t := p.usual()
		p.reload(t+p.minutes(120, 180), 1, p.minutes(5, 12))
	}),
	legit("low-fire", "smouldering at low demand", func(p *plan) {
		p.usual()
		p.pulses[0].peak = p.between(0.3, 0.5)
	}),
	legit("bitter-night", "demand raised to full while it burns", func(p *plan) {
		p.outdoor = -25
		t := p.usual()
		p.pulses[0].peak = 0.75
		full := p.needed(p.between(0.8, 0.93)) / 0.75
		p.marks = append(p.marks, mark{
			from: t + p.minutes(40, 80), to: p.length, on: p.between(200, 600), off: 600, intensity: max(0, full-1),
		})
	}),
	legit("hot-reload", "a load of good wood on a fire that is still hot", func(p *plan) {
		t := p.usual()
		p.reload(t+p.minutes(70, 110), p.needed(p.between(0.82, 0.95)), p.minutes(4, 9))
	}),
	legit("just-below", "a large load that peaks just below a limit", func(p *plan) {
		p.usual()
		p.pulses[0].peak = p.needed(p.between(0.92, 0.97))
		p.wander = 0.01
	}),
	legit("air-steps", "the appliance's own control steps the air down as it gets hot", func(p *plan) {
		t := p.usual()
		at := t + p.minutes(70, 110)
		p.reload(at, p.needed(p.between(0.9, 0.96)), p.minutes(5, 8))
		for i := range 2 + p.IntN(2) {
			p.marks = append(p.marks, mark{
				from: at + p.minutes(5, 8) + time.Duration(i)*p.minutes(4, 9), to: p.length, on: 90, off: 600, intensity: -p.between(0.08, 0.14),
			})
		}
	}),
	legit("doors", "the door opened again and again to look and poke", func(p *plan) {
		t := p.usual()
		for range 3 + p.IntN(8) {
			p.open(t + p.minutes(3, 180))
		}
	}),
	legit("storm", "gusts that flick the draft through zero", func(p *plan) {
		p.usual()
		p.gusts, p.gustTime = p.between(0.35, 0.5)*p.set, p.between(2, 4)
	}),
	legit("mild-evening", "lit at 11 to 17 °C outside, when the chimney hardly draws", func(p *plan) {
		p.outdoor = p.between(11, 17)
		p.room = max(p.room, p.outdoor+4)
		p.gusts = min(p.gusts, 0.3)
		p.usual()
	}),
	legit("gaps", "rows missing for up to ten minutes", func(p *plan) {
		p.usual()
		for range 3 + p.IntN(6) {
			from := p.minutes(5, 200)
			p.in.Gaps = append(p.in.Gaps, night.Span{From: from, To: from + p.minutes(1, 10)})
		}
	}),
	legit("noisy", "sensors with noise and single absurd readings", func(p *plan) {
		for c := range p.in.Noise {
			p.in.Noise[c] *= p.between(2, 4)
		}
		p.in.Blips = 0.0005
		p.usual()
	}),
	legit("overnight", "coals until the morning, then a new fire on them", func(p *plan) {
		p.length = p.minutes(560, 620)
		p.in.Period = max(p.in.Period, 2*time.Second)
		t := p.usual()
		p.pulses[0].tail = p.minutes(150, 260)
		p.reload(t+p.minutes(400, 440), 1, p.minutes(8, 16))
	}),
	legit("blower-blip", "the blower stands for a minute or two", func(p *plan) {
		p.fit(frame.Plenum)
		t := p.usual() + p.minutes(60, 120)
		p.marks = append(p.marks, mark{from: t, to: t + p.minutes(1, 2), on: 1, off: 1, fan: 1})
	}),

	hazard("draft-high", "the regulator sticks shut and the fire follows the draft", func(p *plan) {
		p.tall()
		from := p.usual() + p.minutes(45, 100)
		p.marks = append(p.marks, mark{from: from, to: p.length, on: 15, off: 60, open: 1})
		p.outrun("draft-high", from+p.minutes(1, 6), p.between(300, 1100))
	}),
	hazard("set-high", "a regulator set far too tight, from the start", func(p *plan) {
		p.tall()
		t := p.usual()
		p.marks = append(p.marks, mark{from: 0, to: p.length, on: 1, off: 60, set: p.between(0.8, 1.6)})
		p.pulses[0].peak = p.over()
		p.pulses[0].tau = p.minutes(9, 18)
		p.happens(night.Overfire, "draft-high", t, t+p.pulses[0].last+30*time.Minute)
	}),
	hazard("coal-bed", "a full load on a large bed of coals", func(p *plan) {
		t := p.usual()
		p.pulses[0].coals, p.pulses[0].tail = p.between(0.35, 0.5), p.minutes(120, 200)
		p.overload("coal-bed", t+p.pulses[0].last+p.minutes(35, 80), p.minutes(2, 6), p.minutes(50, 90))
	}),
	hazard("fine-fuel", "pieces near kindling: up at once, and soon over", func(p *plan) {
		p.fuel("fine-fuel", p.minutes(2, 5), p.minutes(15, 30))
	}),
	hazard("dry-fuel", "wood of 5 to 9 % moisture: quickly up and high for long", func(p *plan) {
		p.fuel("dry-fuel", p.minutes(4, 9), p.minutes(60, 110))
	}),
	hazard("air-leak", "a door left ajar in a steady burn", func(p *plan) {
		from := p.usual() + p.minutes(45, 90)
		m := mark{from: from, to: p.length, on: p.between(10, 60), off: 60}
		// One of the two marks at least, often both.
		which := p.IntN(3)
		if which != 0 {
			m.firebox = p.between(0.08, 0.25)
		}
		if which != 1 {
			m.draft = -p.between(0.15, 0.4)
		}
		p.marks = append(p.marks, m)
		p.outrun("air-leak", from, p.between(150, 500))
	}),
	hazard("chimney-fire-violent", "the deposit burns: the collar and the draft shoot up", func(p *plan) {
		p.chimneyFire(p.between(250, 700), p.between(0.6, 1.6), p.between(1, 4))
	}),
	hazard("chimney-fire-mild", "a small deposit burns", func(p *plan) {
		p.chimneyFire(p.between(80, 200), p.between(0.3, 0.6), p.between(0.5, 1.5))
	}),
	hazard("chimney-fire-above", "the deposit burns high up: the collar hardly moves", func(p *plan) {
		p.chimneyFire(p.between(-40, 20), p.between(0.5, 1.3), p.between(1, 3))
	}),
	hazard("downdraft", "wind turns the draft for minutes", func(p *plan) {
		p.spill(p.usual()+p.minutes(10, 150), p.minutes(2, 10), p.between(3, 10), p.between(1, 8))
	}),
	hazard("exhaust-fan", "a fan takes the draft away", func(p *plan) {
		p.spill(p.usual()+p.minutes(10, 150), p.minutes(5, 30), p.between(8, 25), p.between(0.5, 3))
	}),
	hazard("cap-blocked", "the cap is blocked while coals glow", func(p *plan) {
		t := p.usual()
		p.pulses[0].tail = p.minutes(100, 160)
		p.spill(t+p.pulses[0].last+p.minutes(20, 40), p.length, p.between(20, 90), p.between(0.3, 0.8))
	}),
	hazard("cold-chimney", "lit while cold air falls down the chimney", func(p *plan) {
		p.outdoor = p.between(8, 16)
		p.gusts = min(p.gusts, 0.2)
		t := p.usual()
		p.pulses[0].tau = p.minutes(18, 28)
		p.marks = append(p.marks, mark{from: 0, to: t + p.minutes(8, 18), on: 1, off: 60, push: p.between(2.5, 5)})
	}),
	hazard("power-cut", "the blower stops at full fire", func(p *plan) {
		p.fit(frame.Plenum)
		from := p.usual() + p.minutes(45, 90)
		to := from + p.minutes(15, 90)
		p.marks = append(p.marks, mark{from: from, to: to, on: 1, off: 1, fan: 1})
		p.happens(night.BlowerStopped, "blower", from, to)
	}),
	hazard("dirty-filter", "too little air passes the exchanger", func(p *plan) {
		p.fit(frame.Plenum)
		t := p.usual()
		p.marks = append(p.marks, mark{from: 0, to: p.length, on: 1, off: 1, filter: p.between(1.8, 3)})
		p.happens(night.PlenumHot, "dirty filter", t, p.length)
	}),
	hazard("stuck-open", "the regulator's gate does not shut", func(p *plan) {
		p.usual()
		p.marks = append(p.marks, mark{from: 0, to: p.length, on: 1, off: 60, draft: -p.between(0.4, 0.6)})
		p.happens(night.Regulator, "stuck-open", 0, p.length)
	}),
	hazard("flutter", "the regulator's gate swings", func(p *plan) {
		t := p.usual()
		p.marks = append(p.marks, mark{from: t + p.minutes(20, 60), to: p.length, on: 20, off: 60, flutter: p.between(1.5, 0.3*p.set)})
		p.happens(night.Regulator, "flutter", t, p.length)
	}),
	hazard("restricted", "something falls into the flue", func(p *plan) {
		from := p.usual() + p.minutes(30, 90)
		p.marks = append(p.marks, mark{from: from, to: p.length, on: 5, off: 60, draft: -p.between(0.5, 0.75), intensity: -p.between(0.1, 0.3)})
		p.happens(night.Restricted, "sudden", from, p.length)
	}),
	sensor("dead-wire", night.Dead, 0, frame.Flue, frame.Chamber, frame.Draft),
	sensor("probe-out", night.Out, 0, frame.Flue, frame.Chamber),
	sensor("probe-half-out", night.HalfOut, 0, frame.Flue),
	sensor("frozen", night.Frozen, 0, frame.Flue, frame.Chamber, frame.Draft),
	sensor("swapped", night.Swapped, 0, frame.Chamber),
	sensor("hose-off", night.HoseOff, 0, frame.Draft),
	sensor("hose-blocked", night.HoseBlocked, 0, frame.Draft),
	sensor("drift", night.Drift, 120, frame.Flue, frame.Chamber),
}

// usual lights an ordinary load after a few minutes and returns when.
func (p *plan) usual() time.Duration {
	t := p.minutes(5, 20)
	p.pulse(t, p.between(0.85, 1.05), p.minutes(12, 26), p.minutes(70, 120))
	return t
}

func (p *plan) pulse(t time.Duration, peak float64, tau, last time.Duration) {
	p.pulses = append(p.pulses, pulse{
		from: t, peak: peak, tau: tau, last: last, shape: p.IntN(4),
		coals: p.between(0.12, 0.3), fade: p.minutes(12, 25), tail: p.minutes(60, 150),
	})
	p.truth.Loads = append(p.truth.Loads, t)
}

// reload lays a load on fire or coals.
func (p *plan) reload(t time.Duration, peak float64, tau time.Duration) {
	p.pulse(t, peak, tau, p.minutes(60, 110))
	p.door(t)
}

func (p *plan) door(t time.Duration) {
	open := time.Duration(p.between(15, 60)) * time.Second
	p.doors = append(p.doors, door{from: t - open, to: t, depth: p.between(0.2, 0.55), sag: p.between(0.2, 0.5)})
}

// open opens the door for a look.
func (p *plan) open(t time.Duration) {
	p.door(t)
	p.truth.Doors = append(p.truth.Doors, t)
}

// tall makes a chimney that pulls well above the regulator's set point.
func (p *plan) tall() {
	p.height = p.between(7.5, 11)
	p.outdoor = p.between(-25, -2)
	p.site.ChimneyHeight = p.height
}

// over is the intensity of a fire that outruns the appliance: mostly well above what
// passes a limit, sometimes only nearly.
func (p *plan) over() float64 { return p.needed(p.between(0.98, 1.3)) }

// outrun lets a steady fire grow beyond the appliance, for a cause other than its load.
func (p *plan) outrun(cause string, from time.Duration, tau float64) {
	p.pulses[0].last = p.minutes(130, 170)
	grow := p.over()/(0.9*p.pulses[0].peak) - 1
	p.marks = append(p.marks, mark{from: from, to: p.length, on: tau, off: 600, intensity: grow})
	p.happens(night.Overfire, cause, from, p.length)
}

// overload lays a load that outruns the appliance.
func (p *plan) overload(cause string, t, tau, last time.Duration) {
	p.pulse(t, p.over(), tau, last)
	p.door(t)
	p.happens(night.Overfire, cause, t, t+last+30*time.Minute)
}

// fuel is a night with the wrong fuel, on a fire or from the cold, where all takes
// longer.
func (p *plan) fuel(cause string, tau, last time.Duration) {
	if p.IntN(2) == 0 {
		t := p.usual()
		p.overload(cause, t+p.minutes(100, 150), tau, last)
		return
	}
	t := p.minutes(5, 20)
	p.pulse(t, p.over(), 2*tau, last+10*time.Minute)
	p.happens(night.Overfire, cause, t, t+last+40*time.Minute)
}

// chimneyFire lets the deposit burn: kelvin at the collar, a share more draft that no
// regulator holds, and its roar. The owner may shut the air.
func (p *plan) chimneyFire(kelvin, draft, roar float64) {
	from := p.usual() + p.minutes(30, 90)
	to := from + p.minutes(4, 18)
	p.pulses[0].last = max(p.pulses[0].last, 110*time.Minute)
	flueTau := p.between(20, 90)
	p.tau[frame.Flue] = min(p.tau[frame.Flue], p.between(30, 60))
	p.marks = append(p.marks,
		mark{from: from, to: to, on: flueTau, off: p.between(150, 400), flue: kelvin},
		mark{from: from, to: to, on: p.between(5, 25), off: p.between(60, 200), draft: draft, roar: roar})
	if p.IntN(2) == 0 {
		shut := from + p.minutes(1.5, 4)
		p.marks = append(p.marks, mark{from: shut, to: p.length, on: 240, off: 600, intensity: -0.5})
	}
	p.happens(night.ChimneyFire, "creosote", from, to+3*time.Minute)
}

// spill turns the draft for a while, to so many pascals below zero.
func (p *plan) spill(from, d time.Duration, tau, below float64) {
	p.gusts = min(p.gusts, 0.5*below)
	p.marks = append(p.marks, mark{
		from: from, to: from + d, on: tau, off: math.Max(5, tau), draft: -1, push: below, intensity: -0.15,
	})
}

// sensor is a kind in which one of the channels' sensors fails while it burns; wires are
// as often exchanged from the start. A drift shows in the other channels or not at all,
// so that all are fitted.
func sensor(name string, kind night.FaultKind, rate float64, channels ...frame.Channel) kindOf {
	return hazard(name, "a sensor's fault while it burns: "+string(kind), func(p *plan) {
		f := night.Fault{Kind: kind, Channel: channels[p.IntN(len(channels))], Other: frame.Count}
		f.Rate, f.Most = rate, p.between(80, 150)
		if p.IntN(2) == 0 {
			f.Rate = -rate
		}
		p.fit(f.Channel)
		t := p.usual()
		p.reload(t+p.minutes(120, 170), 1, p.minutes(6, 12))
		f.From = t + p.minutes(25, 80)
		switch kind {
		case night.Swapped:
			f.Other = frame.Flue
			if p.IntN(2) == 0 {
				f.From = 0
			}
		case night.Drift:
			for c := range frame.Count {
				p.fit(c)
			}
		}
		p.faults = append(p.faults, f)
	})
}

// fit adds a sensor to the site, with its limit where it was not there.
func (p *plan) fit(c frame.Channel) {
	if p.site.Fitted[c] {
		return
	}
	p.site.Fitted[c] = true
	if p.level[c] > 0 {
		p.site.Limits[c] = math.Round(1.25*p.level[c]/5) * 5
	}
}
