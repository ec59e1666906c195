package nights

import "math"

// world is furnace, chimney, house and weather together.
type world struct {
	d    draw
	fire fire
	flue chimney
	gate regulator
	sky  weather

	t        float64 // s
	room     float64
	house    float64 // J/K
	leak     float64 // W/K of the house
	set      float64 // thermostat, °C
	neutral  float64 // m from the collar up to the height at which house and outdoors are even
	fans     float64 // Pa by which fans depressurise the room
	push     float64 // Pa that a downdraft pushes
	pushAim  float64
	draft    float64 // true, Pa
	force    float64 // Pa that the chimney would pull without flow
	through  float64 // kg/s through the appliance
	gateFlow float64
	roar     float64 // Pa of pressure noise now
	outdoor  float64
	wind     float64
}

// step lets dt pass.
func (w *world) step(dt float64) {
	w.outdoor = w.sky.outdoor(w.t)
	rho := w.sky.pressure / (gasR * (w.room + kelvin))
	w.wind += (w.sky.step(w.d, rho, dt) - w.wind) * (1 - math.Exp(-dt/0.7))
	w.push += (w.pushAim*(1+0.15*w.sky.gust) - w.push) * (1 - math.Exp(-dt/6))
	w.breathe(rho, dt)

	w.fire.called = w.room < w.set
	w.fire.step(w.through, w.room, w.flue.gas[0], dt)

	w.fire.collar += w.flue.pipeHeat() / ((math.Abs(w.through) + 0.003) * 1150) * (1 - math.Exp(-dt/2))
	w.fire.collar = math.Min(w.fire.collar, 1150)

	gate := math.Max(0, w.gateFlow)
	up := w.fire.flow + w.gateFlow
	bottom := w.room
	if through := math.Max(0, w.fire.flow); through+gate > 1e-6 {
		bottom = (through*w.fire.collar + gate*w.room) / (through + gate)
	}
	w.flue.step(up, bottom, w.room, w.outdoor, w.fire.spare+gate, dt)

	// The house takes the warm air; other heating keeps it from getting cold.
	gain := w.warmAirPower() - w.leak*(w.room-w.outdoor)
	if w.room < w.set-2 {
		gain = math.Max(gain, w.leak*2)
	}
	w.room += gain / w.house * dt
	w.t += dt
}

func (w *world) warmAirPower() float64 {
	f := &w.fire
	return math.Max(f.fan*f.ap.blower*f.filter, 0.002) * airCp * (f.supply - w.room + 1.5)
}

// breathe solves the pressure network in short steps: one unknown, the pressure at the tee.
func (w *world) breathe(rho, dt float64) {
	ambient := w.sky.pressure
	house := (1/(w.outdoor+kelvin) - 1/(w.room+kelvin)) * gravity / gasR * ambient * w.neutral
	force := w.flue.buoyancy(w.outdoor, ambient) + w.wind - house - w.fans - w.push
	w.force = force
	loss := w.flue.friction(ambient)
	inner := gravity * w.fire.ap.rise * rho * (1 - (w.room+kelvin)/(w.fire.chamberGas+kelvin))
	app := w.fire.conductance(rho)

	n := int(math.Ceil(dt / 0.25))
	h := dt / float64(n)
	for range n {
		gate := w.gate.conductance(rho)
		p := w.draft
		for range 4 {
			a, da := root(p + inner)
			g, dg := root(p)
			m, dm := app*a+gate*g, app*da+gate*dg
			f := p - force + loss*m*math.Abs(m)
			p -= clamp(f/(1+2*loss*math.Abs(m)*dm), -15, 15)
		}
		w.draft += (p - w.draft) * (1 - math.Exp(-h/0.6))
		w.gate.step(w.draft, h)
	}
	a, _ := root(w.draft + inner)
	g, _ := root(w.draft)
	w.through, w.gateFlow = app*a, w.gate.conductance(rho)*g
	w.roar = 0.1 + 0.25*math.Sqrt(w.fire.heat/w.fire.ap.rated) + 0.012*math.Sqrt(w.flue.blaze)
}

// root is the signed square root, rounded near zero, and its slope.
func root(x float64) (y, dy float64) {
	const soft = 0.02
	q := math.Sqrt(math.Sqrt(x*x + soft))
	y = x / q
	dy = 1/q - 0.5*x*x/(q*q*q*q*q)
	return y, dy
}
