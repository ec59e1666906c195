package signal

import (
	"math"
	"slices"
	"testing"

	"fluewright/analysis/internal/noise"

	"pgregory.net/rapid"
)

const noFloor = 1e-12 // as good as the textbook's

// filter runs the classical symmetric window over v; the ends stay as they are.
func filter(t *testing.T, v []float64, half int, floor float64) []float64 {
	t.Helper()
	h := must(NewHampel(half, half, 3, floor))
	out := slices.Clone(v)
	for i, x := range v {
		judged, ready, verdict := h.Update(x)
		if ready != (i >= half) || verdict != Accepted {
			t.Fatalf("sample %d: ready %v, %v", i, ready, verdict)
		}
		if ready {
			out[i-half] = judged.Value
			if judged.Raw != v[i-half] || judged.Full != (i >= 2*half) {
				t.Fatalf("sample %d: %+v is not that of %d", i, judged, i-half)
			}
		}
	}
	return out
}

// The definition of the R package pracma (hampel: window 2k + 1, ends untouched,
// |x − median| > 3·1.4826·MAD), computed by it; both can be worked by hand.
func TestHampelPublishedDefinition(t *testing.T) {
	cases := []struct {
		name    string
		v       []float64
		half    int
		changed map[int]float64
	}{
		{"one spike in a ramp", []float64{1, 2, 3, 4, 100, 6, 7, 8, 9, 10}, 2, map[int]float64{4: 6}},
		{"two spikes", []float64{200, 201, 203, 202, 204, 850, 205, 207, 206, -40, 208, 209, 210}, 3, map[int]float64{5: 205, 9: 207}},
	}
	for _, c := range cases {
		want := slices.Clone(c.v)
		for i, x := range c.changed {
			want[i] = x
		}
		if got := filter(t, c.v, c.half, noFloor); !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", c.name, got, want)
		}
	}
	// 1/Φ⁻¹(0.75), the factor of a normal distribution.
	near(t, "factor", madToSigma, 1/(math.Sqrt2*math.Erfinv(0.5)), 1e-15)
}

// The trap of the zero MAD: on a quiet signal of a 0.25 °C sensor one step of the last
// digit is infinitely many deviations away. The floor of one step keeps it.
func TestHampelZeroDeviation(t *testing.T) {
	v := []float64{5, 5, 5, 5, 5.25, 5, 5, 5, 5}
	if got := filter(t, v, 4, noFloor); got[4] != 5 {
		t.Errorf("without a floor: got %v, the textbook flags the step", got)
	}
	if got := filter(t, v, 4, 0.25); !slices.Equal(got, v) {
		t.Errorf("with a floor: got %v, want %v", got, v)
	}
	// A real spike on the same quiet signal is still one.
	v[4] = 80
	if got := filter(t, v, 4, 0.25); got[4] != 5 {
		t.Errorf("a spike passes: %v", got)
	}
}

func TestHampelJudgesTheNewestAtOnce(t *testing.T) {
	h := must(NewHampel(6, 0, 3, 0.25))
	for i := range 7 {
		if j, ready, _ := h.Update(float64(i % 2)); !ready || j.Outlier || j.Full != (i == 6) {
			t.Fatalf("sample %d: %+v, %v", i, j, ready)
		}
	}
	if j, _, _ := h.Update(300); !j.Outlier || j.Raw != 300 || j.Value > 1 {
		t.Errorf("a spike: %+v", j)
	}
	// A true step passes once it fills half of the window.
	for i := range 4 {
		j, _, _ := h.Update(300)
		if j.Outlier != (i < 2) {
			t.Errorf("%d samples behind a step: %+v", i+2, j)
		}
	}
}

func TestHampelProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before, after := rapid.IntRange(1, 6).Draw(t, "before"), rapid.IntRange(1, 6).Draw(t, "after")
		h := must(NewHampel(before, after, 3, 0.25))
		scaled := must(NewHampel(before, after, 3, 0.5))
		for i := range 60 {
			v := float64(rapid.IntRange(-40, 40).Draw(t, "v")) / 4
			if i%9 == 8 {
				v *= 50
			}
			j, ready, _ := h.Update(v)
			if _, _, verdict := h.Update(math.Inf(1)); verdict != NotFinite {
				t.Fatalf("an infinite sample is %v", verdict)
			}
			s, _, _ := scaled.Update(2*v + 7)
			if !ready {
				continue
			}
			if s.Outlier != j.Outlier || s.Value != 2*j.Value+7 {
				t.Fatalf("twice the values and 7: %+v from %+v", s, j)
			}
			if j.Value < slices.Min(h.ring[:h.filled]) || j.Value > slices.Max(h.ring[:h.filled]) {
				t.Fatalf("%+v lies outside its window %v", j, h.ring)
			}
			if j.Outlier == (j.Value == j.Raw) || (j.Outlier && math.Abs(j.Raw-j.Value) <= 0.75) {
				t.Fatalf("%+v", j)
			}
		}
	})
	for _, bad := range []struct {
		before, after    int
		threshold, floor float64
	}{{1, 0, 3, 1}, {-1, 5, 3, 1}, {3, 3, math.NaN(), 1}, {3, 3, -1, 1}, {3, 3, 3, 0}, {3, 3, 3, math.Inf(1)}} {
		if second(NewHampel(bad.before, bad.after, bad.threshold, bad.floor)) == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
}

func BenchmarkHampel11(b *testing.B) {
	h := must(NewHampel(10, 0, 3, 0.25))
	var n noise.Source
	b.ReportAllocs()
	for b.Loop() {
		h.Update(n.Next())
	}
}
