package scripted

import (
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
	"fluewright/sensors/bench/furnace"
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
		p.reload(t+p.minutes(130, 170), p.mass, p.wet, 1)
	}),
	legit("low-fire", "low demand and damp wood: it smoulders", func(p *plan) {
		p.cfg.Demand, p.wet = p.between(0.3, 0.5), p.between(0.2, 0.25)
		p.usual()
	}),
	legit("bitter-night", "demand raised to full while it burns, −25 °C outside", func(p *plan) {
		p.cfg.Outdoor, p.cfg.Demand = -25, p.between(0.5, 0.7)
		t := p.usual()
		p.at(t+p.minutes(30, 90), func(f *furnace.Furnace) { f.SetDemand(1) })
	}),
	legit("hot-reload", "a load of good wood on a fire that is still hot", func(p *plan) {
		p.cfg.Demand = p.between(0.55, 0.9)
		t := p.usual()
		p.reload(t+time.Duration(float64(p.minutes(108, 125))/p.pace), 0.85*p.mass, p.wet, 1)
	}),
	legit("doors", "the door opened again and again to look and poke", func(p *plan) {
		t := p.usual()
		for range 3 + p.IntN(8) {
			p.open(t+p.minutes(3, 200), time.Duration(p.between(8, 70)*float64(time.Second)))
		}
	}),
	legit("storm", "gusts that flick the draft through zero", func(p *plan) {
		p.wind = p.between(8, 15)
		t := p.usual()
		for range 20 + p.IntN(30) {
			push := p.between(8, 25)
			p.at(t+p.minutes(1, 200), func(f *furnace.Furnace) { f.Downdraft(push, 5*time.Second) })
		}
	}),
	legit("mild-evening", "lit at 12 to 17 °C outside, when the chimney hardly draws", func(p *plan) {
		p.cfg.Outdoor = p.between(12, 17)
		p.cfg.Room = max(p.cfg.Room, p.cfg.Outdoor+4)
		p.usual()
	}),
	legit("gaps", "rows missing for up to ten minutes", func(p *plan) {
		p.usual()
		for range 3 + p.IntN(6) {
			from := p.minutes(5, 220)
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
		p.light(t+p.minutes(400, 440), p.mass, p.wet, 1)
	}),

	hazard("coal-bed", "a full load on a large bed of coals", func(p *plan) {
		p.cfg.Demand = p.between(0.5, 0.75)
		t := p.usual()
		p.reload(t+time.Duration(float64(p.minutes(85, 95))/p.pace), p.mass, p.wet, 1)
		p.overfire("coal-bed", t+time.Duration(float64(p.minutes(165, 190))/p.pace), 1.4*p.mass, p.wet, 1)
	}),
	hazard("fine-fuel", "pieces near kindling", func(p *plan) {
		p.fuel("fine-fuel", p.wet, p.between(1.8, 2.6))
	}),
	hazard("dry-fuel", "wood of 5 to 9 % moisture", func(p *plan) {
		p.fuel("dry-fuel", p.between(0.05, 0.09), p.between(1, 1.15))
	}),
	hazard("chimney-fire", "the deposit burns; at the collar only the draft tells", func(p *plan) {
		t := p.usual() + p.minutes(25, 100)
		d := p.minutes(6, 15)
		p.at(t, func(f *furnace.Furnace) { f.ChimneyFire(time.Duration(float64(d) * p.pace)) })
		p.happens(night.ChimneyFire, "creosote", t, t+d)
	}),
	hazard("downdraft", "wind turns the draft for minutes", func(p *plan) {
		t := p.usual()
		for range 1 + p.IntN(2) {
			push, d := p.between(22, 40), p.minutes(2, 8)
			p.at(t+p.minutes(10, 150), func(f *furnace.Furnace) { f.Downdraft(push, d) })
		}
	}),
	hazard("stuck-shut", "the regulator's gate does not open", func(p *plan) {
		from := p.usual() + p.minutes(0, 60)
		p.at(from, func(f *furnace.Furnace) { f.SetRegulator(p.cfg.SetPoint, furnace.StuckShut) })
		p.happens(night.Regulator, "draft-high", from, p.length)
	}),
	hazard("stuck-open", "the regulator's gate does not shut", func(p *plan) {
		p.at(0, func(f *furnace.Furnace) { f.SetRegulator(p.cfg.SetPoint, furnace.StuckOpen) })
		p.usual()
		p.happens(night.Regulator, "stuck-open", 0, p.length)
	}),
	hazard("power-cut", "the blower stops at full fire", func(p *plan) {
		p.fitted[frame.Plenum] = true
		from := p.usual() + p.minutes(45, 80)
		d := p.minutes(15, 90)
		p.at(from, func(f *furnace.Furnace) { f.Blower(false) })
		p.at(from+d, func(f *furnace.Furnace) { f.Blower(true) })
		p.happens(night.BlowerStopped, "blower", from, from+d)
	}),
	sensor("dead-wire", night.Dead, frame.Flue, frame.Chamber, frame.Draft),
	sensor("probe-out", night.Out, frame.Flue),
	sensor("probe-half-out", night.HalfOut, frame.Flue),
	sensor("frozen", night.Frozen, frame.Flue, frame.Chamber, frame.Draft),
	sensor("swapped", night.Swapped, frame.Chamber),
	sensor("hose-off", night.HoseOff, frame.Draft),
	sensor("hose-blocked", night.HoseBlocked, frame.Draft),
}

// sensor is a kind in which one of the channels' sensors fails while it burns; wires are
// as often exchanged from the start.
func sensor(name string, kind night.FaultKind, channels ...frame.Channel) kindOf {
	return hazard(name, "a sensor's fault while it burns: "+string(kind), func(p *plan) {
		f := night.Fault{Kind: kind, Channel: channels[p.IntN(len(channels))], Other: frame.Count}
		p.fitted[f.Channel] = true
		t := p.usual()
		p.reload(t+p.minutes(130, 170), p.mass, p.wet, 1)
		f.From = t + p.minutes(20, 80)
		if kind == night.Swapped {
			f.Other = frame.Flue
			if p.IntN(2) == 0 {
				f.From = 0
			}
		}
		p.faults = append(p.faults, f)
	})
}

// open opens the door for a while.
func (p *plan) open(t, d time.Duration) {
	p.at(t, (*furnace.Furnace).OpenDoor)
	p.at(t+d, (*furnace.Furnace).CloseDoor)
	p.truth.Doors = append(p.truth.Doors, t)
}

// overfire reloads in a way that the furnace was not made for.
func (p *plan) overfire(cause string, t time.Duration, mass, wet, fineness float64) {
	p.reload(t, mass, wet, fineness)
	p.happens(night.Overfire, cause, t, t+2*time.Hour)
}

// fuel is a night with the wrong fuel, from the cold or on a fire.
func (p *plan) fuel(cause string, wet, fineness float64) {
	if p.IntN(2) == 0 {
		t := p.minutes(5, 20)
		p.light(t, p.mass, wet, fineness)
		p.happens(night.Overfire, cause, t, t+2*time.Hour)
		return
	}
	t := p.usual()
	p.overfire(cause, t+p.minutes(115, 150), p.mass, wet, fineness)
}
