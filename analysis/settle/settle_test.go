package settle_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/analysis/settle"
)

// feed gives a minute and more of readings, one a second.
func feed(w *settle.Watch, from time.Duration, n int, f func(second int) float64) time.Duration {
	for i := range n {
		from += time.Second
		w.Add(from, f(i))
	}
	return from
}

func TestWhatIsSteady(t *testing.T) {
	noise := func(seed uint64, deviation float64) func() float64 {
		r := rand.New(rand.NewPCG(seed, 0))
		return func() float64 { return deviation * r.NormFloat64() }
	}
	gust := func(seed uint64, deviation, lag float64) func() float64 {
		white, x := noise(seed, deviation*math.Sqrt(2/lag)), 0.0
		return func() float64 { x += -x/lag + white(); return x }
	}
	calm, windy, still := noise(1, 0.2), gust(2, 0.6, 5), noise(3, 0)
	for _, c := range []struct {
		name    string
		seconds int
		f       func(i int) float64
		want    bool
	}{
		{"calm", 240, func(int) float64 { return 12 + calm() }, true},
		{"exact", 200, func(int) float64 { return 12 + still() }, true},
		{"calm, but too short", 120, func(int) float64 { return 12 + calm() }, false},
		{"gusts, a while", 480, func(int) float64 { return 12 + windy() }, true},
		{"climbs", 480, func(i int) float64 { return 8 + 0.01*float64(i) + calm() }, false},
		{"climbs, then rests", 900, func(i int) float64 { return 8 + 0.01*math.Min(400, float64(i)) + calm() }, true},
		{"swings slowly", 480, func(i int) float64 { return 12 + 2*math.Sin(float64(i)/60) }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			var w settle.Watch
			feed(&w, 0, c.seconds, c.f)
			m, ok := w.Steady(1)
			if ok != c.want {
				t.Errorf("steady: %v, want %v: %+v", ok, c.want, m)
			}
			if ok && math.Abs(m.Value-12) > 0.3 {
				t.Errorf("the mean is %.2f", m.Value)
			}
		})
	}
}

// The stated error is that of the mean: gusts last for seconds, which a naive error would
// not see.
func TestTheErrorIsHonest(t *testing.T) {
	inside, n := 0, 300
	for seed := range n {
		r := rand.New(rand.NewPCG(uint64(seed), 9))
		var w settle.Watch
		x := 0.0
		feed(&w, 0, 480, func(int) float64 { x += -x/6 + 0.3*r.NormFloat64(); return 10 + x })
		m, _ := w.Steady(2)
		if math.Abs(m.Value-10) <= 1.645*m.Error {
			inside++
		}
	}
	if share := float64(inside) / float64(n); share < 0.82 || share > 0.97 {
		t.Errorf("90 %% intervals hold %.0f %%", 100*share)
	}
}

func TestGapsAndRubbish(t *testing.T) {
	var w settle.Watch
	end := feed(&w, 0, 200, func(int) float64 { return 5 })
	w.Add(end+10*time.Minute, 5)
	if w.For() != 0 {
		t.Errorf("%v are left over a gap", w.For())
	}
	end = feed(&w, end+10*time.Minute, 300, func(i int) float64 {
		if i%3 == 0 {
			return math.NaN()
		}
		return 5
	})
	if m, ok := w.Steady(1); !ok || m.Value != 5 {
		t.Errorf("with a third of the readings missing: %+v, %v", m, ok)
	}
	w.Add(end-time.Hour, 5)
	if w.For() != 0 {
		t.Error("time ran backwards and nothing was forgotten")
	}
}

func TestAnyReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var w settle.Watch
		at := time.Duration(0)
		for range rapid.IntRange(0, 600).Draw(t, "n") {
			at += time.Duration(rapid.Int64Range(-int64(time.Second), int64(20*time.Second)).Draw(t, "step"))
			w.Add(at, rapid.OneOf(rapid.Float64Range(-1e6, 1e6), rapid.Just(math.NaN()), rapid.Just(math.Inf(1))).Draw(t, "value"))
		}
		m, _ := w.Steady(1)
		for _, v := range []float64{m.Value, m.Error, m.Spread, m.Trend} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v", m)
			}
		}
	})
}

func TestAddingDoesNotAllocate(t *testing.T) {
	var w settle.Watch
	at := feed(&w, 0, 1000, func(int) float64 { return 1 })
	if n := testing.AllocsPerRun(500, func() { at += time.Second; w.Add(at, 1) }); n != 0 {
		t.Errorf("%g allocations a reading", n)
	}
}
