package furnace

import "math"

// stack is the buoyancy of a column at mean temperature tm, °C, against the outdoors:
// Δp = g·H·P/R·(1/To − 1/Tm), kelvin, Pa.
func (f *Furnace) stack(tm float64) float64 {
	return gOverR * f.cfg.ChimneyHeight * f.cfg.Ambient *
		(1/(f.cfg.Outdoor+273.15) - 1/(tm+273.15))
}

// airPath is the appliance's combustion air in kg/s at 12 Pa.
func (f *Furnace) airPath() float64 {
	return airAt12 * (crackedAir + (1-crackedAir)*f.demand)
}

// breathe moves draft, regulator, wind, air and the chimney's liner by one step.
func (f *Furnace) breathe(dt float64) {
	root := math.Copysign(math.Sqrt(math.Abs(f.draft)), f.draft)
	path := f.airPath()
	if f.door {
		path += doorAt12
	}
	air := path * root / math.Sqrt(12)

	// Torque balance: the gate begins to open at the set point and is wide open a band
	// above it, after the lag of its mass. It cannot raise the draft and shuts when the
	// draft turns.
	switch f.stuck {
	case Free:
		aim := math.Min(1, math.Max(0, (f.draft-f.setPoint)/gateBand))
		f.gate += (aim - f.gate) / gateLag * dt
	case StuckShut:
		f.gate = 0
	case StuckOpen:
		f.gate = 0.35
	}
	gate := gateCd * gateArea * f.gate * math.Sqrt(2*roomAir*math.Abs(f.draft))
	gate = math.Copysign(gate, f.draft)

	// Collar gas and gate air mix and give heat to the liner.
	up := math.Max(0.0008, math.Abs(air)*1.12+math.Abs(gate))
	mix := f.cfg.Outdoor // when reversed
	if air >= 0 {
		mix = (air*1.12*f.collar + gate*f.room) / math.Max(1e-9, air*1.12+gate)
	}
	burning := 0.0
	if f.elapsed < f.chimneyFireUntil {
		burning = 45e3
	}
	mcp := up * cpGas
	area := math.Pi * f.cfg.ChimneyDiameter * f.cfg.ChimneyHeight
	k := hInside * area / mcp
	mean := f.liner + (mix-f.liner)*(1-math.Exp(-k))/k
	toLiner := mcp * (mean - f.liner) * k
	if burning > 0 {
		mean += 0.5 * burning / mcp * math.Exp(-0.5*k) // the deposit burns all along the column
	}
	mean = math.Min(mean, 1100)
	f.liner += (toLiner + 0.35*burning - uaOutside*(f.liner-f.cfg.Outdoor)) / heatLiner * dt

	// Wind pulls and gusts; a downdraft pushes, with a ramp of seconds.
	f.gust += -f.gust/gustLag*dt + f.rng.NormFloat64()*math.Sqrt(2*dt/gustLag)
	v := f.wind * (1 + gustiness*f.gust)
	target := 0.0
	if f.elapsed < f.downUntil {
		target = f.downdraft
	}
	f.downNow += (target - f.downNow) / 4 * dt

	rho := f.cfg.Ambient / (287.05 * (mean + 273.15))
	bore := math.Pi / 4 * f.cfg.ChimneyDiameter * f.cfg.ChimneyDiameter
	speed := up / (rho * bore)
	friction := (zeta + darcy*f.cfg.ChimneyHeight/f.cfg.ChimneyDiameter) * rho * speed * speed / 2
	free := f.stack(mean) + windCp*roomAir*v*math.Abs(v)/2 - f.downNow - math.Copysign(friction, f.draft)
	roar := rumble * math.Sqrt(math.Min(4, f.flow.heat/20e3)+20*burning/45e3)
	f.draft += (free-f.draft)/draftLag*dt + roar*f.rng.NormFloat64()*math.Sqrt(dt/draftLag)

	f.flow.air, f.flow.gate = air, gate
}
