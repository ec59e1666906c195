package calibration

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fluewright/sensors"
)

func good(v float64) sensors.Reading { return sensors.Reading{Quality: sensors.Good, Value: v} }

// zeroing feeds pressures at 2 Hz until it is enough or refused.
func zeroing(pressure func(i int) float64, fire Fire) (Mean, bool, error) {
	z := NewZero()
	for i := range 1000 {
		done, err := z.Add(Look{At: time.Duration(i) * 500 * time.Millisecond, Reading: good(pressure(i)), Fire: fire})
		if err != nil {
			return Mean{}, false, err
		}
		if done {
			break
		}
	}
	return z.Result()
}

// wobble is a deterministic unrest of standard deviation 1.
func wobble(i int) float64 { return math.Sqrt2 * math.Sin(float64(i)*2.4) }

func TestZero(t *testing.T) {
	m, much, err := zeroing(func(i int) float64 { return 0.3 + 0.05*wobble(i) }, NoFire)
	if err != nil || much {
		t.Fatalf("noteworthy %v, %v", much, err)
	}
	if math.Abs(m.Value-0.3) > m.Uncertainty || m.Uncertainty > 0.02 || m.Readings != 121 {
		t.Errorf("%+v, want 0.3 Pa of a minute at 2 Hz", m)
	}
	if _, much, err := zeroing(func(int) float64 { return -0.51 }, NoFire); err != nil || !much {
		t.Errorf("half a pascal is not noteworthy: %v, %v", much, err)
	}
	if _, much, err := zeroing(func(int) float64 { return 0.49 }, NoFire); err != nil || much {
		t.Errorf("less is: %v, %v", much, err)
	}
}

func TestZeroRefuses(t *testing.T) {
	tests := map[string]struct {
		pressure func(int) float64
		fire     Fire
		want     error
	}{
		"a fire":           {func(int) float64 { return 0 }, Burning, ErrFire},
		"nobody knows":     {func(int) float64 { return 0 }, FireUnknown, ErrFireSeen},
		"a hose still on":  {func(int) float64 { return 7 }, NoFire, ErrHoseOn},
		"somebody walks":   {func(i int) float64 { return 0.3 * wobble(i) }, NoFire, &NotQuietError{}},
		"it drifts":        {func(i int) float64 { return 0.3 * float64(i) / 120 }, NoFire, &NotQuietError{}},
		"it is no number":  {func(int) float64 { return math.NaN() }, NoFire, nil},
		"a door is opened": {func(i int) float64 { return float64(i / 60) }, NoFire, &NotQuietError{}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, _, err := zeroing(tt.pressure, tt.fire)
			var restless *NotQuietError
			switch {
			case err == nil:
				t.Error("accepted")
			case errors.As(tt.want, &restless):
				if !errors.As(err, &restless) {
					t.Errorf("error %v", err)
				}
			case tt.want != nil && !errors.Is(err, tt.want):
				t.Errorf("error %v, want %v", err, tt.want)
			}
		})
	}
	t.Run("a fire is lit meanwhile", func(t *testing.T) {
		z := NewZero()
		for i := range 50 {
			if _, err := z.Add(Look{At: time.Duration(i) * time.Second, Reading: good(0), Fire: NoFire}); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := z.Add(Look{At: time.Minute, Reading: good(0), Fire: Burning}); !errors.Is(err, ErrFire) {
			t.Errorf("error %v", err)
		}
	})
	t.Run("no reading", func(t *testing.T) {
		fault := &sensors.Fault{Code: sensors.NoAnswer}
		for _, r := range []sensors.Reading{{}, {Quality: sensors.Stale}, {Quality: sensors.Faulty, Fault: fault}} {
			if _, err := NewZero().Add(Look{Reading: r, Fire: NoFire}); err == nil {
				t.Errorf("%v was accepted", r.Quality)
			}
		}
	})
	t.Run("one reading for ever", func(t *testing.T) {
		z := NewZero()
		for range 1000 {
			if done, _ := z.Add(Look{At: time.Hour, Reading: good(0), Fire: NoFire}); done {
				t.Fatal("done")
			}
		}
		if _, _, err := z.Result(); err == nil {
			t.Error("a result of one reading")
		}
	})
}

// Of independent noise, the stated interval covers the truth about as often as it says.
func TestUncertaintyCovers(t *testing.T) {
	rng := uint64(1)
	noise := func() float64 {
		sum := -6.0
		for range 12 {
			rng = rng*6364136223846793005 + 1442695040888963407
			sum += float64(rng>>11) / (1 << 53)
		}
		return sum
	}
	covered := 0
	const runs = 1000
	for range runs {
		m, _, err := zeroing(func(int) float64 { return 0.1 * noise() }, NoFire)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(m.Value) <= m.Uncertainty {
			covered++
		}
	}
	if covered < 0.93*runs || covered > 0.97*runs { // 95 %, and three standard deviations of a count
		t.Errorf("%d of %d", covered, runs)
	}
}

func TestBath(t *testing.T) {
	b := NewBath()
	for i := range 200 {
		if done, err := b.Add(time.Duration(i)*500*time.Millisecond, good(0.8+0.1*wobble(i))); done || err != nil {
			break
		}
	}
	if m, err := b.Result(); err != nil || math.Abs(m.Value-0.8) > m.Uncertainty || b.Progress() != 1 {
		t.Errorf("%+v, %v", m, err)
	}
	b = NewBath() // still on its way
	for i := range 200 {
		if done, _ := b.Add(time.Duration(i)*500*time.Millisecond, good(20*math.Exp(-float64(i)/50))); done {
			break
		}
	}
	if _, err := b.Result(); err == nil {
		t.Error("a probe that still cools is taken for steady")
	}
}

func TestTwoPointPassesThroughItsPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ice := Point{Read: rapid.Float64Range(-3, 3).Draw(t, "ice"), True: 0}
		boil := Point{True: rapid.Float64Range(85, 100).Draw(t, "boil")}
		boil.Read = boil.True + rapid.Float64Range(-1, 1).Draw(t, "off")
		c, err := TwoPoint(ice, boil)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range []Point{ice, boil} {
			if got := c.Apply(p.Read); math.Abs(got-p.True) > 1e-9 {
				t.Fatalf("%v becomes %v", p, got)
			}
		}
		if back, err := TwoPoint(boil, ice); err != nil || math.Abs(back.Gain-c.Gain) > 1e-12 {
			t.Fatalf("the other way round %+v, %v", back, err)
		}
	})
}

func TestCorrectionsThatAreNone(t *testing.T) {
	for name, points := range map[string][2]Point{
		"too near":     {{0, 0}, {40, 40}},
		"too far off":  {{15, 0}, {100, 100}},
		"too steep":    {{-5, 0}, {104, 100}},
		"no number":    {{math.NaN(), 0}, {100, 100}},
		"same reading": {{50, 0}, {50, 100}},
	} {
		if c, err := TwoPoint(points[0], points[1]); err == nil {
			t.Errorf("%s: %+v", name, c)
		}
	}
	if _, err := OnePoint(Point{Read: 11, True: 0}); !errors.Is(err, ErrTooFar) {
		t.Errorf("error %v", err)
	}
	if c, err := OnePoint(Point{Read: 1.5, True: 0}); err != nil || c.Apply(400) != 398.5 {
		t.Errorf("%+v, %v", c, err)
	}
}
