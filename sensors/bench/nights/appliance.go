package nights

import "math"

// control is how an appliance governs its own combustion air.
type control int

const (
	byHand     control = iota // as the owner set it
	thermostat                // a motor opens for the room's call and shuts to a minimum
	stepped                   // steps down as the plenum gets hot
	bimetal                   // shuts gradually as the casing gets hot
)

// appliance is a furnace. Areas are effective flow areas (discharge coefficient included).
type appliance struct {
	rated   float64 // W to the warm air
	control control

	primary, secondary, crack float64 // m² with the air fully open
	door, ashDoor             float64 // m² wide open
	passage                   float64 // m², exchanger and collar
	rise                      float64 // m of hot gas inside, from the air inlet to the collar

	firebox                  float64 // m² of wall
	brick, brickDeep         float64 // J/K, surface and depth
	brickLink, casing        float64 // W/K, surface to depth, depth to warm air
	chamberWall              float64 // J/K
	chamberUA, chamberLink   float64 // W/K, gas to wall, wall to exchanger
	hot, cold                float64 // J/K, two halves of the exchanger's steel
	ntu                      float64 // of each half at the nominal gas flow
	nominal                  float64 // kg/s of combustion air at full fire
	airUA                    float64 // W/K of each half to the warm air at full blower
	blower                   float64 // kg/s
	twoSpeed                 bool
	fanOn, fanOff            float64 // °C of plenum air
	plenum                   float64 // J/K
	minimum                  float64 // share of the air that the control leaves open
	stepAt                   float64 // °C of plenum at which a stepped control starts down
	load                     float64 // kg of an ordinary full load
	flameShare               float64 // of the volatiles burns in the firebox
	fireboxView, chamberView float64 // how much of the gas the probes see, the rest wall
	chamberFlame             float64 // how much the chamber probe stands in the flame
	pipeView                 float64 // radiation error of the flue probe, share of gas over room
}

// newAppliance draws a furnace for a rated heat; brick is heavy, steel is light.
func newAppliance(d draw, rated float64, brick bool) appliance {
	s := rated / 25e3
	face := math.Pow(s, 0.67)
	a := appliance{rated: rated, load: 15 * math.Pow(s, 0.9) * d.between(0.85, 1.2)}
	a.nominal = rated / 0.76 / dryHeat * dryAir * d.between(1.7, 2.1)
	all := a.nominal / math.Sqrt(2*1.2*13)
	a.crack = all * d.between(0.05, 0.1)
	split := d.between(0.45, 0.6)
	a.primary, a.secondary = split*(all-a.crack), (1-split)*(all-a.crack)
	a.passage = all * d.between(3, 4.5)
	a.door, a.ashDoor = 0.05*face, 0.012*face
	a.rise = d.between(0.5, 1)
	a.firebox = 1.4 * face

	mass := 20 * s // kg
	if brick {
		mass = d.between(65, 105) * s
	}
	surface := math.Min(mass, 26*s) * d.between(0.8, 1.1)
	a.brick = surface * 950
	a.brickDeep = (mass-surface)*950 + 25*s*490
	a.brickLink = d.between(40, 60) * face
	a.casing = d.between(9, 14) * face
	a.chamberWall = d.between(9, 22) * s * 900
	a.chamberUA = d.between(12, 18) * face
	a.chamberLink = d.between(6, 9) * face
	steel := d.between(50, 75) // kg a half, 25 kW
	if brick {
		steel = d.between(75, 120)
	}
	a.hot, a.cold = steel*s*490, steel*s*490
	a.ntu = d.between(0.66, 0.78)
	a.airUA = d.between(75, 95) * s
	a.blower = rated / 1006 / d.between(36, 48)
	a.twoSpeed = d.chance(0.5)
	a.fanOn = d.between(40, 46)
	a.fanOff = a.fanOn - d.between(6, 10)
	a.plenum = d.between(35e3, 60e3) * s // with its sheet metal
	a.control = pick(d, byHand, byHand, thermostat, stepped, bimetal)
	a.minimum = d.between(0.15, 0.3)
	a.stepAt = d.between(58, 70)
	a.flameShare = d.between(0.5, 0.65)
	a.fireboxView = d.between(0.3, 0.5)
	a.chamberView = d.between(0.25, 0.5)
	a.chamberFlame = d.between(0.35, 0.65)
	a.pipeView = d.between(0.01, 0.06)
	return a
}
