package nights

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Whatever is laid on, opened and pulled: the furnace stays finite and within what a
// furnace can be.
func TestFireStaysBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw{rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))}
		n := &Night{}
		n.w.d, n.w.room = d, 18
		n.w.fire = newFire(newAppliance(d, d.over(5e3, 60e3), d.chance(0.5)), 18)
		f := &n.w.fire
		for range rapid.IntRange(1, 12).Draw(t, "stretches") {
			if rapid.Bool().Draw(t, "load") {
				n.lay(fuel{
					mass:     rapid.Float64Range(0.1, 2).Draw(t, "part") * f.ap.load,
					diameter: rapid.Float64Range(0.01, 0.25).Draw(t, "diameter"),
					moisture: rapid.Float64Range(0, 0.55).Draw(t, "moisture"),
					density:  rapid.Float64Range(300, 800).Draw(t, "density"), char: 0.22,
				}, 1)
				n.kindle(1)
			}
			f.demand = rapid.Float64Range(0, 1).Draw(t, "demand")
			f.door = rapid.Float64Range(0, 1).Draw(t, "door")
			f.power = rapid.Bool().Draw(t, "power")
			draft := rapid.Float64Range(-60, 150).Draw(t, "draft")
			through, _ := root(draft)
			for range 300 {
				f.step(f.conductance(1.2)*through, 18, 18, 2)
			}
			for what, v := range map[string]float64{
				"gas": f.gas, "brick": f.brick, "chamber": f.chamberGas, "collar": f.collar, "coals": f.glow,
				"plenum": f.plenum, "exchanger": f.hot,
			} {
				if math.IsNaN(v) || v < -70 || v > 1950 {
					t.Fatalf("%s is at %v °C", what, v)
				}
			}
			if f.char < 0 || math.IsNaN(f.heat) || f.heat < 0 {
				t.Fatalf("char %v kg, heat %v W", f.char, f.heat)
			}
		}
	})
}

// More draft, more fire; a wetter or thicker load, less of it.
func TestFireAnswersAirAndFuel(t *testing.T) {
	peak := func(draft float64, wood fuel) float64 {
		d := draw{rand.New(rand.NewPCG(7, 7))}
		ap := newAppliance(d, 20e3, true)
		site := Site{Set: draft, DraftHigh: draft}
		for c := range site.Lag {
			site.Lag[c] = 20
		}
		n := newStand(ap, &site)
		f := &n.w.fire
		f.char, f.glow, f.brick, f.deep, f.chamber, f.chamberGas = 0.06*ap.load, 850, 450, 350, 350, 350
		wood.mass = ap.load
		n.lay(wood, 1)
		return burnOut(n, 2*3600, &site)[Flue]
	}
	good := fuel{diameter: 0.1, moisture: 0.17, density: 520, char: 0.22}
	fine, dry, wet := good, good, good
	fine.diameter, dry.moisture, wet.moisture = 0.03, 0.05, 0.35
	base := peak(12, good)
	for what, hotter := range map[string]float64{"draft": peak(30, good), "fine wood": peak(12, fine), "dry wood": peak(12, dry)} {
		if hotter < base+15 {
			t.Errorf("more %s: %.0f °C, %.0f without", what, hotter, base)
		}
	}
	if w := peak(12, wet); w > base-15 {
		t.Errorf("wet wood: %.0f °C, dry %.0f", w, base)
	}
}
