package nights

import "math"

// Combustion of wood, C 0.50 H 0.06 O 0.43 of the dry mass: 18.77 MJ and 5.96 kg of air a
// kilogram (stoichiometry). The volatiles are what the charcoal leaves of both.
const (
	dryHeat  = 18.77e6 // J/kg, lower
	dryAir   = 5.96    // kg/kg
	charHeat = 32.4e6  // J/kg of charcoal
	charAir  = 11.4    // kg/kg

	pyrolysisSink = 0.78e6 // J/kg dry: warming to the front's temperature, and the reaction
	dryingSink    = 2.59e6 // J/kg of water from 20 °C to vapour at 100 °C
	layerDepth    = 0.003  // m of wood that has the front's temperature
	woodHeatCap   = 1800.0
	charDepth     = 0.007 // m that stay on the wood before they fall off
	charConduct   = 0.16  // W/(m K), with radiation through its cracks
	woodConduct   = 0.20
	frontSpeed    = 1.2e-5 // m/s of the pyrolysis front at frontAt
	frontAt       = 640.0  // K
	frontE        = 10800  // activation temperature, K
	stefan        = 5.67e-8
	kelvin        = 273.15
)

// logs is a class of equal pieces of one load, each a cylinder that burns from its
// surface inwards: a drying front ahead, a pyrolysis front behind it, charcoal outside.
type logs struct {
	n, radius, length float64 // pieces; m
	density           float64 // kg/m³ dry
	water             float64 // kg/kg dry
	charShare         float64
	row               int     // 0 lies on the coals
	tinder            bool    // lies on the lighter
	loose             float64 // how much more of its surface is bare than in a dense stack

	alight     float64 // share of the surface that takes part, 0 to 1
	front, wet float64 // radii of the pyrolysis and the drying front, m
	temp       float64 // of the layer at the pyrolysis front, °C
	char       float64 // depth of the charcoal that still covers the front, m
}

// dry is the wood that is not yet pyrolysed, kg dry.
func (l *logs) dry() float64 {
	return l.n * math.Pi * l.front * l.front * l.length * l.density
}

// wetness is the water left, kg.
func (l *logs) wetness() float64 {
	return l.n * math.Pi * l.wet * l.wet * l.length * l.density * l.water
}

// surroundings is what a log exchanges heat with: temperatures, °C, and the share of its
// surface that sees each.
type surroundings struct {
	coals, brick, gas             float64
	toCoals, toBrick, toGas, open float64 // the rest sees other logs; open is the share that is not covered
	convection                    float64 // W/(m² K)
	spread                        float64 // s in which fire takes e times as much surface
	char                          float64 // m of charcoal that the air leaves on the wood
}

// taken is what a step of a log gave and took.
type taken struct {
	volatiles, char, steam   float64 // kg/s
	fromCoals, fromBrick     float64 // W
	fromGas, gasBack, drying float64 // W; gasBack goes back with the volatiles
	stored                   float64
}

// burn moves the two fronts by dt.
func (l *logs) burn(s surroundings, dt float64) taken {
	var t taken
	if l.front <= 0 {
		return t
	}
	if l.temp > 230 {
		// Fire spreads along the pieces; what it reaches is cold.
		more := l.alight * (1 - l.alight) / s.spread * dt
		l.temp -= (l.temp - 20) * more / (l.alight + more)
		l.alight = math.Min(1, l.alight+more)
	}
	full := 2 * math.Pi * l.n * l.length * l.alight
	area := full * math.Max(l.front, 0.3*l.radius) * s.open
	through := l.char / charConduct
	pass := func(temp float64) float64 { // W/(m² K) from a surrounding to the front
		m := (temp+l.temp)/2 + kelvin
		return 1 / (1/(s.convection+3.4*stefan*m*m*m) + through)
	}
	t.fromCoals = area * s.toCoals * pass(s.coals) * (s.coals - l.temp)
	t.fromGas = area * s.toGas * pass(s.gas) * (s.gas - l.temp)
	t.fromBrick = area * s.toBrick * pass(s.brick) * (s.brick - l.temp)
	in := t.fromCoals + t.fromGas + t.fromBrick

	if l.wet > 0 && l.temp > 100 {
		depth := math.Max(l.front-l.wet, 0.0015)
		t.drying = full * l.wet * math.Min(1, s.open+0.2) * woodConduct / depth * (l.temp - 100)
		limit := l.wetness() * dryingSink / dt
		t.drying = math.Min(t.drying, limit)
		t.steam = t.drying / dryingSink
	}

	speed := 0.0
	if l.temp > 150 {
		speed = frontSpeed * math.Exp(frontE*(1/frontAt-1/(l.temp+kelvin)))
	}
	speed = math.Min(speed, l.front/dt)
	rate := full * l.front * speed * l.density * math.Min(1, s.open+0.2)
	rate = math.Min(rate, l.dry()/dt)
	t.volatiles, t.char = rate*(1-l.charShare), rate*l.charShare
	t.gasBack = rate * pyrolysisSink

	layer := math.Min(layerDepth, math.Max(l.front, 0.0015))
	heatCap := full * math.Max(l.front, 0.3*l.radius) * layer * l.density * (woodHeatCap + 2000*l.water*share(l.wetness(), l.dry()))
	before := l.temp
	l.temp += (in - t.drying - t.gasBack) / heatCap * dt
	t.stored = (l.temp - before) * heatCap / dt

	// The fronts' new radii follow from what is left.
	l.front = math.Sqrt(math.Max(0, l.dry()-rate*dt) / (l.n * math.Pi * l.length * l.density))
	if l.water > 0 {
		l.wet = math.Sqrt(math.Max(0, l.wetness()-t.steam*dt) / (l.n * math.Pi * l.length * l.density * l.water))
	} else {
		l.wet = 0
	}
	if l.wet > l.front {
		// The pyrolysis front cannot pass the wet core: what it met dries at once.
		over := l.wetness()
		l.wet = l.front
		over -= l.wetness()
		t.steam += over / dt
		t.drying += over * dryingSink / dt
		l.temp -= over * dryingSink / heatCap
		t.stored -= over * dryingSink / dt
	}
	l.char = math.Min(l.radius-l.front, s.char)
	if l.front < 0.0008 { // the last grams fall into the coals, with their heat
		left := heatCap * (l.temp - 20) / dt
		t.stored -= left
		t.fromCoals -= left
		l.front, l.wet = 0, 0
	}
	return t
}

func share(part, whole float64) float64 {
	if whole <= 0 {
		return 0
	}
	return math.Min(1, part/whole)
}
