package nights

import "time"

var easy = []Kind{
	{Name: "ordinary", About: "one burn of good wood, then coals", plan: func(p *plan) {
		p.then(func(n *Night) { n.light(600, p.loadOf(0.9)) })
	}},
	{Name: "two loads", About: "a burn, fed once more when it has burnt down", plan: func(p *plan) {
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(5400, p.loadOf(0.9), burntDown)
		})
	}},
	{Name: "low fire", About: "the air nearly shut on a mild evening: the fire smoulders", plan: func(p *plan) {
		p.sky.mean = p.d.between(2, 9)
		p.ap.control = byHand
		p.demand = p.d.between(0.1, 0.25)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.8))
			n.feed(9000, p.loadOf(0.6), burntDown)
		})
	}},
	{Name: "cold masonry", About: "a fire lit under a heavy, cold masonry chimney", plan: func(p *plan) {
		p.kind = pick(p.d, masonryInside, masonryOutside)
		p.sky.mean = p.d.between(-20, -5)
		p.then(func(n *Night) {
			n.light(900, p.loadOf(0.7))
			n.feed(6000, p.loadOf(0.9), burntDown)
		})
	}},
	{Name: "overnight coals", About: "a late full load with the air turned down, coals until morning", plan: func(p *plan) {
		p.hours = p.d.between(11, 14)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(6000, p.loadOf(1), burntDown)
			n.at(4.5*3600, func(n *Night) { n.w.fire.demand = n.w.d.between(0.2, 0.4) })
		})
	}},
}

var hard = []Kind{
	{Name: "demand to full", About: "on a bitter night the owner turns a steady fire up to full", plan: func(p *plan) {
		p.sky.mean = p.d.between(-30, -20)
		p.demand = p.d.between(0.3, 0.5)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(5400, p.loadOf(1), burntDown)
			n.at(p.d.between(8000, 10000), func(n *Night) { n.w.fire.demand = 1 })
			n.feed(4*3600, p.loadOf(1), burntDown)
		})
	}},
	{Name: "hot reload", About: "fed while the fire is still hot, as one may", plan: func(p *plan) {
		p.demand = p.d.between(0.8, 1)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			half := func(n *Night) bool { return n.wood() < 0.3*n.w.fire.ap.load }
			n.feed(4800, p.loadOf(0.5), half)
			n.feed(9000, p.loadOf(0.75), half)
			n.feed(14000, p.loadOf(0.75), half)
		})
	}},
	{Name: "doors and pokes", About: "an owner who looks, pokes and turns the wood again and again", plan: func(p *plan) {
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(5400, p.loadOf(0.8), burntDown)
			for range 7 {
				n.openDoor(p.d.between(2400, 5*3600), p.d.over(5, 90))
			}
		})
	}},
	{Name: "storm", About: "gusts that flick the draft through zero for seconds", plan: func(p *plan) {
		p.sky.wind, p.sky.gusty, p.sky.gustLag = p.d.between(8, 13), p.d.between(0.3, 0.45), p.d.between(1.5, 4)
		p.sky.terminal, p.sky.swirl = p.d.between(0.1, 0.3), p.d.between(0.15, 0.4)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(5400, p.loadOf(0.9), burntDown)
		})
	}},
	{Name: "very small", About: "a furnace of 5 to 9 kW", plan: func(p *plan) {
		p.size(p.d.between(5, 9))
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.8))
			n.feed(4800, p.loadOf(1), burntDown)
		})
	}},
	{Name: "very large", About: "a furnace of 45 to 60 kW", plan: func(p *plan) {
		p.size(p.d.between(45, 60))
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(6000, p.loadOf(1), burntDown)
		})
	}},
	{Name: "altitude", About: "1500 to 2500 m above the sea", plan: func(p *plan) {
		p.altitude = p.d.between(1500, 2500)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.8))
			n.feed(6000, p.loadOf(0.9), burntDown)
		})
	}},
	{Name: "noisy sensors", About: "three to eight times the usual noise", plan: func(p *plan) {
		p.noisy = p.d.between(3, 8)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(5400, p.loadOf(0.9), burntDown)
		})
	}},
	{Name: "slow with gaps", About: "a reading every 2 to 5 s and gaps of up to ten minutes", plan: func(p *plan) {
		p.period = pick(p.d, 2.0, 4, 5)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			n.feed(5400, p.loadOf(0.9), burntDown)
			for range 6 {
				from := time.Duration(p.d.between(0, p.hours*3600) * 1e9)
				n.gaps = append(n.gaps, Span{from, from + time.Duration(p.d.over(20, 600)*1e9)})
			}
		})
	}},
	{Name: "own air control", About: "the appliance steps its air down and up as the plenum asks", plan: func(p *plan) {
		p.ap.control = pick(p.d, stepped, stepped, bimetal, thermostat)
		p.ap.stepAt = p.d.between(46, 60)
		p.demand = p.d.between(0.85, 1)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.8))
			n.feed(5400, p.loadOf(1), burntDown)
		})
	}},
	{Name: "mild day", About: "12 to 18 °C outside and little draft at lighting", plan: func(p *plan) {
		p.sky.mean, p.sky.wind = p.d.between(12, 18), p.d.between(0, 2)
		p.room, p.set = p.d.between(17, 19), p.d.between(20, 22)
		p.then(func(n *Night) { n.light(900, p.loadOf(0.6)) })
	}},
	{Name: "two days", About: "fed again and again for two days", plan: func(p *plan) {
		p.hours, p.period = 48, pick(p.d, 1.0, 2, 5)
		p.sky.mean = p.d.between(-20, 0)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.7))
			for t := 6000.0; t < 44*3600; t += p.d.between(3.5, 7) * 3600 {
				n.feed(t, p.loadOf(p.d.between(0.6, 1)), burntDown)
			}
		})
	}},
	{Name: "large load", About: "the largest load of good wood at full demand: hot, and lawful", plan: func(p *plan) {
		p.demand = 1
		p.ap.control = byHand
		p.sky.mean = p.d.between(-25, -8)
		p.wood.diameter = p.d.between(0.085, 0.1)
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.8))
			n.feed(5400, p.loadOf(1.15), burntDown)
		})
	}},
	{Name: "blower blinks", About: "the mains fail for seconds, more than once, in a hot burn", plan: func(p *plan) {
		p.fitted[Plenum] = true
		p.then(func(n *Night) {
			n.light(600, p.loadOf(0.9))
			n.feed(6000, p.loadOf(0.9), burntDown)
			for range 3 {
				n.at(p.d.between(4000, 12000), func(n *Night) {
					n.w.fire.power = false
					n.at(n.w.t+n.w.d.between(5, 60), func(n *Night) { n.w.fire.power = true })
				})
			}
		})
	}},
	{Name: "blips", About: "single wild samples on every channel, from relays and bad plugs", plan: func(p *plan) {
		p.then(func(n *Night) {
			for c := range n.s.p {
				n.s.p[c].blip = p.d.over(1.0/3000, 1.0/300)
			}
			n.s.p[Ambient].blip = 0
			n.light(600, p.loadOf(0.8))
			n.feed(5400, p.loadOf(0.9), burntDown)
		})
	}},
}
