package nights

import "math"

// fuel is what the owner lays on.
type fuel struct {
	mass     float64 // kg with its water
	diameter float64 // m
	moisture float64 // wet basis
	density  float64 // kg/m³ dry
	char     float64 // share of the dry mass that becomes charcoal
}

// dryShell is how deep seasoned wood has dried at its surface, m.
func (f fuel) dryShell() float64 { return 0.003 * clamp((0.26-f.moisture)/0.1, 0.1, 1) }

// lay puts wood on; the lowest of three rows lies on the coals.
func (n *Night) lay(f fuel, loose float64, rows ...float64) {
	if len(rows) == 0 {
		rows = []float64{0.36, 0.34, 0.3}
	}
	dry := f.mass * (1 - f.moisture)
	length := clamp(0.4*math.Cbrt(n.w.fire.ap.rated/25e3), 0.22, 0.75)
	for row, part := range rows {
		radius := f.diameter / 2 * n.w.d.between(0.85, 1.15)
		volume := dry * part / f.density
		n.w.fire.logs = append(n.w.fire.logs, logs{
			n:      volume / (math.Pi * radius * radius * length),
			radius: radius, length: length, density: f.density,
			water: f.moisture / (1 - f.moisture), charShare: f.char, row: row, loose: loose, alight: 0.1,
			front: radius, wet: math.Max(0, radius-f.dryShell()), temp: math.Min(n.w.room, 20),
		})
	}
	laid := 0.0
	for i := range n.w.fire.logs {
		laid += n.w.fire.logs[i].dry()
	}
	n.w.fire.laid = laid
}

// light lays kindling and wood in a cold firebox and lights it.
func (n *Night) light(t float64, f fuel) {
	n.at(t-120, func(n *Night) {
		if n.w.draft < 2 && !n.careless {
			n.w.flue.warm(n.w.d.between(45, 80)) // paper burnt in the cleanout
		}
	})
	n.at(t, func(n *Night) {
		n.Truth.Loads = append(n.Truth.Loads, Load{At: n.now(), Mass: f.mass, Moisture: f.moisture, Diameter: f.diameter, Cold: true, Coals: n.w.fire.char})
		splits, rest := f, f
		splits.mass, splits.diameter = 0.2*f.mass, math.Min(f.diameter, 0.05)
		rest.mass = f.mass - splits.mass
		n.lay(splits, 1.8, 0.6, 0.4)
		n.lay(rest, 1.6)
		n.kindle(1)
		n.tend(4)
		n.w.fire.demandBefore = n.w.fire.demand
		n.w.fire.demand = 1
		n.at(n.w.t+n.w.d.between(900, 1500), func(n *Night) { n.w.fire.demand = n.w.fire.demandBefore })
	})
}

// kindle lays part of the usual kindling on what lies there and lights it.
func (n *Night) kindle(part float64) {
	f := &n.w.fire
	laid := f.laid
	n.lay(fuel{
		mass: part * 1.3 * math.Pow(f.ap.rated/25e3, 0.75), diameter: 0.03, moisture: 0.1, density: 430, char: 0.2,
	}, 1.8, 1)
	f.logs[len(f.logs)-1].tinder = true
	f.laid = laid
	f.lit = n.w.d.between(300, 480)
}

// tend looks after a load every twenty minutes and lights it again if it has not taken.
func (n *Night) tend(times int) {
	laid, loads := n.w.fire.laid, len(n.Truth.Loads)
	n.at(n.w.t+1200, func(n *Night) {
		f := &n.w.fire
		if times == 0 || loads != len(n.Truth.Loads) || n.wood() < 0.25*laid || n.w.draft < 1 {
			return
		}
		if f.heat < 0.1*f.ap.rated && f.glow < 500 {
			n.openDoor(n.w.t, n.w.d.between(20, 60))
			n.kindle(0.5)
		}
		n.tend(times - 1)
	})
}

// feed opens the door, lays wood on and shuts it, as soon after t as ready says.
func (n *Night) feed(t float64, f fuel, ready func(*Night) bool) {
	rested := func(n *Night) bool { return n.w.t > n.fed+900 && (ready == nil || ready(n)) }
	n.once(t, rested, func(n *Night) {
		n.fed = n.w.t
		open := n.w.d.between(20, 60)
		n.openDoor(n.w.t, open)
		n.at(n.w.t+open*0.6, func(n *Night) {
			n.Truth.Loads = append(n.Truth.Loads, Load{At: n.now(), Mass: f.mass, Moisture: f.moisture, Diameter: f.diameter, Coals: n.w.fire.char})
			n.lay(f, 1)
			if n.w.fire.glow < 500 {
				n.kindle(0.6) // the coals are too weak for logs alone
			}
			n.tend(4)
		})
	})
}

// openDoor opens the loading door for a time.
func (n *Night) openDoor(t, open float64) {
	n.at(t, func(n *Night) {
		from := n.now()
		n.w.fire.door = n.w.d.between(0.5, 1)
		n.at(n.w.t+open, func(n *Night) {
			n.w.fire.door = 0
			n.Truth.Doors = append(n.Truth.Doors, Span{from, n.now()})
		})
	})
}

// wood is the dry wood that is not yet charcoal, kg.
func (n *Night) wood() float64 {
	sum := 0.0
	for i := range n.w.fire.logs {
		sum += n.w.fire.logs[i].dry()
	}
	return sum
}

// burntDown says that little but coals is left, or that the fire has died; the owner comes
// to feed.
func burntDown(n *Night) bool {
	return n.w.fire.glow < 250 || n.wood() < 0.06*n.w.fire.ap.load && n.w.fire.char < 0.05*n.w.fire.ap.load
}

// bigBed says that the wood has just become a thick bed of coals.
func bigBed(n *Night) bool { return n.wood() < 0.1*n.w.fire.ap.load }
