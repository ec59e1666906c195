package nights

// sensorKind makes a kind whose fault begins while the fire burns or when all is cold.
func sensorKind(name, about string, what What, fitted []int, burning bool, fault func(p *plan, n *Night) int) Kind {
	return Kind{Name: name, About: about, Hazard: what, sensor: true, plan: func(p *plan) {
		for _, c := range fitted {
			p.fitted[c] = true
		}
		p.then(func(n *Night) {
			t := p.established(n, p.loadOf(0.8))
			if !burning {
				t = p.d.between(60, 500)
			} else if p.d.chance(0.3) {
				t = p.d.between(1500, 4000)
			}
			n.at(t, func(n *Night) { n.happen(what, "", fault(p, n)) })
		})
	}}
}

// hot draws one of the hot channels that the night has.
func (p *plan) hot(n *Night) int {
	for {
		if c := pick(p.d, Flue, Flue, Chamber, Firebox, Plenum); n.s.p[c].fitted {
			return c
		}
	}
}

var sensorFaults = []Kind{
	sensorKind("dead wire", "a wire breaks in a burn", SensorDead, nil, true, func(p *plan, n *Night) int {
		c := pick(p.d, p.hot(n), Draft)
		n.s.p[c].dead = true
		return c
	}),
	sensorKind("dead wire, cold", "a wire breaks before the fire is lit", SensorDead, nil, false, func(p *plan, n *Night) int {
		c := pick(p.d, p.hot(n), Draft)
		n.s.p[c].dead = true
		return c
	}),
	sensorKind("flue probe out", "the flue probe is pulled out and hangs beside the pipe", SensorOut, nil, true, func(p *plan, n *Night) int {
		n.s.p[Flue].out = 1
		return Flue
	}),
	sensorKind("flue probe out, cold", "the flue probe was left beside the pipe after sweeping", SensorOut, nil, false, func(p *plan, n *Night) int {
		n.s.p[Flue].out = 1
		return Flue
	}),
	sensorKind("flue probe half out", "the flue probe has slipped", SensorHalfOut, nil, true, func(p *plan, n *Night) int {
		n.s.p[Flue].out = p.d.between(0.4, 0.7)
		return Flue
	}),
	sensorKind("swapped wires", "two probes were crossed at the terminals before the fire", SensorSwapped, []int{Chamber, Plenum}, false, func(p *plan, n *Night) int {
		n.s.swapped = pick(p.d, [2]int{Flue, Chamber}, [2]int{Flue, Plenum}, [2]int{Chamber, Plenum})
		return n.s.swapped[0]
	}),
	sensorKind("hose off", "the draft hose has come off", HoseOff, nil, true, func(p *plan, n *Night) int {
		n.s.p[Draft].hoseOff = true
		return Draft
	}),
	sensorKind("hose blocked", "soot or water closes the draft hose", HoseBlocked, nil, true, func(p *plan, n *Night) int {
		n.s.p[Draft].blocked = true
		return Draft
	}),
	sensorKind("frozen value", "a converter repeats its last value", SensorFrozen, nil, true, func(p *plan, n *Night) int {
		c := pick(p.d, p.hot(n), Draft)
		n.s.p[c].frozen = true
		return c
	}),
	{Name: "zero drifts cold", About: "the draft sensor's zero wanders in a cold house", Hazard: DraftZeroDrifts, sensor: true, plan: func(p *plan) {
		p.sky.wind = p.d.between(0, 1.5)
		p.hours = 12
		p.then(func(n *Night) {
			n.at(p.d.between(600, 5000), func(n *Night) {
				n.s.p[Draft].creep = pick(p.d, -1.0, 1) * p.d.between(1, 4) / 3600
				n.happen(DraftZeroDrifts, "", Draft)
			})
		})
	}},
	sensorKind("slow drift", "a probe ages: some K more or less every hour", SensorDrift, nil, true, func(p *plan, n *Night) int {
		c := p.hot(n)
		n.s.p[c].creep = pick(p.d, -1.0, 1) * p.d.between(8, 25) / 3600
		return c
	}),
	sensorKind("chamber probe covered", "ash or a fallen brick covers the chamber probe", SensorCovered, []int{Chamber}, true, func(p *plan, n *Night) int {
		n.s.p[Chamber].covered = p.d.between(0.75, 1)
		return Chamber
	}),
}
