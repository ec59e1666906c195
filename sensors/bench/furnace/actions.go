package furnace

import "time"

// Stuck says whether the regulator's gate moves.
type Stuck uint8

// The ways of a gate.
const (
	Free Stuck = iota
	StuckShut
	StuckOpen
)

// reloadDoor is how long the door stands open for a reload.
const reloadDoor = 45 * time.Second

// Light lays mass kg of wood (moisture on wet basis, 0 to 1; fineness 1 for cordwood,
// 2.5 for near kindling) with dry kindling under it, and lights it. The door is shut.
func (f *Furnace) Light(mass, moisture, fineness float64) {
	f.addWood(mass, moisture, fineness, 0.02)
	f.kindling += 1.6
	f.door, f.doorUntil = false, 0
}

// Reload opens the door for 45 s and lays mass kg of wood on what burns or glows. The
// larger the bed of coals, the more of the wood catches fire at once.
func (f *Furnace) Reload(mass, moisture, fineness float64) {
	catch := 0.02
	if f.firebox > 150 {
		catch = min(0.5, 0.03+0.12*f.char)
	}
	f.addWood(mass, moisture, fineness, catch)
	// Cold wood takes heat from the brick: 2 kJ/(kg K), a third of it at once.
	cold := mass * 2000 / 3
	drop := cold / (heatFirebox + cold) * max(0, f.firebox-f.room)
	f.firebox -= drop
	f.ledger.wood += heatFirebox * drop
	f.door, f.doorUntil = true, f.elapsed+reloadDoor
}

// addWood mixes wood into what lies there, by mass.
func (f *Furnace) addWood(mass, moisture, fineness, kindled float64) {
	if mass <= 0 {
		return
	}
	dry := mass * (1 - moisture)
	added := dry * volatileShare
	old := f.volatiles
	f.kindled = (f.kindled*old + kindled*added) / (old + added)
	f.fineness = (f.fineness*old + fineness*added) / (old + added)
	f.volatiles += added
	f.water += mass * moisture
}

// OpenDoor leaves the loading door open until CloseDoor.
func (f *Furnace) OpenDoor() { f.door, f.doorUntil = true, 0 }

// CloseDoor shuts the loading door.
func (f *Furnace) CloseDoor() { f.door, f.doorUntil = false, 0 }

// SetDemand sets how far the combustion air is open, 0 to 1.
func (f *Furnace) SetDemand(d float64) { f.demand = min(1, max(0, d)) }

// SetRegulator sets the draft at which the gate begins to open, Pa, and whether it moves.
func (f *Furnace) SetRegulator(setPoint float64, s Stuck) { f.setPoint, f.stuck = setPoint, s }

// SetWind sets the mean wind at the terminal, m/s; gusts come with it.
func (f *Furnace) SetWind(speed float64) { f.wind = speed }

// Downdraft pushes pressure Pa down the chimney for d.
func (f *Furnace) Downdraft(pressure float64, d time.Duration) {
	f.downdraft, f.downUntil = pressure, f.elapsed+d
}

// Blower gives or cuts the fan's power.
func (f *Furnace) Blower(on bool) { f.power = on }

// ChimneyFire lights the deposit in the chimney; it burns for d.
func (f *Furnace) ChimneyFire(d time.Duration) { f.chimneyFireUntil = f.elapsed + d }

// SetPoint returns the draft at which the regulator begins to open, Pa.
func (f *Furnace) SetPoint() float64 { return f.setPoint }
