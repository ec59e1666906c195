package curves

import (
	"math"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/judge/night"
)

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
