package signal

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"fluewright/analysis/internal/noise"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// savgol_coeffs.csv: scipy 1.10.1, printed to 12 digits.
func TestSavGolWeightsTable(t *testing.T) {
	rows := table(t, "savgol_coeffs.csv")
	for _, row := range rows {
		n := int(number(t, row[0]))
		at := float64(n-1) / 2
		if strings.HasPrefix(row[1], "last point") {
			at = float64(n - 1)
		}
		w := make([]float64, n)
		if err := SavGolWeights(w, int(number(t, row[2])), int(number(t, row[3])), at); err != nil {
			t.Fatal(err)
		}
		for i, cell := range strings.Fields(row[4]) {
			near(t, fmt.Sprint(row[:4], " weight ", i), w[i], number(t, cell), 1e-12)
		}
	}
	if len(rows) != 22 {
		t.Errorf("%d rows, want 22", len(rows))
	}
}

// Savitzky & Golay (1964), tables I and III: (−3, 12, 17, 12, −3)/35 and
// (−2, −1, 0, 1, 2)/10.
func TestSavGolPublishedWeights(t *testing.T) {
	w := make([]float64, 5)
	for deriv, want := range [][]float64{{-3, 12, 17, 12, -3, 35}, {-2, -1, 0, 1, 2, 10}} {
		if err := SavGolWeights(w, 2, deriv, 2); err != nil {
			t.Fatal(err)
		}
		for i := range w {
			near(t, fmt.Sprintf("derivative %d, weight %d", deriv, i), w[i], want[i]/want[5], 1e-15)
		}
	}
}

// The example in the documentation of scipy's savgol_filter: window 5, order 2, the
// ends taken from the fit to the first and last five samples.
func TestSavGolPublishedExample(t *testing.T) {
	v := []float64{2, 2, 5, 2, 1, 0, 1, 4, 9}
	want := []float64{1.657143, 3.171429, 3.542857, 2.857143, 0.657143, 0.171429, 1, 4, 9}
	w := make([]float64, 5)
	for i := range v {
		first := min(max(i-2, 0), len(v)-5)
		if err := SavGolWeights(w, 2, 0, float64(i-first)); err != nil {
			t.Fatal(err)
		}
		got := 0.0
		for j := range w {
			got += w[j] * v[first+j]
		}
		near(t, fmt.Sprint("sample ", i), got, want[i], 1e-6)
	}
	// The running filter gives the last point's.
	s := must(NewSavGol(5, 2, 1))
	for i, x := range v {
		if level, slope, ok := s.Estimate(); i < 5 && (ok || level != 0 || slope != 0) {
			t.Errorf("an estimate from %d samples", i)
		}
		s.Update(x)
	}
	level, _, ok := s.Estimate()
	if !ok {
		t.Fatal("no estimate")
	}
	near(t, "running", level, want[8], 1e-6)
}

// Any window, order, derivative and place against least squares by gonum's QR.
func TestSavGolIsLeastSquares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 61).Draw(t, "n")
		order := rapid.IntRange(0, min(maxOrder, n-1)).Draw(t, "order")
		deriv := rapid.IntRange(0, order).Draw(t, "deriv")
		at := rapid.Float64Range(0, float64(n-1)).Draw(t, "at")
		w := make([]float64, n)
		if err := SavGolWeights(w, order, deriv, at); err != nil {
			t.Fatal(err)
		}
		// Weights are the rows of A⁺: in the basis u = (i − at)/scale the derivative is
		// deriv!·coefficient/scaleᵈᵉʳⁱᵛ.
		scale := math.Max(1, float64(n)/2)
		a := mat.NewDense(n, order+1, nil)
		for i := range n {
			for k := range order + 1 {
				a.Set(i, k, math.Pow((float64(i)-at)/scale, float64(k)))
			}
		}
		var qr mat.QR
		qr.Factorize(a)
		identity := mat.NewDiagDense(n, nil)
		for i := range n {
			identity.SetDiag(i, 1)
		}
		var pseudo mat.Dense
		if err := qr.SolveTo(&pseudo, false, identity); err != nil {
			t.Fatal(err)
		}
		factor := math.Gamma(float64(deriv+1)) / math.Pow(scale, float64(deriv))
		for i := range w {
			if want := pseudo.At(deriv, i) * factor; !close(w[i], want, 1e-9*factor) {
				t.Fatalf("weight %d: got %.12g, want %.12g", i, w[i], want)
			}
		}
	})
}

func TestSavGolFollowsAParabola(t *testing.T) {
	s := must(NewSavGol(15, 2, 0.5))
	for i := range 40 {
		at := 0.5 * float64(i)
		s.Update(100 - 3*at + 0.25*at*at)
	}
	level, slope, ok := s.Estimate()
	if !ok {
		t.Fatal("no estimate")
	}
	const last = 19.5
	near(t, "level", level, 100-3*last+0.25*last*last, 1e-10)
	near(t, "slope", slope, -3+0.5*last, 1e-10)
}

// The stated noise gain against the scatter of estimates from independent noise.
func TestSavGolNoiseGain(t *testing.T) {
	const samples, rounds = 11, 20000
	s := must(NewSavGol(samples, 2, 2))
	var n noise.Source
	var levels, slopes float64
	for range rounds {
		for range samples {
			s.Update(n.Normal())
		}
		level, slope, _ := s.Estimate()
		levels += level * level
		slopes += slope * slope
	}
	level, slope := s.NoiseGain()
	near(t, "level", math.Sqrt(levels/rounds)/level, 1, 0.02) // 4 σ of 20 000 rounds
	near(t, "slope", math.Sqrt(slopes/rounds)/slope, 1, 0.02)
}

func TestSavGolBeginsAnewBehindAHole(t *testing.T) {
	s := must(NewSavGol(5, 1, 1))
	for i := range 5 {
		s.Update(float64(i))
	}
	if verdict := s.Update(math.Inf(-1)); verdict != NotFinite {
		t.Fatalf("an infinite sample is %v", verdict)
	}
	for i := range 5 {
		if _, _, ok := s.Estimate(); ok {
			t.Fatalf("an estimate across a hole, from %d samples", i)
		}
		s.Update(float64(10 + 2*i))
	}
	if level, slope, ok := s.Estimate(); !ok || !close(level, 18, 1e-12) || !close(slope, 2, 1e-12) {
		t.Errorf("got %g, %g, %v", level, slope, ok)
	}
}

func TestSavGolRefuses(t *testing.T) {
	w := make([]float64, 5)
	for name, err := range map[string]error{
		"order above the samples":  SavGolWeights(w, 5, 0, 2),
		"order too high":           SavGolWeights(make([]float64, 50), maxOrder+1, 0, 2),
		"negative order":           SavGolWeights(w, -1, 0, 2),
		"derivative above order":   SavGolWeights(w, 2, 3, 2),
		"place outside the window": SavGolWeights(w, 2, 0, 4.5),
		"place that is no number":  SavGolWeights(w, 2, 0, math.NaN()),
		"filter without a slope":   second(NewSavGol(5, 0, 1)),
		"filter without a step":    second(NewSavGol(5, 2, 0)),
		"filter without samples":   second(NewSavGol(-1, 2, 1)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func BenchmarkSavGol21(b *testing.B) {
	s := must(NewSavGol(21, 2, 1))
	b.ReportAllocs()
	for b.Loop() {
		s.Update(20)
		s.Estimate()
	}
}
