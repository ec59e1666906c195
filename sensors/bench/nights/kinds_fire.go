package nights

// established lights the fire, feeds it once and leaves what happens to the caller at a
// time when the second load burns.
func (p *plan) established(n *Night, load fuel) float64 {
	n.light(600, p.loadOf(0.6))
	n.feed(5400, load, burntDown)
	return p.d.between(6600, 8400)
}

// both makes the mild and the strong form of an over-fire; x is 0 to 1 and says how strong.
func both(name, about string, cause Cause, set func(p *plan, x float64)) []Kind {
	form := func(name string, low, high float64, strong bool) Kind {
		return Kind{Name: name, About: about, Hazard: OverFire, Cause: cause, Strong: strong, plan: func(p *plan) {
			p.demand = p.d.between(0.85, 1)
			p.wood.diameter = p.d.between(0.085, 0.105)
			p.ap.control = pick(p.d, byHand, byHand, byHand, p.ap.control)
			set(p, p.d.between(low, high))
		}}
	}
	return []Kind{form(name+", mild", 0, 0.4, false), form(name+", strong", 0.7, 1, true)}
}

func join(some ...[]Kind) []Kind {
	var all []Kind
	for _, s := range some {
		all = append(all, s...)
	}
	return all
}

var overFires = join(
	both("regulator shut", "the regulator sticks shut under a chimney that pulls hard", DraftHigh, func(p *plan, x float64) {
		p.height = 8 + 4*x + p.d.between(0, 2)
		p.sky.mean = p.d.between(-10, 2) - 15*x
		p.regulatorSet = p.d.between(8, 11)
		p.then(func(n *Night) {
			t := p.established(n, p.loadOf(1+0.15*x))
			n.at(t-p.d.between(0, 1800), func(n *Night) {
				n.w.gate.stuck, n.w.gate.open = true, 0
				n.happen(OverFire, DraftHigh, -1)
				n.happen(RegulatorShut, DraftHigh, -1)
			})
		})
	}),
	both("regulator high", "the regulator's weight was turned far up", DraftHigh, func(p *plan, x float64) {
		p.height = 8.5 + 4*x + p.d.between(0, 1)
		p.sky.mean = p.d.between(-12, 0) - 12*x
		p.regulatorSet = p.d.between(8, 11)
		p.then(func(n *Night) {
			n.w.gate.set += p.d.between(6, 9) + 14*x
			n.happen(OverFire, DraftHigh, -1)
			n.happen(RegulatorHigh, DraftHigh, -1)
			p.established(n, p.loadOf(1+0.15*x))
		})
	}),
	both("coal bed", "a full load thrown on a large bed of glowing coals", CoalBed, func(p *plan, x float64) {
		p.ap.control, p.hours = byHand, 12
		p.then(func(n *Night) {
			demand := p.demand
			n.light(600, p.loadOf(0.8))
			// Fed early and kept short of air, the coals pile up.
			n.feed(5400, p.loadOf(0.8+0.3*x), bigBed)
			n.at(7200, func(n *Night) { n.w.fire.demand = 0.5 - 0.1*x })
			f := p.loadOf(1 + 0.15*x)
			f.diameter *= 1 - 0.15*x
			n.once(9000, bigBed, func(n *Night) {
				n.w.fire.demand = demand
				n.happen(OverFire, CoalBed, -1)
				n.feed(n.w.t+p.d.between(120, 600), f, nil)
			})
		})
	}),
	both("fine fuel", "slabs and kindling instead of logs", FineFuel, func(p *plan, x float64) {
		p.then(func(n *Night) {
			f := p.loadOf(0.8 + 0.2*x)
			f.diameter = p.d.between(0.042, 0.05) - 0.022*x
			n.light(600, p.loadOf(0.6))
			n.feed(5400, f, burntDown)
			n.once(5400, func(n *Night) bool { return len(n.Truth.Loads) > 1 }, func(n *Night) { n.happen(OverFire, FineFuel, -1) })
		})
	}),
	both("dry fuel", "wood of 3 to 9 % moisture, light and resinous", DryFuel, func(p *plan, x float64) {
		p.wood.moisture = p.d.between(0.07, 0.09) - 0.04*x
		p.wood.diameter = p.d.between(0.075, 0.09) - 0.02*x
		p.wood.density, p.wood.char = p.d.between(380, 480), 0.19
		p.then(func(n *Night) {
			first, dry := p.loadOf(0.5), p.loadOf(0.9+0.2*x)
			happen := func(n *Night) { n.happen(OverFire, DryFuel, -1) }
			if p.d.chance(0.6) { // the dry pile comes second
				good := ordinary(p.d)
				first.diameter, first.moisture, first.density = good.diameter, good.moisture, good.density
				n.once(5400, func(n *Night) bool { return len(n.Truth.Loads) > 1 }, happen)
			} else {
				n.at(600, happen)
			}
			n.light(600, first)
			n.feed(5400, dry, burntDown)
		})
	}),
	both("ash door ajar", "the ash door was not latched", AirLeak, func(p *plan, x float64) {
		p.then(func(n *Night) {
			n.at(p.established(n, p.loadOf(1)), func(n *Night) {
				n.w.fire.ashDoor = 0.12 + 0.6*x
				n.happen(OverFire, AirLeak, -1)
			})
		})
	}),
	both("loading door ajar", "the loading door was not latched", AirLeak, func(p *plan, x float64) {
		p.then(func(n *Night) {
			n.at(p.established(n, p.loadOf(1)), func(n *Night) {
				n.w.fire.leak = 0.6 + 1.2*x
				n.happen(OverFire, AirLeak, -1)
			})
		})
	}),
)

// creosoteFire lights the deposit in a cell of the flue at t.
func creosoteFire(n *Night, t, mass, vigour, pipe float64, cell int, shut bool) {
	n.at(t, func(n *Night) {
		c := &n.w.flue
		for i := range cells {
			c.tar[i] = mass / cells * n.w.d.between(0.5, 1.5)
		}
		c.vigour, c.pipe = vigour, pipe
		c.burning[cell] = 0.01
		n.once(n.w.t, func(n *Night) bool { return c.blaze > 3e3 }, func(n *Night) {
			n.happen(ChimneyFire, Creosote, Flue)
			n.once(n.w.t+60, func(n *Night) bool { return c.blaze < 1e3 }, func(n *Night) { n.over(ChimneyFire) })
			if shut {
				n.at(n.w.t+n.w.d.between(60, 300), func(n *Night) { n.w.fire.demand = 0.03 })
			}
		})
	})
}

func chimneyFire(name, about string, strong bool, set func(p *plan, n *Night, t float64)) Kind {
	return Kind{Name: name, About: about, Hazard: ChimneyFire, Cause: Creosote, Strong: strong, plan: func(p *plan) {
		p.demand = p.d.between(0.6, 1)
		p.then(func(n *Night) { set(p, n, p.established(n, p.loadOf(0.9))) })
	}}
}

var chimneyFires = []Kind{
	chimneyFire("chimney fire, mild", "a thin deposit burns from the connector upwards", false, func(p *plan, n *Night, t float64) {
		creosoteFire(n, t, p.d.between(0.8, 1.6), p.d.between(0.0008, 0.0014), p.d.between(0.25, 0.5), 0, p.d.chance(0.5))
	}),
	chimneyFire("chimney fire, violent", "a thick deposit roars", true, func(p *plan, n *Night, t float64) {
		creosoteFire(n, t, p.d.between(2.5, 5), p.d.between(0.002, 0.004), p.d.between(0.25, 0.5), 0, p.d.chance(0.5))
	}),
	chimneyFire("chimney fire, high up", "the fire is in the flue above the collar", true, func(p *plan, n *Night, t float64) {
		creosoteFire(n, t, p.d.between(2, 4), p.d.between(0.0015, 0.003), 0, p.d.IntN(4)+1, p.d.chance(0.5))
	}),
	chimneyFire("chimney fire at lighting", "the flames of lighting reach the deposit", true, func(p *plan, n *Night, t float64) {
		creosoteFire(n, p.d.between(1800, 3600), p.d.between(1.5, 4), p.d.between(0.0015, 0.003), p.d.between(0.2, 0.5), 0, p.d.chance(0.5))
	}),
	chimneyFire("chimney fire after reload", "the flames of a fresh load reach the deposit", true, func(p *plan, n *Night, t float64) {
		n.once(5400, func(n *Night) bool { return len(n.Truth.Loads) > 1 }, func(n *Night) {
			creosoteFire(n, n.w.t+p.d.between(240, 900), p.d.between(1.5, 4), p.d.between(0.0015, 0.003), p.d.between(0.2, 0.5), 0, p.d.chance(0.5))
		})
	}),
}
