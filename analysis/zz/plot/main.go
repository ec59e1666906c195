package main

import (
	"fmt"
	"math"
	"time"

	"fluewright/analysis/chimneyfire"
	"fluewright/analysis/frame"
	"fluewright/analysis/zz/scene"
	"fluewright/sensors/bench/furnace"
)

func main() {
	acts := []scene.Act{
		{time.Minute, func(f *furnace.Furnace) { f.Light(12, 0.18, 1) }},
		{90 * time.Minute, func(f *furnace.Furnace) { f.ChimneyFire(10 * time.Minute) }},
		{150 * time.Minute, func(f *furnace.Furnace) { f.Reload(10, 0.16, 1.3) }},
		{200 * time.Minute, func(f *furnace.Furnace) { f.SetRegulator(12.5, furnace.StuckShut) }},
		{260 * time.Minute, func(f *furnace.Furnace) { f.SetRegulator(12.5, furnace.Free); f.SetWind(8) }},
		{300 * time.Minute, func(f *furnace.Furnace) { f.Downdraft(30, 4*time.Minute) }},
	}
	var j, k chimneyfire.Judge
	scene.Run(furnace.Config{}, 3, time.Second, 360*time.Minute, acts, func(r scene.Row) {
		in := chimneyfire.Inputs{At: r.At, Values: r.V, Phase: r.Phase}
		a := j.Step(in)
		in.Values[frame.Chamber] = math.NaN()
		in.Values[frame.Firebox] = math.NaN()
		b := k.Step(in)
		m := r.At % (200 * time.Minute)
		step := 2 * time.Minute
		if r.At > 89*time.Minute && r.At < 93*time.Minute || r.At > 199*time.Minute && r.At < 203*time.Minute || r.At > 299*time.Minute && r.At < 307*time.Minute|| r.At > 259*time.Minute && r.At < 262*time.Minute {
			step = 10 * time.Second
		}
		if m%step == 0 || (a.Verdict == 3 && r.At%(10*time.Second) == 0) {
			e := a.Evidence
			fmt.Printf("%8v %-10v fb%4.0f ch%4.0f fl%4.0f pl%3.0f fan%v d%5.1f expl%5.1f rate%5.2f | %v/%v %5.2f R%4.1f L%4.1f S%4.1f N%4.1f U%4.1f A%4.1f\n", r.At, r.Phase, r.V[0], r.V[1], r.V[2], r.V[3], r.S.Fan, r.V[7], a.Explained, a.Rate, a.Verdict, b.Verdict, e.Score(), e.Rise, e.Level, e.Surge, e.Roar, e.Upstream, e.Air)
		}
	})
}
