package signal

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// first_order_lag_checks.csv: the exact responses 1 − exp(−t/τ) and τ(1 − exp(−t/τ)),
// in one step and in many.
func TestLagResponses(t *testing.T) {
	rows := table(t, "first_order_lag_checks.csv")
	for _, row := range rows {
		tau, at := number(t, row[0]), number(t, row[1])
		for _, steps := range []int{1, 7} {
			step, ramp := must(NewLag(tau)), must(NewLag(tau))
			step.Update(0, 1)
			step.y = 0 // settled on 0 when the input has just jumped to 1
			ramp.Update(0, 0)
			var jumped, ramped float64
			for i := 1; i <= steps; i++ {
				now := at * float64(i) / float64(steps)
				jumped, _ = step.Update(now, 1)
				ramped, _ = ramp.Update(now, now)
			}
			what := fmt.Sprintf("τ %g, t %g, %d steps", tau, at, steps)
			near(t, what+", step", jumped, number(t, row[2]), 0.6e-9)
			near(t, what+", ramp", at-ramped, number(t, row[3]), 0.6e-9)
		}
	}
	if len(rows) != 45 {
		t.Errorf("%d rows, want 45", len(rows))
	}
}

// The parts of a step against package math, whose last bit is free.
func TestRise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := math.Pow(10, rapid.Float64Range(-12, 4).Draw(t, "log x"))
		a, b := rise(x)
		if want := -math.Expm1(-x); !close(a, want, 4e-16*want) {
			t.Fatalf("1 − exp(−%g) is %.17g, want %.17g", x, a, want)
		}
		want := 1 + math.Expm1(-x)/x
		if x < 1e-3 {
			want = x / 2 * (1 - x/3*(1-x/4*(1-x/5)))
		}
		if !close(b, want, 1e-15+1e-12*want) {
			t.Fatalf("b(%g) is %.17g, want %.17g", x, b, want)
		}
	})
}

func TestLagProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tau := rapid.Float64Range(0.1, 200).Draw(t, "tau")
		l := must(NewLag(tau))
		low, high := math.Inf(1), math.Inf(-1)
		at := 0.0
		for range 40 {
			at += rapid.Float64Range(1e-3, 300).Draw(t, "dt")
			v := rapid.Float64Range(-1000, 1000).Draw(t, "v")
			low, high = min(low, v), max(high, v)
			y, verdict := l.Update(at, v)
			if verdict != Accepted || !(y >= low-1e-9 && y <= high+1e-9) {
				t.Fatalf("%g (%v) outside the inputs' %g to %g", y, verdict, low, high)
			}
			if again, verdict := l.Update(at+1, math.NaN()); again != y || verdict != NotFinite {
				t.Fatalf("NaN: %g, %v", again, verdict)
			}
		}
	})
}

// What the compensator gets from a lagged ramp is the ramp, but for what the remaining
// time constant leaves; from a lagged step it makes a step that much faster.
func TestCompensatorUndoesTheLag(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tau := rapid.Float64Range(5, 120).Draw(t, "tau")
		gain := rapid.Float64Range(1, 10).Draw(t, "gain")
		slope := rapid.Float64Range(-10, 10).Draw(t, "slope")
		sheath, c := must(NewLag(tau)), must(NewCompensator(tau, gain))
		if !close(c.Remaining(), tau/gain, 1e-12*tau) {
			t.Fatalf("remaining %g s", c.Remaining())
		}
		at, got := 0.0, 0.0
		for at < 15*tau {
			y, _ := sheath.Update(at, 20+slope*at)
			got, _ = c.Update(at, y)
			at += rapid.Float64Range(0.1, 1).Draw(t, "dt") * tau / 20
		}
		at = c.fast.t
		// The compensator takes what lies between two samples for a straight line: exact
		// for a settled ramp.
		if want := 20 + slope*(at-tau/gain); !close(got, want, 1e-9+1e-3*math.Abs(slope)*tau) {
			t.Fatalf("%g s on a ramp of %g: %g, want %g", at, slope, got, want)
		}
	})
	const tau, gain, dt = 60.0, 5.0, 0.25
	sheath, c := must(NewLag(tau)), must(NewCompensator(tau, gain))
	sheath.Update(0, 1)
	sheath.y = 0
	c.Update(0, 0)
	for i := 1; i <= 400; i++ {
		at := dt * float64(i)
		y, _ := sheath.Update(at, 1)
		got, _ := c.Update(at, y)
		near(t, fmt.Sprintf("%g s behind a step", at), got, 1-math.Exp(-at*gain/tau), 1e-4)
	}
}

func TestLagNoiseGains(t *testing.T) {
	for _, step := range []float64{0.5, 10, 200} {
		for _, maxGain := range []float64{1, 3, 20} {
			const tau = 60
			c, l := must(NewCompensator(tau, maxGain)), must(NewLag(tau))
			gotC, gotL := impulse(c.Update, step), impulse(l.Update, step)
			near(t, "compensator", c.NoiseGain(step), gotC, 1e-9*gotC)
			near(t, "lag", l.NoiseGain(step), gotL, 1e-9*gotL)
			if c.NoiseGain(step) > maxGain || l.NoiseGain(step) > 1 {
				t.Errorf("step %g s: gains %g and %g above %g and 1", step, c.NoiseGain(step), l.NoiseGain(step), maxGain)
			}
			// No frequency comes out larger than stated either.
			for _, omega := range []float64{0.05, 0.5, 2, math.Pi} {
				c := must(NewCompensator(tau, maxGain))
				largest := 0.0
				settled := int(12*tau/step) + 20
				for i := range settled + 150 {
					y, _ := c.Update(float64(i)*step, math.Cos(omega*float64(i)))
					if i > settled {
						largest = max(largest, math.Abs(y))
					}
				}
				if largest > maxGain*(1+1e-4) {
					t.Errorf("step %g s, ω %g: %g, more than %g", step, omega, largest, maxGain)
				}
			}
		}
	}
}

// impulse returns the root of the sum of squares of the response to a single 1.
func impulse(update func(t, v float64) (float64, Verdict), step float64) float64 {
	sum := 0.0
	update(0, 0)
	for i := 1; i < 5000; i++ {
		v := 0.0
		if i == 1 {
			v = 1
		}
		y, _ := update(float64(i)*step, v)
		sum += y * y
	}
	return math.Sqrt(sum)
}

func TestLagRefuses(t *testing.T) {
	for _, tau := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if second(NewLag(tau)) == nil || second(NewCompensator(tau, 2)) == nil {
			t.Errorf("a time constant of %g: no error", tau)
		}
	}
	for _, gain := range []float64{0, 0.5, math.NaN(), math.Inf(1)} {
		if second(NewCompensator(60, gain)) == nil {
			t.Errorf("a noise gain of %g: no error", gain)
		}
	}
}

func BenchmarkCompensator(b *testing.B) {
	c := must(NewCompensator(60, 5))
	at := 0.0
	b.ReportAllocs()
	for b.Loop() {
		at++
		c.Update(at, 20)
	}
}
