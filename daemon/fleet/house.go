package main

import (
	"math"
	"math/rand/v2"
	"time"

	"fluewright/analysis/frame"
	"fluewright/sensors/bench/furnace"
)

// house is a furnace with its chimney, an owner who feeds it, and its weather.
type house struct {
	*furnace.Furnace
	region  *region
	rng     *rand.Rand
	burns   bool          // the owner heats with it today
	visit   time.Duration // when the owner comes next, by the furnace's time
	passed  time.Duration // of the furnace's time
	set     float64       // the regulator's mark, Pa
	mishaps mishaps
}

// newHouse draws a house; at is when it begins.
func newHouse(r *region, rng *rand.Rand, at time.Time) *house {
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	h := &house{region: r, rng: rng, burns: rng.Float64() < 0.8, set: between(11.5, 13.5)}
	h.mishaps.broken = frame.Count
	h.Furnace = furnace.New(furnace.Config{
		Outdoor: r.temperature(at), Room: between(16, 21), Ambient: r.pressure(),
		ChimneyHeight: between(6, 9), ChimneyDiameter: between(0.145, 0.16),
		SetPoint: h.set, Demand: between(0.6, 0.8),
	}, rng.Uint64())
	h.visit = time.Duration(between(0, float64(90*time.Minute)))
	return h
}

// pass lets d of the house's time pass, which ends at a time of the wall clock.
func (h *house) pass(d time.Duration, at time.Time) {
	h.SetWind(h.region.blows(at))
	if h.burns && h.passed >= h.visit {
		h.tend()
	}
	h.Advance(d)
	h.passed += d
}

// tend is what the owner does at a visit.
func (h *house) tend() {
	soon := func(low, high float64) {
		h.visit = h.passed + time.Duration((low+(high-low)*h.rng.Float64())*float64(time.Minute))
	}
	moisture := 0.14 + 0.06*h.rng.Float64()
	switch s := h.State(); {
	case s.Wood < 1.5 && s.Char > 0.3 && h.rng.Float64() < 0.8:
		h.Reload(4+2*h.rng.Float64(), moisture, 1)
		soon(45, 90)
	case s.Wood < 0.3 && s.Char < 0.1:
		h.Light(8+3*h.rng.Float64(), moisture, 1)
		soon(60, 100)
	case s.Char < 0.5:
		soon(30, 180) // it burns out
	default:
		soon(10, 20)
	}
}

// onFire reports whether there is a fire to go wrong.
func (h *house) onFire() bool { s := h.State(); return s.Heat > 5000 && !s.Door }

// fitted are the channels that have a sensor in every house.
var fitted = [frame.Count]bool{frame.Flue: true, frame.Chamber: true, frame.Plenum: true, frame.Room: true, frame.Draft: true, frame.Ambient: true}

// The noise of the readings and their last digits are those of the bench's chips.
var digits = [frame.Count]struct{ noise, step float64 }{
	frame.Flue: {0.05, 1.0 / 128}, frame.Chamber: {0.05, 1.0 / 128}, frame.Plenum: {0.05, 1.0 / 128},
	frame.Room: {0.02, 0.01}, frame.Draft: {0.08, 1.0 / 240}, frame.Ambient: {0.5, 1},
}

// read takes the readings of a frame.
func (h *house) read(f *frame.Frame) {
	s := h.State()
	for _, r := range [...]struct {
		channel frame.Channel
		value   float64
	}{
		{frame.Flue, s.Probe.Flue},
		{frame.Chamber, s.Probe.Chamber},
		{frame.Plenum, s.Probe.Plenum},
		{frame.Room, s.Probe.Room},
		{frame.Draft, s.Draft},
		{frame.Ambient, s.Ambient},
	} {
		c, v := r.channel, r.value
		if h.mishaps.broken == c {
			f.Inputs[c] = frame.Input{Quality: frame.Faulty, Fault: "open-circuit"}
			continue
		}
		d := digits[c]
		f.Inputs[c] = frame.Input{Value: math.Round((v+d.noise*h.rng.NormFloat64())/d.step) * d.step, Quality: frame.Good}
	}
}
