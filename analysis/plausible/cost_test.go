package plausible_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/analysis/plausible"
)

// full is a site with every channel, in a burn.
func full() *house {
	h := newHouse()
	for c, v := range map[frame.Channel]float64{
		frame.Firebox: 700, frame.Chamber: 600, frame.Plenum: 55, frame.Return: 19, frame.Outdoor: -5, frame.Ambient: 98000,
	} {
		h.set(c, v)
	}
	return h
}

func TestStepDoesNotAllocate(t *testing.T) {
	h := full()
	h.run(30 * time.Minute)
	if got := testing.AllocsPerRun(200, func() { h.run(time.Second) }); got != 0 {
		t.Errorf("%v allocations a step", got)
	}
}

func BenchmarkStep(b *testing.B) {
	h := full()
	h.run(30 * time.Minute)
	b.ReportAllocs()
	for b.Loop() {
		h.run(500 * time.Millisecond)
	}
}

// FuzzStep: any frames in any order of time leave no panic, no code that is not listed and
// none on a channel without a reading.
func FuzzStep(f *testing.F) {
	f.Add([]byte{10, 1, 20, 30, 10, 2, 20, 31, 255, 7, 0, 0})
	f.Add([]byte("a hose that is off, a probe that is out, and a clock that runs backwards"))
	listed := map[string]bool{"": true}
	for _, c := range plausible.Codes() {
		listed[c] = true
	}
	values := [...]float64{
		math.NaN(), math.Inf(1), math.Inf(-1), -1e300, 1e300, -40, -12, -0.3, 0, 0.25, 5, 12, 18, 20, 25, 60, 150, 250, 400, 600, 900, 98000,
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var r plausible.Rules
		in := plausible.Inputs{SitePressure: math.NaN()}
		for i := range in.Values {
			in.Values[i] = math.NaN()
		}
		for i := 0; i+3 < len(data); i += 4 {
			in.At += time.Duration(int8(data[i])) * time.Second
			in.Phase = burn.Phase(data[i+1] % 7)
			c := frame.Channel(data[i+2]) % frame.Count
			in.Values[c] = values[int(data[i+3])%len(values)]
			// The same again and again, so that what takes minutes is reached.
			for range 1 + int(data[i+1])/8 {
				in.At += time.Second
				for c, code := range r.Step(in) {
					if !listed[code] || code != "" && math.IsNaN(in.Values[c]) {
						t.Fatalf("%v: %q at %v", frame.Channel(c), code, in.Values[c])
					}
				}
			}
		}
	})
}
