package nights

import "math"

// fire is the state of the firebox, the gas path and the warm air.
type fire struct {
	ap appliance

	logs []logs
	char float64 // kg of glowing charcoal
	laid float64 // kg dry at the last load
	glow float64 // °C of the charcoal
	ash  float64 // J/K of hot ash and grate
	lit  float64 // s that a lighter still burns

	gas, brick, deep    float64 // firebox, °C
	chamberGas, chamber float64
	hot, cold           float64 // exchanger
	collar              float64 // gas at the collar
	plenum, supply      float64
	air                 float64 // how far the appliance's own control is open, 0 to 1
	demand              float64 // the owner's setting, 0 to 1
	demandBefore        float64 // while the fire is lit with the air fully open
	door, ashDoor       float64 // how far open, 0 to 1
	leak                float64 // air at a loading door that is not latched, times the primary air
	fan                 float64 // 0 to 1 of the blower's flow
	running, high       bool    // blower
	called              bool    // for heat, by the room
	stepDwell           float64
	power               bool
	filter              float64 // share of the blower's flow that the filter lets through
	snap                float64 // K by which a worn fan switch's hysteresis has shrunk

	flame       float64 // kg/s of volatiles that burn around the wood
	reach       float64 // how far their heat suffices for the wood, 0 to 1
	caught      float64 // share of the gas that the chamber lights, 0 to 1
	torch       float64 // how far a flame fills the chamber, 0 to 1
	heat, smoke float64 // W set free; kg/s of volatiles that left unburnt
	flow        float64 // kg/s of gas at the collar
	spare       float64 // kg/s of air that the fire left over
	ledger      ledger
}

// ledger balances the energy, J.
type ledger struct{ released, wood, stack, warmAir, basement float64 }

const (
	gasCp0, gasCp1 = 1045, 0.20 // cp = gasCp0 + gasCp1·t, J/(kg K), fits the NASA values within 1 %
	airCp          = 1006
	charCp         = 1300
	flameToWood    = 7.5e6  // J/kg of volatiles that flames may give to the wood around them
	lighterHeat    = 1500.0 // W of a lighter beside what the kindling takes, times the scale
)

// enthalpy of flue gas above 0 °C, J/kg, and its inverse.
func enthalpy(t float64) float64 { return gasCp0*t + gasCp1/2*t*t }

func temperature(h float64) float64 {
	return (math.Sqrt(gasCp0*gasCp0+2*gasCp1*h) - gasCp0) / gasCp1
}

func newFire(ap appliance, room float64) fire {
	return fire{
		ap: ap, ash: 2500 * math.Pow(ap.rated/25e3, 0.67),
		glow: room, gas: room, brick: room, deep: room, chamberGas: room, chamber: room,
		hot: room, cold: room, collar: room, plenum: room, supply: room,
		air: 1, demand: 0.8, reach: 1, power: true, filter: 1,
	}
}

// inlets are the effective areas now, m².
func (f *fire) inlets() (under, over, secondary float64) {
	open := f.air * f.demand
	under = f.ap.primary*open + 0.5*f.ap.crack + f.ap.ashDoor*f.ashDoor + 0.03*f.ap.door*f.door + 0.5*f.ap.primary*f.leak
	over = 0.5*f.ap.crack + 0.12*f.ap.door*f.door + 0.5*f.ap.primary*f.leak
	secondary = f.ap.secondary*math.Max(open, 0.25*f.demand) + 0.85*f.ap.door*f.door
	return under, over, secondary
}

// conductance is kg/s through the appliance at 1 Pa: inlets and passage in series.
func (f *fire) conductance(rho float64) float64 {
	under, over, secondary := f.inlets()
	in := under + over + secondary
	hotRho := rho * (20 + kelvin) / (0.5*(f.chamberGas+f.collar) + kelvin)
	r := 1/(2*rho*in*in) + 1/(2*hotRho*f.ap.passage*f.ap.passage)
	return 1 / math.Sqrt(r)
}

// step burns and exchanges for dt with a combustion air of through kg/s (negative when the
// draft has turned) in a room of the given temperature.
func (f *fire) step(through, room, back, dt float64) {
	ap := &f.ap
	scale := math.Pow(ap.rated/25e3, 0.67)
	under, over, secondary := f.inlets()
	sum := under + over + secondary
	breath := through
	if breath < 0 {
		breath *= -0.25 // spent gas with some air in it
	}
	airUnder, airOver, airSecond := breath*under/sum, breath*over/sum, breath*secondary/sum

	// The bed.
	bed := 0.16 * scale // m² of grate
	cover := 1 - math.Exp(-f.char/(0.35*scale))
	contact := 0.6 * (1 - math.Exp(-f.char/(1.2*scale)))
	kinetic := 0.0022 * math.Cbrt(f.char*f.char*scale) * math.Exp(7000*(1/950.0-1/(math.Max(f.glow, 20)+kelvin)))
	supply := (airUnder + 0.15*airOver) * contact / charAir
	burnt := 0.0
	if f.char > 0 && supply > 0 {
		burnt = math.Min(f.char/dt, kinetic*supply/(kinetic+supply))
	}
	left := airUnder + airOver - burnt*charAir

	// The wood.
	draw := math.Max(0.05, airUnder/(0.5*ap.nominal)) // through the bed, 1 at full fire
	u := surroundings{coals: f.glow, brick: f.brick, convection: 10 * math.Sqrt(draw), spread: 150 / (1 + cover), char: charDepth / clamp(0.1+0.9*draw, 0.4, 4)}
	// Flames are hotter than the stirred gas, as far as their own heat goes.
	lick := f.flame / (f.flame + 0.0002*scale)
	fromFlames, asked := f.flame*flameToWood, 0.0
	u.convection += 15 * lick * math.Sqrt(draw)
	remaining := 0.0
	for i := range f.logs {
		remaining += f.logs[i].dry()
	}
	consumed := 1 - share(remaining, f.laid)
	var t taken
	lighter := 0.0
	if f.lit > 0 {
		lighter = lighterHeat * scale
	}
	for i := range f.logs {
		l := &f.logs[i]
		onLighter := l.tinder && f.lit > 0
		u.gas, u.toGas = f.gas+f.reach*lick*math.Max(0, 1000-f.gas), 0.45
		// What lies above sinks as the wood below is consumed.
		height := clamp(float64(l.row)-3*consumed, 0, 2)
		u.toCoals = cover * (0.3 - 0.11*height)
		u.toBrick = 0.1 + 0.025*height
		u.open = math.Min(0.28, 0.28-0.09*height+0.1*consumed)
		u.open = math.Min(0.8, u.open*l.loose)
		if l.loose > 1 { // stacked loosely, flames are all around it
			among, reach := math.Max(f.gas, 900*math.Min(1, 2.5*lick)), f.reach
			u.toGas = 0.55
			if l.tinder {
				u.toGas, u.toBrick, reach = 0.7, 0.04, 1
			}
			u.gas = f.gas + reach*(among-f.gas)
		}
		if onLighter {
			u.gas = math.Max(u.gas, 850)
		}
		before := l.temp
		x := l.burn(u, dt)
		if onLighter {
			lighter += math.Max(0, x.fromGas)
		} else if u.gas > before+1 {
			asked += x.fromGas * (u.gas - f.gas) / (u.gas - before)
		}
		t.volatiles += x.volatiles
		t.char += x.char
		t.steam += x.steam
		t.fromCoals += x.fromCoals
		t.fromBrick += x.fromBrick
		t.fromGas += x.fromGas
		t.gasBack += x.gasBack
		t.drying += x.drying
		t.stored += x.stored
	}
	if asked > fromFlames {
		f.reach = math.Max(0.05, f.reach*math.Max(0.8, fromFlames/asked))
	} else {
		f.reach = math.Min(1, f.reach+0.05)
	}
	if len(f.logs) > 0 && remaining == 0 {
		f.logs = f.logs[:0]
	}
	// Heat and air of the volatiles are what the charcoal of the same wood leaves.
	chi := 0.0
	if t.volatiles > 0 {
		chi = t.char / (t.char + t.volatiles)
	}
	volHeat := (dryHeat - chi*charHeat) / (1 - chi)
	volAir := (dryAir - chi*charAir) / (1 - chi)

	// Flames in the firebox, then in the chamber, then some in the exchanger.
	pilot := math.Max(f.gas+lick*math.Max(0, 900-f.gas), 0.75*f.glow)
	ignite := rise(pilot-330, 30)
	if f.lit > 0 {
		ignite = math.Max(ignite, 0.8)
	}
	lean := func(air, fuel float64) float64 { // share of fuel that finds its air in time
		if fuel <= 0 {
			return 1
		}
		x := math.Max(0, air) / (fuel * volAir)
		return x / math.Pow(1+math.Pow(x, 6), 1.0/6)
	}
	first := ap.flameShare * t.volatiles * ignite * lean(left, ap.flameShare*t.volatiles)
	left -= first * volAir
	rest := t.volatiles - first
	left += airSecond
	hotEnough := rise(0.7*math.Max(f.chamberGas, f.gas)+0.3*f.brick-370, 75)
	if hotEnough > f.caught { // a flame takes its time to fill the chamber
		hotEnough = f.caught + (hotEnough-f.caught)*(1-math.Exp(-dt/60))
	}
	f.caught = hotEnough
	second := rest * hotEnough * lean(left, rest) * 0.94
	left -= second * volAir
	rest -= second
	late := 0.4 * rest * rise(f.chamberGas-600, 40) * lean(left, rest)
	left -= late * volAir
	rest -= late
	f.flame, f.smoke = first, rest
	warm := clamp((f.chamber-60)/300, 0.1, 1) // cold walls quench the flame
	f.torch += (warm*second/(second+0.00022*scale) - f.torch) * (1 - math.Exp(-dt/5))
	f.spare = math.Max(0, left)
	f.lit = math.Max(0, f.lit-dt)
	f.heat = (first+second+late)*volHeat + burnt*charHeat + lighter

	// Firebox gas, stirred.
	scaleFlow := math.Pow(math.Max(breath, 1e-4)/ap.nominal, 0.6)
	small := 0.0006 * scale
	in := airUnder + airOver
	mass := in + t.volatiles + t.steam + burnt + small
	flame := first * volHeat
	radiant := 0.28 * flame
	inBed := 0.62 * burnt * charHeat
	past := math.Pow(math.Max(airUnder+airOver, 1e-4)/(0.65*ap.nominal), 0.6)
	wallUA := (4 + 9*past) * ap.firebox
	bedUA := 25 * bed * (0.12 + past) * cover
	q := flame - radiant + burnt*(charHeat+charCp*f.glow) - inBed + lighter + t.gasBack - t.char*charCp*380 + t.steam*enthalpy(100)
	hIn := (in+small)*enthalpy(room) + q - t.fromGas
	cp := gasCp0 + gasCp1/2*f.gas
	gas := (hIn + wallUA*f.brick + bedUA*f.glow) / (mass*cp + wallUA + bedUA)
	gas = clamp(gas, -60, 1900)
	f.gas += (gas - f.gas) * (1 - math.Exp(-dt/3))
	toBrick := wallUA * (f.gas - f.brick)
	fromBed := bedUA * (f.glow - f.gas)
	h := hIn - toBrick + fromBed

	// Bed, brick.
	gk, bk := f.glow+kelvin, f.brick+kelvin
	bedToBrick := 0.3 * stefan * bed * (0.15 + 0.85*cover) * (1 - 0.5*share(remaining, f.ap.load)) * (gk*gk + bk*bk) * (gk + bk) * (f.glow - f.brick)
	bedCap := f.ash + f.char*charCp
	charIn := t.char * charCp * (380 - f.glow)
	f.glow += (inBed + 0.3*radiant - fromBed - bedToBrick - t.fromCoals + charIn) / bedCap * dt
	f.glow = clamp(f.glow, -60, 1500)
	f.char = math.Max(0, f.char+(t.char-burnt)*dt)
	link := ap.brickLink * (f.brick - f.deep)
	toHot := 0.12 * stefan * ap.firebox * (pow4(bk) - pow4(f.hot+kelvin)) // brick shines into the exchanger
	f.brick += (toBrick + 0.7*radiant + bedToBrick - t.fromBrick - link - toHot) / ap.brick * dt

	// Chamber.
	mass += airSecond
	h += airSecond*enthalpy(room) + second*volHeat
	cp = gasCp0 + gasCp1/2*f.chamberGas
	cUA := ap.chamberUA * (0.5 + 0.5*math.Min(1.5, scaleFlow))
	cg := (h + cUA*f.chamber) / (mass*cp + cUA)
	f.chamberGas += (clamp(cg, -60, 1900) - f.chamberGas) * (1 - math.Exp(-dt/3))
	toChamber := cUA * (f.chamberGas - f.chamber)
	h -= toChamber
	cLink := ap.chamberLink * (f.chamber - f.hot)
	f.chamber += (toChamber - cLink) / ap.chamberWall * dt

	// Exchanger: two halves.
	h += late * volHeat
	tg := temperature(math.Max(h/mass, enthalpy(-60)))
	slow := math.Pow(math.Max(breath, 0.05*ap.nominal)/ap.nominal, -0.25)
	pass := 1 - math.Exp(-ap.ntu*slow)
	q1 := mass * (gasCp0 + gasCp1/2*(tg+f.hot)) * (tg - f.hot) * pass
	h -= q1
	tg = temperature(math.Max(h/mass, enthalpy(-60)))
	q2 := mass * (gasCp0 + gasCp1/2*(tg+f.cold)) * (tg - f.cold) * pass
	h -= q2
	tg = temperature(math.Max(h/mass, enthalpy(-60)))
	f.ledger.stack += (h - (in+airSecond+small)*enthalpy(room)) * dt
	f.ledger.released += f.heat * dt
	f.ledger.wood += (t.drying - t.steam*enthalpy(100) + t.stored) * dt
	f.warm(room, q1, q2, link, cLink+toHot, dt)

	out := tg
	f.flow = in + airSecond + t.volatiles + t.steam + burnt
	if through < 0 {
		out, f.flow = back, through
	}
	f.collar += (out - f.collar) * (1 - math.Exp(-dt/2))
}

// warm runs blower and plenum; q1 and q2 are what the gas gave the halves of the exchanger.
func (f *fire) warm(room, q1, q2, toDeep, toHot, dt float64) {
	ap := &f.ap
	f.control(room, dt)
	air := f.fan * ap.blower * f.filter
	natural := 0.005 * ap.rated / 25e3 * math.Sqrt(math.Max(0, f.plenum-room))
	air = math.Max(air, natural)
	ua := ap.airUA * math.Pow(air/ap.blower+1e-4, 0.6)
	m := air*airCp + 1e-3
	ret := room - 1.5

	takeUp := func(t, wall, ua float64) (float64, float64) {
		out := wall + (t-wall)*math.Exp(-ua/m)
		return out, m * (out - t)
	}
	t1, fromCold := takeUp(ret, f.cold, ua)
	t2, fromHot := takeUp(t1, f.hot, ua)
	t3, fromCasing := takeUp(t2, f.deep, ap.casing)
	f.supply = t3

	shine := 0.8 * ap.rated / 25e3 * (f.hot - f.plenum)
	lossCasing := 2.5 * ap.rated / 25e3 * (f.hot - room)
	lossPlenum := 1.5 * ap.rated / 25e3 * (f.plenum - room)
	f.deep += (toDeep - fromCasing) / ap.brickDeep * dt
	f.hot += (q1 + toHot - fromHot - shine - lossCasing) / ap.hot * dt
	f.cold += (q2 - fromCold) / ap.cold * dt
	move := m * (1 - math.Exp(-m/ap.plenum*dt)) / (m / ap.plenum * dt) // exact for a constant supply
	before := f.plenum
	f.plenum += (move*(t3-f.plenum) + shine - lossPlenum) / ap.plenum * dt
	f.ledger.warmAir += ((fromCold + fromHot + fromCasing) + shine - lossPlenum - (f.plenum-before)*ap.plenum/dt) * dt
	f.ledger.basement += (lossCasing + lossPlenum) * dt
}

// control moves the blower and the appliance's own air control.
func (f *fire) control(room, dt float64) {
	ap := &f.ap
	on, off := ap.fanOn, ap.fanOff+f.snap
	switch {
	case !f.power:
		f.running, f.high = false, false
	case f.plenum < off:
		f.running, f.high = false, false
	case f.plenum > on:
		f.running = true
	}
	if f.running && (f.plenum > on+14 || !ap.twoSpeed) {
		f.high = true
	} else if f.plenum < on+5 && ap.twoSpeed {
		f.high = false
	}
	aim := 0.0
	switch {
	case f.high:
		aim = 1
	case f.running:
		aim = 0.6
	}
	f.fan += clamp(aim-f.fan, -dt/6, dt/6)

	f.stepDwell += dt
	switch ap.control {
	case byHand:
		f.air += clamp(1-f.air, -dt/20, dt/20)
	case thermostat:
		goal := ap.minimum
		if f.called {
			goal = 1
		}
		f.air += clamp(goal-f.air, -dt/40, dt/40)
	case stepped:
		if f.stepDwell < 60 {
			return
		}
		over := (f.plenum - ap.stepAt) / 5
		goal := clamp(1-0.25*math.Floor(math.Max(0, over)), ap.minimum, 1)
		if goal < f.air || over < -0.6 && f.air < 1 {
			if goal > f.air {
				goal = f.air + 0.25
			}
			f.air, f.stepDwell = math.Min(1, goal), 0
		}
	case bimetal:
		goal := clamp(1-(f.deep-220)/160, ap.minimum, 1)
		f.air += (goal - f.air) * (1 - math.Exp(-dt/90))
	}
}

// stored is the heat in the masses, J above 0 °C.
func (f *fire) stored() float64 {
	ap := &f.ap
	return ap.brick*f.brick + ap.brickDeep*f.deep + ap.chamberWall*f.chamber + ap.hot*f.hot + ap.cold*f.cold + ap.plenum*f.plenum +
		(f.ash+f.char*charCp)*f.glow
}

func pow4(x float64) float64 { x *= x; return x * x }
