// Package scene drives the furnace model (scratch).
package scene

import (
	"math"
	"math/rand/v2"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/sensors/bench/furnace"
)

type Row struct {
	At time.Duration
	V  frame.Values
	Phase burn.Phase
	S  furnace.State
}

type Act struct {
	At time.Duration
	Do func(*furnace.Furnace)
}

// Run simulates and calls f for each row.
func Run(cfg furnace.Config, seed uint64, period, dur time.Duration, acts []Act, f func(Row)) {
	fu := furnace.New(cfg, seed)
	rng := rand.New(rand.NewPCG(seed, 99))
	var tr burn.Tracker
	i := 0
	for at := time.Duration(0); at < dur; at += period {
		for i < len(acts) && acts[i].At <= at {
			acts[i].Do(fu)
			i++
		}
		fu.Advance(period)
		s := fu.State()
		var v frame.Values
		q := func(x float64) float64 { return math.Round((x+0.3*rng.NormFloat64())*4) / 4 }
		v[frame.Firebox] = q(s.Probe.Firebox)
		v[frame.Chamber] = q(s.Probe.Chamber)
		v[frame.Flue] = q(s.Probe.Flue)
		v[frame.Plenum] = q(s.Probe.Plenum)
		v[frame.Return] = q(s.Probe.Return)
		v[frame.Room] = q(s.Probe.Room)
		v[frame.Outdoor] = q(s.Probe.Outdoor)
		v[frame.Draft] = s.Draft + 0.05*rng.NormFloat64()
		v[frame.Ambient] = s.Ambient
		tr.Step(at, burn.Inputs{Flue: v[frame.Flue], Chamber: v[frame.Chamber], Room: v[frame.Room], Draft: v[frame.Draft]})
		f(Row{at, v, tr.Phase, s})
	}
}
