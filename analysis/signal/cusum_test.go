package signal

import (
	"errors"
	"math"
	"strings"
	"testing"

	"fluewright/analysis/internal/noise"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// runLengths solves the integral equation of the one-sided average run length,
//
//	L(s) = 1 + L(0)·Φ(k − s − µ) + ∫₀ʰ L(x)·φ(x + k − s − µ) dx
//
// on Gauss–Legendre nodes (Nyström), and returns it for the head starts 0 and s. That the
// equation is that of the CUSUM in this package is checked on the way: from every node,
// the sample that the kernel stands for leads where the kernel says. Every chart has
// a row without shift.
func runLengths(t *testing.T, k, h, shift, head float64) (zero, headStart float64) {
	t.Helper()
	const nodes = 60
	from, weight := make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(from, weight, 0, h)
	from = append(from, 0) // its run length stands for all sums that fall to zero
	a := mat.NewDense(nodes+1, nodes+1, nil)
	one := mat.NewVecDense(nodes+1, nil)
	kernel := func(s float64) []float64 {
		row := make([]float64, nodes+1)
		for j := range nodes {
			row[j] = weight[j] * distuv.UnitNormal.Prob(from[j]+k-s-shift)
		}
		row[nodes] = distuv.UnitNormal.CDF(k - s - shift)
		return row
	}
	for i, s := range from {
		for j, x := range kernel(s) {
			a.Set(i, j, -x)
		}
		a.Set(i, i, a.At(i, i)+1)
		one.SetVec(i, 1)
		if shift == 0 { // the same steps serve every shift
			checkSteps(t, k, h, s, from[:nodes])
		}
	}
	var l mat.VecDense
	var ill mat.Condition
	if err := l.SolveVec(a, one); errors.As(err, &ill) && shift < -1 {
		return math.Inf(1), math.Inf(1) // a shift away from this side: longer than 1e16
	} else if err != nil {
		t.Fatal(err)
	}
	headStart = 1
	for j, x := range kernel(head) {
		headStart += x * l.AtVec(j)
	}
	return l.AtVec(nodes), headStart
}

// checkSteps drives CUSUM from sum s onto every node, to zero and over the limit, on
// both sides.
func checkSteps(t *testing.T, k, h, s float64, nodes []float64) {
	t.Helper()
	const hair = 1e-9
	for _, to := range append([]float64{-1, h - hair, h + hair}, nodes...) {
		z := to + k - s
		for _, side := range []Shift{ShiftUp, ShiftDown} {
			c := must(NewCUSUM(k, h, s))
			shift, _ := c.Update(float64(side) * z)
			up, down := c.Sums()
			if side == ShiftDown {
				up, down = down, up
			}
			found := to > h
			if found != (shift == side) || !close(up, max(0, to), 1e-12*(1+h)) || down < 0 {
				t.Fatalf("k %g, h %g, from %g by %g: to %g (%v), want %g", k, h, s, z, up, shift, to)
			}
		}
	}
}

// twoSided joins the run lengths of both sides (Lucas & Crosier 1982; without a head
// start it is 1/L = 1/L⁺ + 1/L⁻).
func twoSided(t *testing.T, k, h, shift, head float64) float64 {
	up0, up := runLengths(t, k, h, shift, head)
	down0, down := runLengths(t, k, h, -shift, head)
	if math.IsInf(down0, 1) {
		return up
	}
	return (up*down0 + up0*down - up0*down0) / (up0 + down0)
}

// cusum_arl.csv: the published tables to one unit of their last digit and the integral
// equation by scipy 1.10.1.
func TestCUSUMRunLengths(t *testing.T) {
	rows := table(t, "cusum_arl.csv")
	published := 0
	for _, row := range rows {
		k, h, head, shift := number(t, row[2]), number(t, row[3]), number(t, row[4]), number(t, row[5])
		var got float64
		if row[1] == "two" {
			got = twoSided(t, k, h, shift, head)
		} else {
			_, got = runLengths(t, k, h, shift, head)
		}
		what := strings.Join(row[:6], " ")
		near(t, what+" computed", got, number(t, row[7]), 1e-6+1e-8*got)
		if row[6] == "" {
			continue
		}
		published++
		_, digits, _ := strings.Cut(row[6], ".")
		tolerance := math.Pow(10, -float64(len(digits)))
		switch {
		case strings.HasPrefix(row[0], "SAS/QC"):
			tolerance = 1.1e-6 // printed to ten digits, which are not all right
		case strings.HasPrefix(row[0], "Vance") && shift == -0.25:
			tolerance = 0.07 // printed 2071.51, all integral equations give 2071.57
		case strings.HasPrefix(row[0], "Waldmann") && shift == 0:
			tolerance = 0.2 // printed 117.4; Brook & Evans print 117.59 for the same chart
		}
		near(t, what+" published", got, number(t, row[6]), tolerance)
	}
	if len(rows) != 86 || published != 38 {
		t.Errorf("%d rows, %d of them published; want 86 and 38", len(rows), published)
	}
}

// The values that the doc comment names: Lucas & Crosier 1982, k = 0.5, h = 4 (printed
// 168, 26.6, 8.38, 3.34 for shifts of 0, 0.5, 1, 2), and h = 5 (computed with scipy
// 1.10.1).
func TestCUSUMCheckValues(t *testing.T) {
	for shift, want := range map[float64]float64{0: 167.6838, 0.5: 26.6302, 1: 8.3831, 2: 3.3428} {
		near(t, "h 4", twoSided(t, 0.5, 4, shift, 0), want, 1e-3)
	}
	for shift, want := range map[float64]float64{0: 465.444, 1: 10.376} {
		near(t, "h 5", twoSided(t, 0.5, 5, shift, 0), want, 1e-3)
	}
}

// Runs of the chart itself on random numbers, against the published average.
func TestCUSUMRuns(t *testing.T) {
	const rounds = 1000
	for _, c := range []struct{ shift, head, want float64 }{
		{0, 0, 168}, {1, 0, 8.38}, {2, 0, 3.34}, {1, 2, 5.29}, // Lucas & Crosier 1982
	} {
		chart := must(NewCUSUM(0.5, 4, c.head))
		var n noise.Source
		samples, squares := 0.0, 0.0
		for range rounds {
			length := 0.0
			for found := NoShift; found == NoShift; length++ {
				// Box & Muller: the sum of twelve has no tails.
				z := math.Sqrt(-2*math.Log(1-n.Next())) * math.Cos(2*math.Pi*n.Next())
				found, _ = chart.Update(z + c.shift)
			}
			chart.Reset()
			samples += length
			squares += length * length
		}
		mean := samples / rounds
		deviation := math.Sqrt((squares/rounds - mean*mean) / rounds)
		near(t, "mean run", mean, c.want, 4*deviation+0.01)
	}
}

func TestCUSUMProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := must(NewCUSUM(0.5, 5, 0)), must(NewCUSUM(0.5, 5, 0))
		for _, z := range rapid.SliceOf(rapid.Float64Range(-4, 4)).Draw(t, "z") {
			up, _ := a.Update(z)
			down, _ := b.Update(-z)
			upSum, downSum := a.Sums()
			mirrorDown, mirrorUp := b.Sums()
			if up != -down || upSum != mirrorUp || downSum != mirrorDown {
				t.Fatalf("not symmetric: %v %g %g, %v %g %g", up, upSum, downSum, down, mirrorUp, mirrorDown)
			}
			if upSum < 0 || downSum < 0 || (up == ShiftUp) != (upSum > 5 && upSum >= downSum) {
				t.Fatalf("sums %g, %g: %v", upSum, downSum, up)
			}
			if shift, verdict := a.Update(math.NaN()); shift != NoShift || verdict != NotFinite {
				t.Fatalf("NaN is %v, %v", shift, verdict)
			}
			if again, _ := a.Sums(); again != upSum {
				t.Fatal("a rejected sample has moved the sum")
			}
		}
	})
	for _, c := range [][3]float64{{-1, 5, 0}, {0.5, 0, 0}, {0.5, 5, 6}, {0.5, math.NaN(), 0}, {0.5, 5, -1}} {
		if second(NewCUSUM(c[0], c[1], c[2])) == nil {
			t.Errorf("k %g, h %g, head start %g: no error", c[0], c[1], c[2])
		}
	}
}
