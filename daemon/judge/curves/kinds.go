package curves

import (
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
