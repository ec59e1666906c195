package nights

import "math"

const (
	cells   = 10
	gravity = 9.80665
	gasR    = 287.0 // J/(kg K): wood flue gas differs from air by less than 0.3 %
)

// chimney is a flue of equal cells from the tee to the terminal, each with a liner and
// what surrounds it.
type chimney struct {
	height, diameter float64 // m
	inside           float64 // share of the height inside the house
	liner, jacket    float64 // J/(K m)
	link, loss       float64 // W/(K m) liner to jacket, jacket to its surroundings
	zeta, rough      float64 // single losses; Darcy factor
	cap              float64 // share of the terminal that is blocked, 0 to 1
	coat             float64 // m of deposit on the wall, all around

	gas, wall, outer [cells]float64 // °C

	tar     [cells]float64 // kg of deposit that can burn
	burning [cells]float64 // how far its fire has spread in the cell, 0 to 1
	vigour  float64        // of a chimney fire: share of the deposit burnt per second
	pipe    float64        // share of the first cell's fire that burns in the connector, at the probe
	blaze   float64        // W of the fire in the flue now
}

type chimneyKind int

const (
	steelInsulated chimneyKind = iota
	masonryInside
	masonryOutside
	steelOutside
)

func newChimney(d draw, k chimneyKind, height, diameter, room, outdoor float64) chimney {
	c := chimney{
		height: height, diameter: diameter,
		zeta: d.between(1.8, 3.2), rough: d.between(0.03, 0.045),
	}
	around := math.Pi * diameter
	switch k {
	case steelInsulated:
		c.inside = d.between(0.6, 0.85)
		c.liner, c.jacket = around*0.0006*7900*490, around*0.03*120*900+around*0.0005*7900*490
		c.link, c.loss = around*1.6, around*1.5*9
		c.rough = d.between(0.025, 0.035)
	case steelOutside:
		c.inside = d.between(0, 0.15)
		c.liner, c.jacket = around*0.0006*7900*490, around*0.03*120*900+around*0.0005*7900*490
		c.link, c.loss = around*1.8, around*1.5*17
		c.rough = d.between(0.025, 0.035)
	case masonryInside:
		c.inside = d.between(0.6, 0.85)
		c.liner, c.jacket = around*0.018*2000*900, around*1.8*0.1*1700*900
		c.link, c.loss = around*7, around*2*8
	case masonryOutside:
		c.inside = d.between(0, 0.2)
		c.liner, c.jacket = around*0.018*2000*900, around*1.8*0.1*1700*900
		c.link, c.loss = around*7, around*2*17
	}
	for i := range cells {
		t := c.surroundings(i, room, outdoor)
		c.gas[i], c.wall[i], c.outer[i] = t, t, t
	}
	return c
}

// surroundings is the air around cell i: a chase inside the house is cooler than a room.
func (c *chimney) surroundings(i int, room, outdoor float64) float64 {
	in := clamp(c.inside*cells-float64(i), 0, 1)
	return in*(outdoor+0.75*(room-outdoor)) + (1-in)*outdoor
}

func (c *chimney) bore() float64 {
	d := math.Max(0.02, c.diameter-2*c.coat)
	return math.Pi / 4 * d * d
}

// buoyancy is the pull of the column, Pa, at a pressure of ambient Pa outdoors.
func (c *chimney) buoyancy(outdoor, ambient float64) float64 {
	sum := 0.0
	for i := range cells {
		sum += 1/(outdoor+kelvin) - 1/(c.gas[i]+kelvin)
	}
	return gravity / gasR * ambient * c.height / cells * sum
}

// friction is the loss in Pa at 1 kg/s.
func (c *chimney) friction(ambient float64) float64 {
	mean := 0.0
	for i := range cells {
		mean += c.gas[i] / cells
	}
	rho := ambient / (gasR * (math.Max(mean, -60) + kelvin))
	a := c.bore()
	d := math.Sqrt(4 * a / math.Pi)
	open := math.Max(0.03, 1-c.cap)
	blocked := (1/open - 1) * (1/open - 1) * 2
	return (c.zeta + blocked + c.rough*c.height/d) / (2 * rho * a * a)
}

// step moves the column: flow kg/s of gas at bottom °C (up) or outdoor air (down).
func (c *chimney) step(flow, bottom, room, outdoor, spare, dt float64) {
	area := math.Pi * c.diameter * c.height / cells
	m := math.Abs(flow) + 0.0004
	speed := m / (0.8 * c.bore())
	inside := (4.5 + 4.2*math.Pow(speed, 0.8)) / (1 + c.coat/0.15/0.012*0.15)
	c.burn(bottom, spare, dt)
	cp := gasCp0 + gasCp1*bottom*0.8
	pass := 1 - math.Exp(-inside*area/(m*cp))
	length := c.height / cells
	stay := length / speed
	follow := 1 - math.Exp(-dt/(0.3+stay))
	t := bottom
	if flow < 0 {
		t = outdoor
	}
	for k := range cells {
		i := k
		if flow < 0 {
			i = cells - 1 - k
		}
		fire := c.heatOf(i)
		if fire > 0 {
			t = math.Min(1250, t+0.6*fire/(m*cp))
		}
		give := (t - c.wall[i]) * pass // K of the gas
		t -= give
		c.gas[i] += (t + 0.5*give - c.gas[i]) * follow
		jacket := c.link * length * (c.wall[i] - c.outer[i])
		c.wall[i] += (m*cp*give + 0.4*fire - jacket) / (c.liner * length) * dt
		c.wall[i] = math.Min(c.wall[i], 1100)
		c.outer[i] += (jacket - c.loss*length*(c.outer[i]-c.surroundings(i, room, outdoor))) / (c.jacket * length) * dt
	}
}

// tarHeat is the heat of burning creosote, J/kg; tarAir its air, kg/kg.
const (
	tarHeat = 28e6
	tarAir  = 9.0
)

// burn spreads a fire in the deposit; it is limited by the air that comes along.
func (c *chimney) burn(bottom, spare, dt float64) {
	c.blaze = 0
	for i := range cells {
		if c.burning[i] <= 0 || c.tar[i] <= 0 {
			continue
		}
		c.burning[i] = math.Min(1, c.burning[i]+dt/25)
		if c.burning[i] > 0.6 {
			if i+1 < cells && c.burning[i+1] == 0 {
				c.burning[i+1] = 0.01
			}
			if i > 0 && c.burning[i-1] == 0 && bottom > 250 {
				c.burning[i-1] = 0.01
			}
		}
		c.blaze += c.wanted(i)
	}
	if c.blaze == 0 {
		return
	}
	air := spare / tarAir * tarHeat // what the air can burn
	scale := math.Min(1, air/c.blaze)
	for i := range cells {
		c.tar[i] = math.Max(0, c.tar[i]-scale*c.wanted(i)/tarHeat*dt)
	}
	c.blaze *= scale
}

func (c *chimney) wanted(i int) float64 {
	if c.burning[i] <= 0 {
		return 0
	}
	return c.burning[i] * c.vigour * math.Sqrt(c.tar[i]) * tarHeat
}

// heatOf is the fire's heat in cell i, W, without the connector's share.
func (c *chimney) heatOf(i int) float64 {
	if c.blaze == 0 {
		return 0
	}
	sum := 0.0
	for j := range cells {
		sum += c.wanted(j)
	}
	if sum == 0 {
		return 0
	}
	q := c.blaze * c.wanted(i) / sum
	if i == 0 {
		q *= 1 - c.pipe
	}
	return q
}

// pipeHeat is what burns in the connector, at the collar, W.
func (c *chimney) pipeHeat() float64 {
	if c.blaze == 0 || c.pipe == 0 {
		return 0
	}
	return c.heatOf(0) / (1 - c.pipe) * c.pipe
}

// warm brings gas and liner to at least t °C, less so towards the top.
func (c *chimney) warm(t float64) {
	for i := range cells {
		x := t * (1 - 0.5*float64(i)/cells)
		c.gas[i], c.wall[i] = math.Max(c.gas[i], x), math.Max(c.wall[i], x)
	}
}
