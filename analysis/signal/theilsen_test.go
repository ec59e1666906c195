package signal

import (
	"math"
	"slices"
	"testing"

	"fluewright/analysis/internal/noise"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func fit(t []float64, v []float64, z float64) (Line, bool) {
	return TheilSen(t, v, z, make([]float64, TheilSenScratch(len(t))))
}

// Sen (1968), the example of his paper, quoted in the tests of scipy.stats and
// recomputed with scipy 1.10.1: slope 4, intercept 4, 93 % interval 3.71 to 4.38;
// Siegel's repeated median 3.998161765.
func TestTheilSenPublishedExample(t *testing.T) {
	x := []float64{1, 2, 3, 4, 10, 12, 18}
	y := []float64{9, 15, 19, 20, 45, 55, 78}
	line, ok := fit(x, y, distuv.UnitNormal.Quantile(1-0.07/2))
	if !ok || line.Samples != 7 {
		t.Fatalf("no line through seven samples: %+v", line)
	}
	near(t, "slope", line.Slope, 4, 1e-9)
	near(t, "intercept", line.At(0), 4, 1e-9)
	near(t, "low", line.Low, 3.714285714, 1e-9)
	near(t, "high", line.High, 4.375, 1e-9)
	slope, ok := RepeatedMedian(x, y, make([]float64, 28))
	if !ok {
		t.Fatal("no repeated median")
	}
	near(t, "repeated median", slope, 3.998161765, 1e-9)
}

// Three gross errors among twenty samples: y = 3 + 0.5·t with +50, −40 and +80. Least
// squares gives 0.7030 (computed with scipy 1.10.1).
func TestTheilSenIgnoresOutliers(t *testing.T) {
	var x, y []float64
	for i := range 20 {
		x, y = append(x, float64(i)), append(y, 3+0.5*float64(i))
	}
	y[3] += 50
	y[9] -= 40
	y[15] += 80
	line, ok := fit(x, y, 1.96)
	if !ok {
		t.Fatal("no line")
	}
	near(t, "slope", line.Slope, 0.5, 1e-12)
	if !(line.Low <= 0.5 && 0.5 <= line.High) {
		t.Errorf("interval %g to %g leaves the slope out", line.Low, line.High)
	}
}

func TestTheilSenLeavesUnusableSamplesOut(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	line, ok := fit([]float64{0, 1, nan, 2, 3, 4, 5}, []float64{1, 3, 0, nan, 7, -inf, 1e300}, 1.96)
	want := Line{Slope: 2, Low: 2, High: 2, Time: 1, Level: 3, Samples: 3}
	if !ok || line != want {
		t.Errorf("got %+v, want %+v", line, want)
	}
	cases := map[string][2][]float64{
		"nothing":           {{}, {}},
		"one sample":        {{1}, {2}},
		"one time":          {{1, 1, 1}, {2, 3, 4}},
		"one usable sample": {{1, 2}, {nan, 3}},
		"nothing usable":    {{inf, 2}, {1, nan}},
	}
	for name, c := range cases {
		if line, ok := fit(c[0], c[1], 1.96); ok || line.Slope != 0 {
			t.Errorf("%s: got the line %+v", name, line)
		}
		if slope, ok := RepeatedMedian(c[0], c[1], make([]float64, 4*len(c[0]))); ok || slope != 0 {
			t.Errorf("%s: got the slope %g", name, slope)
		}
	}
}

// Kendall's variance less the ties' shares, which quantised values are full of: the
// interval is scipy.stats.theilslopes' with its formula, worked by hand for
// 6 samples with ties of 3 and 2: 18·σ² = 6·5·17 − 3·2·11 − 2·1·9 = 426.
func TestTheilSenCorrectsForTies(t *testing.T) {
	near(t, "18σ²", kendall(6)-tied([]float64{2, 1, 2, 5, 1, 2}), 426, 0)
	near(t, "no ties", kendall(6)-tied([]float64{6, 5, 4, 3, 2, 1}), 510, 0)
}

func TestTheilSenProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(7, 40).Draw(t, "n")
		slope := rapid.Float64Range(-100, 100).Draw(t, "slope")
		level := rapid.Float64Range(-1000, 1000).Draw(t, "level")
		x, y := make([]float64, n), make([]float64, n)
		at := 0.0
		for i := range x {
			at += rapid.Float64Range(0.01, 10).Draw(t, "dt")
			x[i], y[i] = at, level+slope*at
		}
		// A quarter of the samples may be anything, unusable ones among them.
		for range n / 4 {
			y[rapid.IntRange(0, n-1).Draw(t, "which")] = rapid.Float64().Draw(t, "error")
		}
		scale := math.Abs(level) + math.Abs(slope)*at + 1
		line, ok := fit(x, y, 1.96)
		if !ok || !close(line.Slope, slope, 1e-9*scale) {
			t.Fatalf("slope %g, want %g", line.Slope, slope)
		}
		if !(line.Low <= line.Slope && line.Slope <= line.High) {
			t.Fatalf("%+v: slope outside its interval", line)
		}
		repeated, ok := RepeatedMedian(x, y, make([]float64, 4*n))
		if !ok || !close(repeated, slope, 1e-9*scale) {
			t.Fatalf("repeated median %g, want %g", repeated, slope)
		}
		slices.Reverse(x)
		slices.Reverse(y)
		if again, _ := fit(x, y, 1.96); again != line {
			t.Fatalf("the order of the samples matters: %+v, %+v", again, line)
		}
	})
}

func TestSelection(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-5, 5), rapid.Map(rapid.IntRange(0, 3), func(i int) float64 { return float64(i) })), 1, 60).Draw(t, "x")
		sorted := slices.Clone(x)
		slices.Sort(sorted)
		k := rapid.IntRange(0, len(x)-1).Draw(t, "k")
		if got := Nth(slices.Clone(x), k); got != sorted[k] {
			t.Fatalf("the %d-th of %v is %g, not %g", k, sorted, sorted[k], got)
		}
		want := sorted[len(x)/2]
		if len(x)%2 == 0 {
			want = (sorted[len(x)/2-1] + want) / 2
		}
		if got := median(slices.Clone(x)); got != want {
			t.Fatalf("the median of %v is %g, not %g", sorted, want, got)
		}
	})
}

func TestWindowKeepsTheLatest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		capacity, span := rapid.IntRange(1, 8).Draw(t, "capacity"), rapid.Float64Range(1, 20).Draw(t, "span")
		w := must(NewWindow(capacity, span))
		var times []float64
		at := 0.0
		for range rapid.IntRange(0, 50).Draw(t, "samples") {
			at += rapid.Float64Range(-0.5, 5).Draw(t, "dt")
			verdict := w.Add(at, 2*at)
			if late := len(times) > 0 && at-times[len(times)-1] < minStep; late != (verdict == NotLater) {
				t.Fatalf("sample at %g behind %v: %v", at, times, verdict)
			}
			if verdict == Accepted {
				times = append(times, at)
			} else {
				at = times[len(times)-1]
			}
			if w.Add(at+1, math.NaN()) != NotFinite {
				t.Fatal("NaN was taken")
			}
			want := slices.DeleteFunc(slices.Clone(times), func(x float64) bool { return at-x > span })
			want = want[max(0, len(want)-capacity):]
			got, values := w.Samples()
			if !slices.Equal(got, want) || len(values) != w.Len() || values[len(values)-1] != 2*at {
				t.Fatalf("kept %v, %v; want the times %v", got, values, want)
			}
		}
		w.Clear()
		if w.Len() != 0 {
			t.Fatal("not empty after Clear")
		}
	})
}

func TestWindowBounds(t *testing.T) {
	w := must(NewWindow(5, 10))
	for _, at := range []float64{0, 5, 10} {
		w.Add(at, 1)
	}
	if w.Len() != 3 {
		t.Errorf("%d samples: the one just as old as the span stays", w.Len())
	}
	for _, bad := range []struct {
		capacity int
		span     float64
	}{{0, 10}, {-1, 10}, {5, 0}, {5, math.NaN()}, {5, math.Inf(1)}} {
		if second(NewWindow(bad.capacity, bad.span)) == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
}

func BenchmarkRepeatedMedian60(b *testing.B) {
	t, v := make([]float64, 60), make([]float64, 60)
	var n noise.Source
	for i := range t {
		t[i], v[i] = float64(i), n.Normal()
	}
	scratch := make([]float64, 240)
	b.ReportAllocs()
	for b.Loop() {
		RepeatedMedian(t, v, scratch)
	}
}

func BenchmarkTheilSen60(b *testing.B) {
	w := must(NewWindow(60, 100))
	var n noise.Source
	scratch := make([]float64, TheilSenScratch(60))
	at := 0.0
	b.ReportAllocs()
	for b.Loop() {
		at++
		w.Add(at, math.Round(4*(at/10+n.Normal()))/4)
		t, v := w.Samples()
		TheilSen(t, v, 1.96, scratch)
	}
}
