package forecast_test

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/alarm"
	"fluewright/analysis/forecast"

	"pgregory.net/rapid"
)

const limit = 538.0 // °C: what UL 103 lets a chimney bear continuously

// A course is a temperature over minutes.
type course func(min float64) float64

// approach rises from one level to another with a time constant in minutes.
func approach(from, to, tau float64) course {
	return func(m float64) float64 { return to - (to-from)*math.Exp(-m/tau) }
}

// ramp rises by so many K a minute.
func ramp(from, slope float64) course {
	return func(m float64) float64 { return from + slope*m }
}

// after lets one course follow another from the given minute on.
func after(first course, at float64, then course) course {
	return func(m float64) float64 {
		if m < at {
			return first(m)
		}
		return then(m - at)
	}
}

// dip is an open door: the reading falls by depth within a minute and comes back.
func dip(c course, at, depth float64) course {
	return func(m float64) float64 {
		v := c(m)
		switch x := m - at; {
		case x < 0:
			return v
		case x < 1:
			return v - depth*x
		default:
			return v - depth*math.Exp(-(x-1)/1.2)
		}
	}
}

// watch runs a judge over a course and returns when it first held for hold seconds, and
// when the course passed the limit; negative for never.
func watch(t *testing.T, c course, minutes float64, every time.Duration) (said, passed float64, last forecast.Finding) {
	t.Helper()
	j, err := forecast.New(forecast.Settings{Limit: limit, Lag: 30})
	if err != nil {
		t.Fatal(err)
	}
	const hold = 10 * time.Second
	said, passed = -1, -1
	var since time.Duration
	holding := false
	for at := time.Duration(0); at.Minutes() < minutes; at += every {
		v := c(at.Minutes())
		if v > limit && passed < 0 {
			passed = at.Minutes()
		}
		v = math.Round(4*(v+noise(at))) / 4
		last = j.Step(forecast.Inputs{At: at, Value: v, Room: 20})
		switch {
		case last.Verdict != alarm.Present:
			holding = false
		case !holding:
			holding, since = true, at
		case at-since >= hold && said < 0:
			said = at.Minutes()
		}
	}
	return said, passed, last
}

// noise is about 0.7 K, without a generator: the same for every run.
func noise(at time.Duration) float64 {
	x := math.Mod(at.Seconds()*0.618033988749895, 1) - 0.5
	return 2.4 * x
}

func TestARiseThatLimitsItselfIsNoRunaway(t *testing.T) {
	tests := map[string]course{
		"a light-off":                       approach(20, 260, 8),
		"a light-off to three quarters":     approach(20, 410, 9),
		"a quick one":                       approach(20, 350, 3),
		"near the limit, slowly":            approach(300, 500, 15),
		"a steady fire":                     ramp(450, 0),
		"a reload on a steady fire":         dip(approach(250, 330, 6), 5, 90),
		"a poke at a hot fire":              dip(ramp(470, 0), 5, 120),
		"the air is closed in time":         after(ramp(250, 15), 8, approach(370, 400, 3)),
		"it cools":                          ramp(530, -3),
		"a creep that would take two hours": ramp(400, 1),
	}
	for name, c := range tests {
		for _, every := range []time.Duration{200 * time.Millisecond, time.Second, 5 * time.Second} {
			if said, passed, _ := watch(t, c, 30, every); said >= 0 || passed >= 0 {
				t.Errorf("%s, every %v: said at %.1f min, passed at %.1f min", name, every, said, passed)
			}
		}
	}
}

func TestARiseThatPassesTheLimitIsSeenBefore(t *testing.T) {
	tests := map[string]struct {
		course course
		lead   float64 // minutes
	}{
		"a steady rise":              {after(ramp(250, 0), 10, ramp(250, 20)), 2.1},
		"a slow one":                 {after(ramp(350, 0), 10, ramp(350, 8)), 1.8},
		"a quick one":                {after(ramp(200, 0), 10, ramp(200, 50)), 1},
		"one that settles above":     {after(ramp(250, 0), 10, approach(250, 700, 8)), 2},
		"a reload that goes through": {after(dip(ramp(250, 0), 8, 100), 10, ramp(190, 30)), 2},
	}
	for name, tt := range tests {
		for _, every := range []time.Duration{200 * time.Millisecond, time.Second, 5 * time.Second} {
			said, passed, _ := watch(t, tt.course, 60, every)
			if passed < 0 || said < 0 || passed-said < tt.lead {
				t.Errorf("%s, every %v: said at %.1f min, passed at %.1f min", name, every, said, passed)
			}
		}
	}
}

// The expected time comes closer to the truth as the limit does.
func TestTheExpectedTimeComesTrue(t *testing.T) {
	c := after(ramp(250, 0), 10, ramp(250, 20)) // passes 538 °C after 24.4 min
	for _, minutes := range []float64{21, 23, 24} {
		_, _, f := watch(t, c, minutes, time.Second)
		got, want := f.At.Minutes(), 24.4
		if !f.Passes || math.Abs(got-want) > 0.25*(want-minutes)+0.1 {
			t.Errorf("at %g min: passes %v at %.2f min, want %.2f", minutes, f.Passes, got, want)
		}
	}
}

// Sheath: dTm/dt = (T − Tm)/τ, so that behind a ramp the gas is τ·slope ahead.
func TestTheGasIsAheadOfItsSheath(t *testing.T) {
	_, _, f := watch(t, ramp(100, 12), 10, time.Second)
	if ahead := f.Gas - f.Level; math.Abs(ahead-6) > 0.5 {
		t.Errorf("gas is %.2f K ahead, want 6", ahead)
	}
}

func TestASingleWrongSampleIsNothing(t *testing.T) {
	for _, blip := range []float64{-200, 0, 900, 1300} {
		c := func(m float64) float64 {
			if s := math.Round(m * 60); s == 600 || s == 700 {
				return blip
			}
			return 300
		}
		j, err := forecast.New(forecast.Settings{Limit: limit})
		if err != nil {
			t.Fatal(err)
		}
		for at := time.Duration(0); at < 20*time.Minute; at += time.Second {
			if f := j.Step(forecast.Inputs{At: at, Value: c(at.Minutes())}); f.Verdict == alarm.Present {
				t.Fatalf("a sample of %g: %+v", blip, f)
			}
		}
	}
}

// After ten minutes without readings nothing is known, and soon something again.
func TestAGapIsNotBridged(t *testing.T) {
	j, err := forecast.New(forecast.Settings{Limit: limit})
	if err != nil {
		t.Fatal(err)
	}
	at := time.Duration(0)
	var f forecast.Finding
	run := func(d time.Duration, v func(time.Duration) float64) {
		for end := at + d; at < end; at += time.Second {
			f = j.Step(forecast.Inputs{At: at, Value: v(at)})
		}
	}
	run(5*time.Minute, func(at time.Duration) float64 { return 200 + at.Minutes() })
	run(10*time.Minute, func(time.Duration) float64 { return math.NaN() })
	if f.Verdict != alarm.Blind {
		t.Errorf("in the gap: %v", f.Verdict)
	}
	run(10*time.Second, func(time.Duration) float64 { return 400 })
	if f.Known || f.Verdict != alarm.Blind {
		t.Errorf("just behind the gap: %+v", f)
	}
	run(5*time.Minute, func(time.Duration) float64 { return 400 })
	if !f.Known || f.Verdict != alarm.Absent || math.Abs(f.Level-400) > 1 {
		t.Errorf("later: %+v", f)
	}
}

func TestImpossibleSettingsAreRefused(t *testing.T) {
	for _, s := range []forecast.Settings{
		{},
		{Limit: math.NaN()},
		{Limit: math.Inf(1)},
		{Limit: 500, Lag: -1},
		{Limit: 500, Lag: math.NaN()},
		{Limit: 500, Lag: 1e9},
	} {
		if _, err := forecast.New(s); err == nil {
			t.Errorf("%+v was accepted", s)
		}
	}
}

// Whatever a channel does, a forecast is made of numbers and its probability is one.
func TestForecastProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j, err := forecast.New(forecast.Settings{Limit: rapid.Float64Range(100, 1300).Draw(t, "limit"), Lag: rapid.Float64Range(0, 100).Draw(t, "lag")})
		if err != nil {
			t.Fatal(err)
		}
		at := time.Duration(0)
		for range rapid.IntRange(1, 300).Draw(t, "steps") {
			at += time.Duration(rapid.Int64Range(-5e9, 200e9).Draw(t, "dt"))
			check(t, j.Step(forecast.Inputs{
				At: at, Value: rapid.Float64Range(-100, 2500).Draw(t, "value"), Draft: rapid.Float64Range(-50, 50).Draw(t, "draft"), Driven: rapid.Bool().Draw(t, "driven"),
			}))
		}
	})
}

func check(t interface{ Fatalf(string, ...any) }, f forecast.Finding) {
	if !f.Known {
		if f.Verdict != alarm.Blind {
			t.Fatalf("unknown and %v", f.Verdict)
		}
		return
	}
	for _, v := range []float64{f.Level, f.Gas, f.Slope, f.SlopeError, f.Peak, f.PeakError} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%+v", f)
		}
	}
	if !(f.Probability >= 0 && f.Probability <= 1) || math.IsNaN(f.Settles) || f.Peak < f.Level-1e-6 {
		t.Fatalf("%+v", f)
	}
}

func FuzzStep(f *testing.F) {
	f.Add(int64(1e9), 300.0, 310.0, 320.0)
	f.Add(int64(-1), math.Inf(1), math.NaN(), 1e308)
	f.Fuzz(func(t *testing.T, dt int64, a, b, c float64) {
		j, err := forecast.New(forecast.Settings{Limit: 500, Lag: 30})
		if err != nil {
			t.Fatal(err)
		}
		at := time.Duration(0)
		for range 100 {
			for _, v := range []float64{a, b, c, b} {
				at += time.Duration(dt)
				check(t, j.Step(forecast.Inputs{At: at, Value: v, Room: c, Draft: a, Driven: b > c}))
			}
		}
	})
}

func TestAStepAllocatesNothing(t *testing.T) {
	j, err := forecast.New(forecast.Settings{Limit: 500, Lag: 30})
	if err != nil {
		t.Fatal(err)
	}
	at := time.Duration(0)
	if n := testing.AllocsPerRun(500, func() {
		at += time.Second
		j.Step(forecast.Inputs{At: at, Value: 200 + at.Minutes()})
	}); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}
