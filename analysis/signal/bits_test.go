package signal

import (
	"encoding/binary"
	"flag"
	"fmt"
	"hash/fnv"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fluewright/analysis/internal/noise"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// estimators runs every estimator over one signal and calls see with each number that
// comes out, under the estimator's name. It returns how much it rejected.
func estimators(samples func(yield func(t, v float64) bool), see func(name string, numbers ...float64)) (rejected int) {
	window := must(NewWindow(41, 90))
	scratch := make([]float64, TheilSenScratch(41))
	savgol := must(NewSavGol(21, 2, 1))
	var kalmans [3]*Kalman
	for i := range kalmans {
		kalmans[i] = must(NewKalman(KalmanConfig{States: i + 1, Process: 1e-4, Measurement: 0.3, Prior: [3]float64{1e6, 25, 0.1}, MaxGap: 30}))
	}
	cusum := must(NewCUSUM(0.5, 5, 2.5))
	hampel := must(NewHampel(5, 3, 3, 0.25))
	lag, compensator := must(NewLag(17.3)), must(NewCompensator(45.1, 4))
	count := func(v Verdict) {
		if v != Accepted {
			rejected++
		}
	}
	for t, v := range samples {
		count(window.Add(t, v))
		times, values := window.Samples()
		if line, ok := TheilSen(times, values, 1.96, scratch); ok {
			see("theil-sen", line.Slope, line.Low, line.High, line.Level, line.At(times[len(times)-1]))
		}
		if slope, ok := RepeatedMedian(times, values, scratch); ok {
			see("repeated median", slope)
		}
		count(savgol.Update(v))
		if level, slope, ok := savgol.Estimate(); ok {
			see("savitzky-golay", level, slope)
		}
		for i, k := range kalmans {
			count(k.Update(t, v))
			name := fmt.Sprintf("kalman %d", i+1)
			if e, ok := k.Estimate(); ok {
				see(name, e.Level, e.Slope, e.Curvature, k.Surprise())
				see(name, append(append(e.Covariance[0][:], e.Covariance[1][:]...), e.Covariance[2][:]...)...)
			}
			if e, ok := k.Forecast(t + 60); ok {
				see(name, e.Level, e.Covariance[0][0])
			}
		}
		_, verdict := cusum.Update(kalmans[2].Surprise())
		count(verdict)
		_, verdict = cusum.Update(v)
		count(verdict)
		up, down := cusum.Sums()
		see("cusum", up, down)
		judged, _, verdict := hampel.Update(v)
		count(verdict)
		see("hampel", judged.Value, judged.Raw)
		y, verdict := lag.Update(t, v)
		count(verdict)
		see("lag", y)
		y, verdict = compensator.Update(t, v)
		count(verdict)
		see("compensator", y)
	}
	see("noise gain", lag.NoiseGain(0.7), compensator.NoiseGain(0.7))
	level, slope := savgol.NoiseGain()
	see("noise gain", level, slope)
	return rejected
}

// burnLike is a made-up signal with rises, falls, noise, spikes and gaps, whose bits are
// the same everywhere.
func burnLike(yield func(t, v float64) bool) {
	var n noise.Source
	t, v, slope := 0.0, 21.5, 0.0
	for i := range 700 {
		t += 0.5 + n.Next()
		if i%300 == 299 {
			t += 300
		}
		slope += (n.Next() - 0.5) / 8
		slope -= slope / 64
		v += slope
		x := math.Floor(4*(v+n.Normal())) / 4
		if i%97 == 13 {
			x += 400
		}
		if !yield(t, x) {
			return
		}
	}
}

// The same bits on every architecture: run it also under GOARCH=arm GOARM=6 and
// GOARCH=arm64, the second of which has a fused multiply-add.
func TestSameBits(t *testing.T) {
	hashes, last, order := map[string]uint64{}, map[string]float64{}, []string{}
	rejected := estimators(burnLike, func(name string, numbers ...float64) {
		h, seen := hashes[name]
		if !seen {
			order = append(order, name)
		}
		for _, x := range numbers {
			f := fnv.New64a()
			f.Write(binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(nil, h), math.Float64bits(x)))
			h = f.Sum64()
			last[name] = x
		}
		hashes[name] = h
	})
	if rejected != 0 {
		t.Fatalf("%d samples rejected", rejected)
	}
	var got strings.Builder
	for _, name := range order {
		fmt.Fprintf(&got, "%-16s all %016x last %016x %.17g\n", name, hashes[name], math.Float64bits(last[name]), last[name])
	}
	for _, x := range []float64{1e-9, 0.01, 0.3, 0.7, 1, 3.3, 20, 60} {
		a, b := rise(x)
		fmt.Fprintf(&got, "rise %-11g a %016x b %016x\n", x, math.Float64bits(a), math.Float64bits(b))
	}
	golden := filepath.Join("..", "..", "testdata", "signal", "golden_bits.txt")
	if *update {
		if err := os.WriteFile(golden, []byte(got.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got.String()); diff != "" {
		t.Errorf("bits differ (-want +got):\n%s", diff)
	}
}

// Whatever comes in, no number that comes out is NaN or infinite.
func FuzzEstimators(f *testing.F) {
	add := func(numbers ...float64) {
		var b []byte
		for _, x := range numbers {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		f.Add(b)
	}
	nan, inf := math.NaN(), math.Inf(1)
	add(0, 20, 1, nan, 2, inf, 3, -inf, nan, 20, inf, 20, 4, 21)
	add(0, 1e9, 1e-6, -1e9, 2e-6, 1e9, 3e-6, -1e9, 1e12, 1e9)
	add(-1e12, 1e-300, 1e12, math.MaxFloat64, 5, math.SmallestNonzeroFloat64)
	add(1, 0, 1, 0, 0, 0, -1, 0)
	var burn []float64
	for t, v := range burnLike {
		if burn = append(burn, t, v); len(burn) == 80 {
			break
		}
	}
	add(burn...)
	f.Fuzz(func(t *testing.T, b []byte) {
		b = b[:min(len(b), 16*40)]
		samples := func(yield func(t, v float64) bool) {
			for ; len(b) >= 16; b = b[16:] {
				at := math.Float64frombits(binary.LittleEndian.Uint64(b))
				v := math.Float64frombits(binary.LittleEndian.Uint64(b[8:]))
				if !yield(at, v) {
					return
				}
			}
		}
		estimators(samples, func(name string, numbers ...float64) {
			for _, x := range numbers {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Fatalf("%s gives %v", name, numbers)
				}
			}
		})
	})
}

func TestNoAllocation(t *testing.T) {
	window := must(NewWindow(60, 100))
	scratch := make([]float64, TheilSenScratch(60))
	savgol := must(NewSavGol(21, 2, 1))
	kalman := must(NewKalman(KalmanConfig{States: 3, Process: 1e-4, Measurement: 1, Prior: [3]float64{1e6, 25, 0.1}, MaxGap: 30}))
	cusum := must(NewCUSUM(0.5, 5, 0))
	hampel := must(NewHampel(10, 0, 3, 0.25))
	compensator := must(NewCompensator(60, 5))
	var n noise.Source
	at := 0.0
	for name, run := range map[string]func(v float64){
		"theil-sen": func(v float64) {
			window.Add(at, v)
			x, y := window.Samples()
			TheilSen(x, y, 2, scratch)
			RepeatedMedian(x, y, scratch)
		},
		"savitzky-golay": func(v float64) { savgol.Update(v); savgol.Estimate() },
		"kalman":         func(v float64) { kalman.Update(at, v); kalman.Forecast(at + 60) },
		"cusum":          func(v float64) { cusum.Update(v) },
		"hampel":         func(v float64) { hampel.Update(v) },
		"compensator":    func(v float64) { compensator.Update(at, v) },
	} {
		if got := testing.AllocsPerRun(200, func() { at++; run(n.Normal()) }); got != 0 {
			t.Errorf("%s: %g allocations a sample", name, got)
		}
	}
}

func TestVerdictsAndShiftsHaveNames(t *testing.T) {
	names := map[string]bool{}
	for _, v := range []Verdict{Accepted, NotFinite, TooLarge, NotLater} {
		names[v.String()] = true
	}
	for _, s := range []Shift{ShiftDown, NoShift, ShiftUp} {
		names[s.String()] = true
	}
	if len(names) != 7 {
		t.Errorf("not all different: %v", names)
	}
}
