package nights

// spill notes as spillage what happens from now until the draft is well up again.
func (n *Night) spillFrom(cause func(*Night), end func(*Night), last float64) {
	cause(n)
	n.once(n.w.t, func(n *Night) bool { return n.w.draft <= 0 && n.alive() }, func(n *Night) {
		n.happen(Spillage, "", Draft)
		n.once(n.w.t+1, func(n *Night) bool { return n.w.draft > 1 || !n.alive() }, func(n *Night) { n.over(Spillage) })
	})
	n.at(n.w.t+last, end)
}

var spillages = []Kind{
	{Name: "downdraft", About: "the wind falls down a bad roof for minutes", Hazard: Spillage, plan: func(p *plan) {
		p.sky.wind = p.d.between(6, 10)
		p.then(func(n *Night) {
			t := p.established(n, p.loadOf(0.9)) + p.d.between(-1000, 6000)
			n.once(t, (*Night).alive, func(n *Night) {
				n.spillFrom(
					func(n *Night) { n.w.pushAim = 1.25*n.w.force + n.w.d.between(4, 12) },
					func(n *Night) { n.w.pushAim = 0 },
					n.w.d.between(180, 900))
			})
		})
	}},
	{Name: "exhaust fan", About: "a strong exhaust fan in a tight house turns the draft", Hazard: Spillage, plan: func(p *plan) {
		p.sky.mean, p.sky.wind = p.d.between(4, 14), p.d.between(0, 2)
		p.demand = p.d.between(0.3, 0.6)
		p.then(func(n *Night) {
			t := p.established(n, p.loadOf(0.6)) + p.d.between(0, 5000)
			n.once(t, (*Night).alive, func(n *Night) {
				n.spillFrom(
					func(n *Night) { n.w.fans = n.w.force + n.w.d.between(2, 8) },
					func(n *Night) { n.w.fans = 0 },
					n.w.d.between(600, 3600))
			})
		})
	}},
	{Name: "cold chimney reversed", About: "lit under a cold outside chimney whose draft is reversed", Hazard: Spillage, plan: func(p *plan) {
		p.kind = pick(p.d, masonryOutside, steelOutside)
		p.sky.mean, p.sky.wind = p.d.between(-6, 6), p.d.between(0, 1)
		p.then(func(n *Night) {
			n.careless = true
			n.w.neutral = p.d.between(2, 3.5)
			n.light(900, p.loadOf(0.7))
			n.at(890, func(n *Night) {
				n.spillFrom(func(*Night) {}, func(n *Night) {
					n.w.neutral = 0.2 // a window is opened, paper is burnt in the cleanout
					n.w.flue.warm(70)
				}, n.w.d.between(240, 700))
			})
		})
	}},
	{Name: "cap blocked over coals", About: "snow or a fallen cap closes the flue while coals glow", Hazard: Spillage, plan: func(p *plan) {
		p.then(func(n *Night) {
			p.established(n, p.loadOf(0.8))
			n.once(10800, func(n *Night) bool { return n.wood() < 0.12*n.w.fire.ap.load }, func(n *Night) {
				n.happen(FlueRestricted, "", Draft)
				n.spillFrom(
					func(n *Night) { n.w.flue.cap = n.w.d.between(0.985, 0.995) },
					func(n *Night) {}, 1)
			})
		})
	}},
}

var regulators = []Kind{
	{Name: "regulator stuck shut", About: "the gate does not open any more", Hazard: RegulatorShut, Cause: DraftHigh, plan: func(p *plan) {
		p.then(func(n *Night) {
			t := p.established(n, p.loadOf(0.8))
			n.at(p.d.between(0, t), func(n *Night) {
				n.w.gate.stuck, n.w.gate.open = true, 0
				n.happen(RegulatorShut, DraftHigh, -1)
			})
		})
	}},
	{Name: "regulator stuck open", About: "the gate does not shut any more", Hazard: RegulatorOpen, plan: func(p *plan) {
		p.then(func(n *Night) {
			t := p.established(n, p.loadOf(0.8))
			n.at(p.d.between(0, t), func(n *Night) {
				n.w.gate.stuck, n.w.gate.open = true, n.w.d.between(0.6, 1)
				n.happen(RegulatorOpen, "", -1)
			})
		})
	}},
	{Name: "regulator set high", About: "somebody has turned the weight up", Hazard: RegulatorHigh, Cause: DraftHigh, plan: func(p *plan) {
		p.height = p.d.between(9, 12)
		p.regulatorSet = p.d.between(8, 10)
		p.then(func(n *Night) {
			n.w.gate.set += p.d.between(6, 10)
			n.happen(RegulatorHigh, DraftHigh, -1)
			p.established(n, p.loadOf(0.8))
		})
	}},
	{Name: "regulator set low", About: "somebody has turned the weight down", Hazard: RegulatorLow, plan: func(p *plan) {
		p.regulatorSet = p.d.between(12, 15)
		p.then(func(n *Night) {
			n.w.gate.set = p.d.between(2, 4.5)
			n.happen(RegulatorLow, "", -1)
			p.established(n, p.loadOf(0.8))
		})
	}},
	{Name: "regulator flutters", About: "the gate hangs loose and beats", Hazard: RegulatorFlutter, plan: func(p *plan) {
		p.then(func(n *Night) {
			t := p.established(n, p.loadOf(0.8))
			n.at(p.d.between(600, t), func(n *Night) {
				n.w.gate.flutter, n.w.gate.rate = n.w.d.between(0.15, 0.5), n.w.d.between(0.3, 1.6)
				n.happen(RegulatorFlutter, "", -1)
			})
		})
	}},
}

var restrictions = []Kind{
	{Name: "flue shut suddenly", About: "a nest or the cap falls into the flue in a burn", Hazard: FlueRestricted, plan: func(p *plan) {
		p.then(func(n *Night) {
			n.once(p.established(n, p.loadOf(0.9)), (*Night).alive, func(n *Night) {
				n.w.flue.cap = n.w.d.between(0.8, 0.93)
				n.happen(FlueRestricted, "", Draft)
			})
		})
	}},
	{Name: "flue narrows over weeks", About: "the deposit grows burn by burn; a reading every 20 s", Hazard: FlueRestricted, plan: func(p *plan) {
		p.hours, p.period = 16*24, 20
		p.sky.mean, p.sky.swing = p.d.between(-8, 2), 4
		p.then(func(n *Night) {
			end := p.d.between(0.7, 0.85)
			n.happen(FlueRestricted, "", Draft)
			for day := range 16 {
				t := float64(day) * 86400
				part := float64(day) / 15
				n.at(t, func(n *Night) {
					n.w.flue.cap = end * part
					n.w.flue.coat = 0.012 * part
				})
				n.light(t+600+p.d.between(0, 7200), p.loadOf(p.d.between(0.7, 0.9)))
			}
		})
	}},
}

var plenums = []Kind{
	{Name: "power cut", About: "the blower stands in a hot burn: heat soak", Hazard: BlowerStopped, Cause: Blower, plan: func(p *plan) {
		p.fitted[Plenum] = true
		p.demand = p.d.between(0.7, 0.9)
		p.then(func(n *Night) {
			n.once(p.established(n, p.loadOf(0.9)), (*Night).roaring, func(n *Night) {
				n.w.fire.power = false
				n.happen(BlowerStopped, Blower, Plenum)
				n.at(n.w.t+n.w.d.between(1200, 7200), func(n *Night) {
					n.w.fire.power = true
					n.over(BlowerStopped)
				})
			})
		})
	}},
	{Name: "dirty filter", About: "a clogged filter lets a quarter to a half of the air through", Hazard: LowAirFlow, Cause: Blower, plan: func(p *plan) {
		p.fitted[Plenum] = true
		p.demand = p.d.between(0.7, 1)
		p.then(func(n *Night) {
			n.w.fire.filter = p.d.between(0.22, 0.45)
			n.happen(LowAirFlow, Blower, Plenum)
			p.established(n, p.loadOf(0.9))
		})
	}},
	{Name: "short cycling", About: "a worn fan switch: the blower starts and stops every few minutes", Hazard: ShortCycling, plan: func(p *plan) {
		p.fitted[Plenum] = true
		p.ap.twoSpeed = false
		p.demand = p.d.between(0.3, 0.6)
		p.then(func(n *Night) {
			n.w.fire.snap = n.w.fire.ap.fanOn - n.w.fire.ap.fanOff - p.d.between(0.5, 1.5)
			n.happen(ShortCycling, "", Plenum)
			p.established(n, p.loadOf(0.8))
		})
	}},
}
