package signal

import (
	"fmt"
	"math"
	"testing"

	"fluewright/analysis/internal/noise"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// gains returns K of the last update: the covariance's first column over R.
func gains(k *Kalman) [3]float64 {
	e, _ := k.Estimate()
	var g [3]float64
	for i := range g {
		g[i] = e.Covariance[i][0] / k.config.Measurement
	}
	return g
}

// settle runs a filter of tracking index lambda = σa·dt²/σz until its gains are steady.
func settle(states int, lambda, dt float64) *Kalman {
	// The index is that of the piecewise model: per step, the slope gains σa·dt in the
	// constant-velocity filter, the curvature σa in the constant-acceleration one.
	sigma := lambda / (dt * dt)
	process := sigma * sigma / dt
	if states == 2 {
		process = sigma * sigma * dt
	}
	k := must(NewKalman(KalmanConfig{States: states, Process: process, Measurement: 1, Prior: [3]float64{1e4, 1e2, 1}, MaxGap: 10}))
	for i := range 5000 {
		k.Update(float64(i)*dt, 0)
	}
	return k
}

// kalman_steady_state.csv: scipy 1.10.1, solve_discrete_are, printed to 1e-10; the same
// for every step dt.
func TestKalmanSteadyGains(t *testing.T) {
	rows := table(t, "kalman_steady_state.csv")
	for _, row := range rows {
		states := 2
		if row[0] == "CA alpha-beta-gamma" {
			states = 3
		}
		for _, dt := range []float64{1, 0.25, 4} {
			g := gains(settle(states, number(t, row[1]), dt))
			what := fmt.Sprintf("%s, index %s, dt %g", row[0], row[1], dt)
			near(t, what+", K0", g[0], number(t, row[2]), 1e-9)
			near(t, what+", K1", g[1]*dt, number(t, row[3]), 1e-9)
			if states == 3 {
				near(t, what+", K2", g[2]*dt*dt, number(t, row[4]), 1e-9)
			}
		}
	}
	if len(rows) != 12 {
		t.Errorf("%d rows, want 12", len(rows))
	}
}

// Closed forms of the steady gains. Constant velocity: r = (4 + L − √(8L + L²))/4,
// α = 1 − r², β = 2(2 − α) − 4√(1 − α), so that L = 0.1 gives exactly 0.36 and 0.08,
// L = 1 exactly 0.75 and 0.5. Constant acceleration: the same β(α), K2·dt² = β²/(2α),
// L² = (K2·dt²)²/(1 − α). Derived; they equal scipy 1.10.1's solution.
func TestKalmanClosedForms(t *testing.T) {
	for lambda, want := range map[float64][2]float64{0.1: {0.36, 0.08}, 1: {0.75, 0.5}} {
		r := (4 + lambda - math.Sqrt(8*lambda+lambda*lambda)) / 4
		near(t, "closed form", 1-r*r, want[0], 1e-12)
		g := gains(settle(2, lambda, 1))
		near(t, fmt.Sprint("alpha at ", lambda), g[0], want[0], 1e-12)
		near(t, fmt.Sprint("beta at ", lambda), g[1], want[1], 1e-12)
	}
	for _, lambda := range []float64{0.02, 0.3, 1, 3} {
		g := gains(settle(3, lambda, 1))
		near(t, "beta", g[1], 2*(2-g[0])-4*math.Sqrt(1-g[0]), 1e-10)
		near(t, "gamma", g[2], g[1]*g[1]/(2*g[0]), 1e-10)
		near(t, "index", g[2]*g[2]/(1-g[0]), lambda*lambda, 1e-9*lambda*lambda+1e-10)
	}
	g := gains(settle(3, 1, 1))
	near(t, "K0", g[0], 0.8643179409, 1e-9)
	near(t, "K1", g[1], 0.7979622904, 1e-9)
	near(t, "K2", g[2], 0.3683504570, 1e-9)
}

// The local level of the Nile's flow (Durbin & Koopman: variances 15099 and 1469.1;
// computed with numpy 1.24.2): every year, and where the filter settles.
func TestKalmanNile(t *testing.T) {
	k := must(NewKalman(KalmanConfig{States: 1, Process: 1469.1, Measurement: 15099, Prior: [3]float64{1e7}, MaxGap: 10}))
	rows := table(t, "kalman_nile_local_level.csv")
	for i, row := range rows {
		year, flow := number(t, row[0]), number(t, row[1])
		if i > 0 {
			e, ok := k.Forecast(year)
			if !ok {
				t.Fatal("no forecast")
			}
			near(t, row[0]+" forecast error", flow-e.Level, number(t, row[4]), 1e-7)
			near(t, row[0]+" its variance", e.Covariance[0][0]+15099, number(t, row[5]), 1e-7)
		}
		if verdict := k.Update(year, flow); verdict != Accepted {
			t.Fatal(verdict)
		}
		e, _ := k.Estimate()
		near(t, row[0]+" level", e.Level, number(t, row[2]), 1e-7)
		near(t, row[0]+" variance", e.Covariance[0][0], number(t, row[3]), 1e-7)
		near(t, row[0]+" gain", gains(k)[0], number(t, row[6]), 1e-8)
		near(t, row[0]+" surprise", k.Surprise(), number(t, row[4])/math.Sqrt(number(t, row[5])), 1e-8)
	}
	e, _ := k.Estimate()
	near(t, "last level", e.Level, 798.37029, 1e-4)
	near(t, "last variance", e.Covariance[0][0], 4032.15794, 1e-4)
	e, _ = k.Forecast(1971)
	near(t, "steady forecast variance", e.Covariance[0][0], 5501.25794, 1e-4)
	if len(rows) != 100 {
		t.Errorf("%d years, want 100", len(rows))
	}
}

// On a noiseless parabola, sampled at any times, the estimate is the parabola; and the
// covariance stays symmetric and positive.
func TestKalmanFollowsAParabola(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := must(NewKalman(KalmanConfig{States: 3, Process: 1e-6, Measurement: 1e-2, Prior: [3]float64{1e8, 1e4, 1e2}, MaxGap: 30}))
		level, slope, curvature := rapid.Float64Range(-500, 500).Draw(t, "level"), rapid.Float64Range(-5, 5).Draw(t, "slope"), rapid.Float64Range(-0.05, 0.05).Draw(t, "curvature")
		at := 0.0
		for range 80 {
			at += rapid.Float64Range(0.05, 5).Draw(t, "dt")
			k.Update(at, level+slope*at+curvature*at*at/2)
		}
		e, ok := k.Estimate()
		if !ok || !close(e.Level, level+slope*at+curvature*at*at/2, 0.01) || !close(e.Slope, slope+curvature*at, 0.01) || !close(e.Curvature, curvature, 0.01) {
			t.Fatalf("at %g s: %+v; want slope %g, curvature %g", at, e, slope+curvature*at, curvature)
		}
		f, ok := k.Forecast(at + 10)
		if !ok || !close(f.Level, e.Level+10*e.Slope+50*e.Curvature, 1e-6) || !(f.Covariance[0][0] > e.Covariance[0][0]) {
			t.Fatalf("forecast %+v from %+v", f, e)
		}
		for _, c := range [][3][3]float64{e.Covariance, f.Covariance} {
			var chol mat.Cholesky
			if !chol.Factorize(mat.NewSymDense(3, append(append(c[0][:], c[1][:]...), c[2][:]...))) {
				t.Fatalf("covariance %v is not positive", c)
			}
			if c[0][1] != c[1][0] || c[0][2] != c[2][0] || c[1][2] != c[2][1] {
				t.Fatalf("covariance %v is not symmetric", c)
			}
		}
	})
}

// The stated covariance against the scatter of the estimates: of states that move as
// the model says, the normalised error squared has the mean 3.
func TestKalmanCovarianceIsHonest(t *testing.T) {
	const rounds, steps = 400, 60
	var n noise.Source
	c := KalmanConfig{States: 3, Process: 1e-4, Measurement: 4, Prior: [3]float64{1e2, 1, 1e-2}, MaxGap: 30}
	total := 0.0
	for range rounds {
		k := must(NewKalman(c))
		x := [3]float64{10 * n.Normal(), n.Normal(), 0.1 * n.Normal()}
		at := 0.0
		k.Update(at, x[0]+2*n.Normal())
		for range steps {
			dt := 0.2 + 2*n.Next()
			w := math.Sqrt(c.Process*dt) * n.Normal()
			x[0] += x[1]*dt + x[2]*dt*dt/2 + w*dt*dt/2
			x[1] += x[2]*dt + w*dt
			x[2] += w
			at += dt
			k.Update(at, x[0]+2*n.Normal())
		}
		e, _ := k.Estimate()
		d := mat.NewVecDense(3, []float64{x[0] - e.Level, x[1] - e.Slope, x[2] - e.Curvature})
		p := e.Covariance
		var weighed mat.VecDense
		if err := weighed.SolveVec(mat.NewDense(3, 3, append(append(p[0][:], p[1][:]...), p[2][:]...)), d); err != nil {
			t.Fatal(err)
		}
		total += mat.Dot(d, &weighed)
	}
	near(t, "mean normalised error squared", total/rounds, 3, 4*math.Sqrt(6.0/rounds))
}

func TestKalmanBeginsAnewBehindAGap(t *testing.T) {
	c := KalmanConfig{States: 3, Process: 1e-4, Measurement: 0.1, Prior: [3]float64{1e6, 100, 1}, MaxGap: 10}
	k, fresh := must(NewKalman(c)), must(NewKalman(c))
	for i := range 50 {
		k.Update(float64(i), float64(i*i))
	}
	k.Update(59.5, 3)
	fresh.Update(59.5, 3)
	got, _ := k.Estimate()
	want, _ := fresh.Estimate()
	if got != want {
		t.Errorf("behind a gap: %+v, want the beginning %+v", got, want)
	}
}

func TestKalmanRejects(t *testing.T) {
	k := must(NewKalman(KalmanConfig{States: 2, Process: 1, Measurement: 1, Prior: [3]float64{1e6, 1}, MaxGap: 10}))
	if _, ok := k.Estimate(); ok {
		t.Error("an estimate before the first sample")
	}
	if _, ok := k.Forecast(1); ok {
		t.Error("a forecast before the first sample")
	}
	k.Update(1, 20)
	before := *k
	for _, c := range []struct {
		t, v float64
		want Verdict
	}{
		{2, math.NaN(), NotFinite},
		{math.Inf(1), 20, NotFinite},
		{2, -1e10, TooLarge},
		{1e13, 20, TooLarge},
		{1, 20, NotLater},
		{0, 20, NotLater},
	} {
		if got := k.Update(c.t, c.v); got != c.want || *k != before {
			t.Errorf("sample %g at %g s: %v, want %v and no change", c.v, c.t, got, c.want)
		}
	}
	if _, ok := k.Forecast(0); ok {
		t.Error("a forecast of the past")
	}
	if _, ok := k.Forecast(math.NaN()); ok {
		t.Error("a forecast for no time")
	}
	good := before.config
	for name, change := range map[string]func(*KalmanConfig){
		"no states":      func(c *KalmanConfig) { c.States = 0 },
		"four states":    func(c *KalmanConfig) { c.States = 4 },
		"no process":     func(c *KalmanConfig) { c.Process = 0 },
		"no measurement": func(c *KalmanConfig) { c.Measurement = math.NaN() },
		"no prior":       func(c *KalmanConfig) { c.Prior[1] = 0 },
		"endless gap":    func(c *KalmanConfig) { c.MaxGap = math.Inf(1) },
	} {
		c := good
		change(&c)
		if second(NewKalman(c)) == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func BenchmarkKalman(b *testing.B) {
	k := must(NewKalman(KalmanConfig{States: 3, Process: 1e-6, Measurement: 0.1, Prior: [3]float64{1e6, 100, 1}, MaxGap: 30}))
	at := 0.0
	b.ReportAllocs()
	for b.Loop() {
		at++
		k.Update(at, at)
	}
}
