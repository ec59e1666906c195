package furnace

import (
	"math"
	"math/rand/v2"
	"time"
)

// stepSize is the step of integration: short against the quickest lag, the gas column's.
const stepSize = 200 * time.Millisecond

// Furnace is the model. It is not safe for concurrent use.
type Furnace struct {
	cfg  Config
	rng  *rand.Rand
	step time.Duration
	due  time.Duration // time asked for and not yet stepped

	elapsed time.Duration

	// Fuel, kg; kindled is the share of the wood that has caught fire.
	kindling, water, volatiles, char float64
	kindled, fineness                float64

	// Temperatures of masses, °C.
	firebox, chamber, hx, liner, plenum, room float64
	collar                                    float64 // gas at the collar

	draft, gust float64
	gate        float64 // the regulator's opening, 0 to 1

	demand, setPoint, wind float64
	stuck                  Stuck
	door                   bool
	doorUntil              time.Duration // a reload shuts the door by itself
	power                  bool          // mains for the fan
	fan                    bool
	downdraft, downNow     float64
	downUntil              time.Duration
	chimneyFireUntil       time.Duration

	probes Probes
	flow   flows
	ledger ledger
}

// flows are the rates of the latest step, for State.
type flows struct {
	air, gate, heat        float64
	late                   float64 // share of the heat set free behind the chamber
	chamberGas, fireboxGas float64
}

// ledger balances the energy, J: what the fire gave is stored in the masses or has left
// with the gas, with the warm air or into cold wood.
type ledger struct{ released, stack, house, wood float64 }

// New returns a cold furnace. The seed decides gusts and rumble, nothing else.
func New(cfg Config, seed uint64) *Furnace {
	cfg = cfg.withDefaults()
	f := &Furnace{
		cfg:  cfg,
		rng:  rand.New(rand.NewPCG(seed, 0x666c7565)),
		step: stepSize,

		firebox: cfg.Room, chamber: cfg.Room, hx: cfg.Room,
		plenum: cfg.Room, room: cfg.Room, collar: cfg.Room,
		// A liner inside the house is a little warmer than the night.
		liner: cfg.Outdoor + 0.4*(cfg.Room-cfg.Outdoor),

		demand: cfg.Demand, setPoint: cfg.SetPoint,
		fineness: 1, power: true,
	}
	f.draft = f.stack(f.liner)
	f.probes = f.truth()
	return f
}

// Advance lets dt of furnace time pass. It does not allocate.
func (f *Furnace) Advance(dt time.Duration) {
	f.due += dt
	for f.due >= f.step {
		f.due -= f.step
		f.elapsed += f.step
		f.advance(f.step.Seconds())
	}
}

// advance integrates one step by explicit Euler.
func (f *Furnace) advance(dt float64) {
	if f.doorUntil != 0 && f.elapsed >= f.doorUntil {
		f.door, f.doorUntil = false, 0
	}
	f.breathe(dt)
	heat := f.burn(dt)
	f.exchange(heat, dt)
	f.sense(dt)
}

// burn consumes fuel and returns the heat set free, W.
func (f *Furnace) burn(dt float64) float64 {
	if f.kindling == 0 && f.volatiles == 0 && f.water == 0 && f.char == 0 {
		f.flow.heat, f.flow.late = 0, 0
		return 0
	}
	air := f.flow.air
	if air < 0 {
		// Reversed: spent gas and some fresh air come down the chimney.
		air *= -0.25
	} else if f.door {
		// Most of what an open door lets in passes over the fire.
		share := f.airPath() / (f.airPath() + doorAt12)
		air *= share + 0.2*(1-share)
	}
	breath := air / gasNominal // 1 in a usual clean burn

	// Lighting spreads by itself, quicker in dry and fine wood and with more air; hot
	// brick and coals help.
	wet := f.moisture()
	dryness := 1 / (1 + 9*wet)
	hot := smooth((f.truth().Firebox - 100) / 600)
	coals := math.Min(1, f.char/3)
	if f.volatiles > 0 && (f.kindling > 0.02 || f.kindled > 0.02 || f.char > 0.15 && f.firebox > 120) {
		spread := (0.013 + 0.02*hot + 0.008*coals) * dryness * f.fineness * math.Min(1.6, breath+0.1)
		f.kindled = math.Min(1, f.kindled+(f.kindled+0.04)*(1-f.kindled)*spread*dt)
	}

	kindling := math.Min(0.0018*math.Min(1, 0.3+breath)*cubeRootSquared(f.kindling), f.kindling/dt)
	pyrolysis := 0.00124 * f.fineness * dryness * f.kindled * (0.75 + 0.45*hot + 0.3*coals) *
		power34(breath+0.02) * cubeRootSquared(f.volatiles)
	pyrolysis = math.Min(pyrolysis, f.volatiles/dt)
	drying := 0.0
	if f.firebox > 60 || f.kindled > 0.05 {
		drying = math.Min(0.0007*f.fineness*(0.25*f.kindled+hot)*cubeRootSquared(f.water), f.water/dt)
	}

	// Flaming takes the oxygen first, the coals what is left.
	gasified := pyrolysis + kindling
	burntGas := math.Min(gasified, air/(1.05*airVolatile))
	left := math.Max(0, air-burntGas*airVolatile)
	burntChar := 0.00032 * math.Sqrt(breath+0.01) * (0.3 + 0.7*smooth((f.firebox-60)/300)) * cubeRootSquared(f.char)
	burntChar = math.Min(burntChar, math.Min(left/(1.6*airChar), f.char/dt))

	f.kindling = math.Max(0, f.kindling-kindling*dt)
	f.volatiles = math.Max(0, f.volatiles-pyrolysis*dt)
	f.water = math.Max(0, f.water-drying*dt)
	f.char = math.Max(0, f.char+(pyrolysis*charShare/volatileShare-burntChar)*dt)

	// Under some 500 °C in the chamber part of the gas leaves as smoke.
	clean := 0.62 + 0.36*smooth((f.flow.chamberGas-150)/400)
	heat := burntGas*clean*heatVolatile + burntChar*heatChar
	f.ledger.released += (heat - drying*latent) * dt
	f.firebox -= drying * latent / heatFirebox * dt
	f.flow.heat = heat
	// Short of air the flames grow through the exchanger towards the collar.
	f.flow.late = 0.26 * smooth((gasified*airVolatile/math.Max(air, 1e-6)-0.55)/0.7)
	return heat
}

// exchange carries the heat through chamber and exchanger into house and chimney.
func (f *Furnace) exchange(heat, dt float64) {
	gas := math.Max(0.0008, math.Abs(f.flow.air)) * 1.12 // the fuel's own mass goes along
	mcp := gas * cpGas
	slow := 1 / math.Sqrt(math.Sqrt(gas/gasNominal)) // exchange hardly gains from flow

	// Gas and brick first share the heat, then exchange by convection in the bed.
	late := f.flow.late * heat
	heat -= late
	toFirebox := radiated * heat
	flame := f.room + (heat-toFirebox)/mcp
	toFirebox += mcp * (flame - f.firebox) * (1 - math.Exp(-0.22*slow))
	flame = f.room + (heat-toFirebox)/mcp

	afterChamber := f.chamber + (flame-f.chamber)*math.Exp(-ntuChamber*slow)
	ntu := ntuHX * slow
	afterHX := f.hx + (afterChamber-f.hx)*math.Exp(-ntu) + late/mcp*math.Exp(-ntu/2)
	toChamber := mcp * (flame - afterChamber)
	toHX := mcp*(afterChamber-afterHX) + late
	f.flow.fireboxGas, f.flow.chamberGas = flame, afterChamber

	fbToHX := uaFirebox * (f.firebox - f.hx)
	chToHX := uaChamber * (f.chamber - f.hx)
	toAir := f.warmAir(dt)

	f.firebox += (toFirebox - fbToHX) / heatFirebox * dt
	f.chamber += (toChamber - chToHX) / heatChamber * dt
	f.hx += (toHX + fbToHX + chToHX - toAir) / heatHX * dt
	lost := lossHouse * (f.room - f.cfg.Outdoor)
	f.room += (toAir - lost + backgroundHeat(f)) / heatHouse * dt
	f.ledger.house += toAir * dt
	f.ledger.stack += mcp * (afterHX - f.room) * dt

	gasAtCollar := afterHX
	if f.flow.air < 0 {
		gasAtCollar = f.liner // what comes down has the liner's temperature
	}
	f.collar += (gasAtCollar - f.collar) / 3 * dt
}

// backgroundHeat keeps the house at its temperature while the furnace is cold.
func backgroundHeat(f *Furnace) float64 {
	return lossHouse * (f.cfg.Room - f.cfg.Outdoor) * smooth((f.cfg.Room+1-f.room)/1)
}

// warmAir runs the fan and the plenum and returns the heat that the air takes, W.
func (f *Furnace) warmAir(dt float64) float64 {
	switch {
	case !f.power || f.plenum < fanOffAt:
		f.fan = false
	case f.plenum > fanOnAt:
		f.fan = true
	}
	ua, target, lag := uaStill, f.room+0.42*(f.hx-f.room)*(1+(f.hx-f.room)/150), plenumLag
	if f.fan {
		// All the air passes the exchanger: its rise is the heat over the flow.
		ua = uaFan
		target, lag = f.room+ua*(f.hx-f.room)/(fanFlow*cpAir), 15
	}
	f.plenum += (target - f.plenum) / lag * dt
	return ua * (f.hx - f.room)
}

// moisture is the water in what is left of the wood, wet basis.
func (f *Furnace) moisture() float64 {
	if f.water <= 0 {
		return 0
	}
	return f.water / (f.water + f.volatiles/volatileShare)
}

// smooth rises from 0 to 1 as x does.
func smooth(x float64) float64 {
	x = math.Min(1, math.Max(0, x))
	return x * x * (3 - 2*x)
}

// power34 is x to the power of 3/4.
func power34(x float64) float64 {
	r := math.Sqrt(x)
	return r * math.Sqrt(r)
}

// cubeRootSquared is the surface of a shrinking heap of mass m.
func cubeRootSquared(m float64) float64 {
	if m <= 0 {
		return 0
	}
	c := math.Cbrt(m)
	return c * c
}
