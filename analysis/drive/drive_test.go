package drive

import (
	"math"
	"testing"
	"time"

	"fluewright/analysis/chimney"
	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/analysis/internal/rig"
	"fluewright/analysis/regulator"
	"pgregory.net/rapid"
)

func readings(flue, draft float64) frame.Values {
	var v frame.Values
	for c := range v {
		v[c] = math.NaN()
	}
	v[frame.Flue], v[frame.Draft] = flue, draft
	return v
}

func TestDriveIsTheBuoyancyOfAMetre(t *testing.T) {
	v := readings(250, 12)
	v[frame.Outdoor] = 0
	got, measured := Air{}.Of(&v)
	want := chimney.Theoretical(1, gas.SeaLevel, gas.DryAir().Constant(), 0, 250)
	if got != want || !measured {
		t.Errorf("drive %g (measured %v), want %g", got, measured, want)
	}
	v[frame.Ambient] = 84560
	if high, _ := (Air{}).Of(&v); math.Abs(high/want-84560/gas.SeaLevel) > 1e-12 {
		t.Errorf("the drive does not go with the pressure: %g", high/want)
	}
	v[frame.Ambient], v[frame.Outdoor] = 5, 4000 // nonsense is no reading
	if got, measured := (Air{}).Of(&v); measured || !(got > 5 && got < 7) {
		t.Errorf("nonsense around the flue gives %g, measured %v", got, measured)
	}
	for _, flue := range []float64{math.NaN(), math.Inf(1), -1000, 1e308} {
		v := readings(flue, 12)
		if got, _ := (Air{}).Of(&v); !math.IsNaN(got) {
			t.Errorf("a flue of %g drives %g", flue, got)
		}
	}
}

func TestMinutesAreTheSameAtEverySampling(t *testing.T) {
	for _, every := range []time.Duration{100 * time.Millisecond, time.Second, 5 * time.Second} {
		var g Gather
		n := 0
		for at := time.Duration(0); at <= 10*time.Minute; at += every {
			draft := 12 + math.Sin(at.Seconds()/3)
			v := readings(200, draft)
			m, ok := g.Step(at, &v, Air{}, false)
			if !ok {
				continue
			}
			n++
			if math.Abs(m.Draft-12) > 0.3 || math.Abs(m.Spread-math.Sqrt(0.5)) > 0.12 || !m.Calm() {
				t.Errorf("every %v: a minute of %+v", every, m)
			}
		}
		if n < 9 || n > 10 {
			t.Errorf("every %v: %d minutes in ten", every, n)
		}
	}
}

func TestMinutesLeaveOutWhatSaysNothing(t *testing.T) {
	for name, c := range map[string]struct {
		gap    time.Duration
		flue   float64
		draft  float64
		spoilt bool
	}{
		"an open door":       {flue: 200, draft: 12, spoilt: true},
		"a gap":              {gap: 10 * time.Minute, flue: 200, draft: 12},
		"time backwards":     {gap: -time.Hour, flue: 200, draft: 12},
		"no flue":            {flue: math.NaN(), draft: 12},
		"no draft":           {flue: 200, draft: math.NaN()},
		"an infinite draft":  {flue: 200, draft: math.Inf(1)},
		"a nonsensical flue": {flue: 5000, draft: 12},
	} {
		var g Gather
		at := time.Duration(0)
		for i := range 60 {
			v := readings(200, 12)
			spoilt := false
			at += time.Second
			if i == 30 {
				at += c.gap
				v, spoilt = readings(c.flue, c.draft), c.spoilt
			}
			if m, ok := g.Step(at, &v, Air{}, spoilt); ok {
				t.Errorf("%s: a minute of %+v", name, m)
			}
		}
	}
}

// draw fills a curve with a draft that depends on the drive alone.
func draw(c *Curve, from, to float64, draft func(float64) float64) {
	at := time.Minute
	for b := from; b <= to; b *= 1.02 {
		at += time.Minute
		c.Add(Minute{At: at, Weight: 60, Drive: b, Draft: draft(b)})
	}
}

func TestExponentOfAPowerIsThePower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		power := rapid.Float64Range(-0.5, 1.5).Draw(t, "power")
		at3 := rapid.Float64Range(3, 40).Draw(t, "draft")
		var c Curve
		var f Fitter
		draw(&c, 2, 6, func(b float64) float64 { return at3 * math.Pow(b/3, power) })
		e, ok := f.Exponent(&c, 1.75)
		if !ok {
			t.Fatal("nothing fitted")
		}
		if math.Abs(e.Value-power) > 0.02 || e.Low > e.Value || e.High < e.Value {
			t.Fatalf("got %+v, want %g", e, power)
		}
		if want := at3 * math.Pow(e.To/3, power); e.Draft < 0.3*want || e.Draft > 3*want {
			t.Fatalf("draft %g far from %g", e.Draft, want)
		}
	})
}

// The exponent parts gates that move from gates that do not, whatever the chimney.
func TestExponentPartsTheGates(t *testing.T) {
	fitted := map[regulator.State]int{}
	for _, height := range []float64{4, 7, 12} {
		for _, width := range []float64{0.13, 0.15, 0.2} {
			for _, outdoor := range []float64{-20, 0, 12} {
				for state := range 3 {
					s := rig.Default
					s.Height, s.Diameter, s.Outdoor, s.State = height, width, outdoor, regulator.State(state)
					table := s.Draft()
					var c Curve
					var f Fitter
					at := time.Minute
					for flue := 60.0; flue < 320; flue += 2 {
						v := readings(flue, 0)
						v[frame.Outdoor] = outdoor
						b, _ := Air{}.Of(&v)
						at += time.Minute
						c.Add(Minute{At: at, Weight: 60, Drive: b, Draft: table.At(flue)})
					}
					e, ok := f.Exponent(&c, 1.75)
					if !ok {
						t.Fatalf("%+v: nothing fitted", s)
					}
					fitted[s.State]++
					switch {
					case s.State == regulator.Working && e.Draft > s.Set+4:
						// Wide open, and it does not suffice: nothing holds the draft any more.
					case s.State == regulator.Working && e.Value > 0.4:
						t.Errorf("%+v: a working gate has %+v", s, e)
					case s.State != regulator.Working && e.Value < 0.6:
						t.Errorf("%+v: a gate that does not move has %+v", s, e)
					}
				}
			}
		}
	}
	if len(fitted) != 3 {
		t.Error("not every state was seen")
	}
}

func TestExponentWantsASpan(t *testing.T) {
	var f Fitter
	for name, c := range map[string]struct{ from, to, draft float64 }{
		"a steady fire":  {5, 5.4, 12},
		"hardly a draft": {2, 6, 0.2},
	} {
		var curve Curve
		draw(&curve, c.from, c.to, func(float64) float64 { return c.draft })
		if e, ok := f.Exponent(&curve, 1.75); ok {
			t.Errorf("%s gives %+v", name, e)
		}
	}
	if _, ok := f.Exponent(new(Curve), 1.75); ok {
		t.Error("nothing gives an exponent")
	}
}

func TestCurveForgets(t *testing.T) {
	var c Curve
	for i := range 60 {
		c.Add(Minute{At: time.Duration(i) * time.Minute, Weight: 60, Drive: 4, Draft: 20})
	}
	for i := range 60 {
		c.Add(Minute{At: time.Duration(60+i) * time.Minute, Weight: 60, Drive: 4, Draft: 12})
	}
	if d, _, ok := c.Expect(4); !ok || math.Abs(d-12) > 0.3 {
		t.Errorf("an hour later it expects %g (%v)", d, ok)
	}
	c.Add(Minute{At: 9 * time.Hour, Weight: 60, Drive: 9, Draft: 12})
	if p, ok := c.Seen(Bin(4)); ok {
		t.Errorf("hours later it still sees %+v", p)
	}
}

func TestCourseChanges(t *testing.T) {
	for name, c := range map[string]struct {
		after   func(minute int) float64
		changes int
		ratio   float64
	}{
		"nothing":             {func(int) float64 { return 12 }, 0, 0},
		"blocked at once":     {func(int) float64 { return 5 }, 1, 5.0 / 12},
		"a squall":            {func(m int) float64 { return map[bool]float64{true: 5, false: 12}[m < 6] }, 0, 0},
		"a fan for an hour":   {func(m int) float64 { return map[bool]float64{true: 5, false: 12}[m < 60] }, 2, 12.0 / 5},
		"a damper":            {func(int) float64 { return 9 }, 0, 0},
		"slowly, over a week": {func(m int) float64 { return 12 - 7*float64(m)/600 }, 0, 0},
	} {
		var course Course
		changes := 0
		for m := range 720 {
			draft := 12.0
			if m >= 120 {
				draft = c.after(m - 120)
			}
			if course.Add(Minute{At: time.Duration(m+1) * time.Minute, Weight: 60, Drive: 4, Draft: draft}) {
				changes++
			}
		}
		if changes != c.changes || math.Abs(course.Change.Ratio-c.ratio) > 0.02 {
			t.Errorf("%s: %d changes, the last %+v", name, changes, course.Change)
		}
	}
}

func TestNothingIsAllocated(t *testing.T) {
	var g Gather
	var c Course
	var f Fitter
	at := time.Duration(0)
	n := testing.AllocsPerRun(2000, func() {
		at += time.Second
		v := readings(150+100*math.Sin(at.Hours()*9), 12)
		if m, ok := g.Step(at, &v, Air{}, false); ok {
			c.Add(m)
			f.Exponent(&c.Now, 1.75)
		}
	})
	if n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

// Whatever comes in, what comes out is finite and in its range.
func FuzzCourse(f *testing.F) {
	f.Add(int64(time.Second), 200.0, 12.0, 0.0, 98000.0, uint8(0))
	f.Add(int64(-time.Hour), math.NaN(), math.Inf(1), math.Inf(-1), 1e308, uint8(1))
	f.Fuzz(func(t *testing.T, step int64, flue, draft, outdoor, ambient float64, flags uint8) {
		var g Gather
		var c Course
		var fit Fitter
		at := time.Duration(0)
		for i := range 400 {
			at += time.Duration(step)
			if i%7 == 3 {
				at += time.Second
			}
			v := readings(flue+float64(i%90), draft+float64(i%5))
			v[frame.Outdoor], v[frame.Ambient] = outdoor, ambient
			m, ok := g.Step(at, &v, Air{}, flags&1 != 0 && i%50 == 0)
			if !ok {
				continue
			}
			finite(t, m.Drive, m.Draft, m.Spread)
			c.Add(m)
			if e, ok := fit.Exponent(&c.Now, 1.75); ok {
				finite(t, e.Value, e.Low, e.High, e.Draft, e.Slope)
			}
			finite(t, c.Change.Ratio, c.Change.Pascals, c.Now.Reach(0.5))
		}
	})
}

func finite(t *testing.T, vs ...float64) {
	t.Helper()
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("not a number among %v", vs)
		}
	}
}
