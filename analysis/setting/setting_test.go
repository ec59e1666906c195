package setting_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"fluewright/analysis/setting"
)

var scale = setting.Scale{Low: 1, High: 7}

func solve(t *testing.T, p setting.Problem) setting.Fit {
	t.Helper()
	f, ok := p.Solve()
	if !ok {
		t.Fatalf("no answer to %+v", p)
	}
	return f
}

func TestReadings(t *testing.T) {
	at := func(mark, draft float64) setting.Reading {
		return setting.Reading{Mark: mark, Draft: draft, Error: 0.1, Drive: 5}
	}
	for _, c := range []struct {
		name     string
		readings []setting.Reading
		ceiling  float64
		lo, hi   float64 // of the mark
		short    bool
		over     bool
		certain  bool
	}{
		{"one reading says little", []setting.Reading{at(1, 8)}, 0, 2, 4, false, false, false},
		{"two, 2 Pa a mark", []setting.Reading{at(2, 8.5), at(4, 12.5)}, 0, 3.8, 4.2, false, false, true},
		{"between two", []setting.Reading{at(2, 8.5), at(5, 14.5)}, 40, 3.8, 4.2, false, false, true},
		{"practice is overruled", []setting.Reading{at(4.5, 10.1), at(6, 12.6)}, 40, 5.7, 6.2, false, false, true},
		{"the chimney has no more", []setting.Reading{at(3, 9), at(5, 9.05), at(7, 9)}, 10, 0, 10, true, false, false},
		{"the gate is wide open", []setting.Reading{at(3, 16), at(2, 16.05), at(1, 16)}, 50, -2, 10, false, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := setting.Problem{Readings: c.readings, Specified: 12.5, Scale: scale, Height: 7, Ceiling: c.ceiling}
			f := solve(t, p)
			if f.Mark < c.lo || f.Mark > c.hi {
				t.Errorf("mark %.2f, want %g to %g: %+v", f.Mark, c.lo, c.hi, f)
			}
			if (f.Short > 0.8) != c.short || (f.Over > 0.8) != c.over {
				t.Errorf("short %.2f, over %.2f", f.Short, f.Over)
			}
			if !c.short && !c.over && f.Certain() != c.certain {
				t.Errorf("certain: %v: %+v", f.Certain(), f)
			}
		})
	}
}

// A hotter fire draws more: two readings at different fires are compared at one.
func TestTheFireIsAllowedFor(t *testing.T) {
	p := setting.Problem{Specified: 12.5, Scale: scale, Readings: []setting.Reading{
		{Mark: 2, Draft: 8.5, Error: 0.1, Drive: 4}, {Mark: 4, Draft: 12.5, Error: 0.1, Drive: 5},
	}}
	same := p
	same.Readings = []setting.Reading{{Mark: 2, Draft: 8.5, Error: 0.1, Drive: 5}, p.Readings[1]}
	if a, b := solve(t, p), solve(t, same); !(a.Slope < b.Slope) {
		t.Errorf("slope %.2f although part of the rise was the fire's; %.2f without", a.Slope, b.Slope)
	}
}

// Common practice, no source: 4 for one storey, 3 for 25 to 35 ft.
func TestPractice(t *testing.T) {
	const foot = 0.3048
	for _, c := range []struct{ height, want, by float64 }{{16 * foot, 4, 0.1}, {30 * foot, 3, 0.1}, {25 * foot, 3, 0.5}, {35 * foot, 3, 0.5}, {0, 3.5, 0}} {
		if got := setting.Practice(c.height); math.Abs(got-c.want) > c.by {
			t.Errorf("%.1f m: mark %.2f, want %g", c.height, got, c.want)
		}
	}
}

func TestNextMark(t *testing.T) {
	p := setting.Problem{Specified: 12.5, Scale: scale, Readings: []setting.Reading{{Mark: 4, Draft: 12.5, Error: 0.1}}}
	if next := p.Next(solve(t, p)); math.Abs(next-4) < 1 {
		t.Errorf("the second reading at %g would not tell what a mark is worth", next)
	}
	p.Readings[0] = setting.Reading{Mark: 1, Draft: 12.5, Error: 0.1}
	if next := p.Next(solve(t, p)); next != 2 {
		t.Errorf("from the scale's end it goes to %g", next)
	}
}

// However little drives the draft of a reading, it is brought to the others' and doubted as one
// that little drives, and no further.
func TestADriveOfNextToNothing(t *testing.T) {
	p := setting.Problem{Specified: 12.5, Height: 7, Scale: scale, Readings: []setting.Reading{
		{Mark: 4, Draft: 14, Error: 0.2, Drive: 0.05}, {Mark: 3, Draft: 12, Error: 0.2, Drive: 4},
	}}
	want := solve(t, p)
	for _, drive := range []float64{math.SmallestNonzeroFloat64, 0.01} {
		p.Readings[0].Drive = drive
		if got := solve(t, p); got != want {
			t.Errorf("drive %g: %+v, want %+v", drive, got, want)
		}
	}
}

// Whatever is read, the answer is finite, in order and on the scale.
func TestAnyReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := setting.Problem{
			Specified: rapid.Float64Range(0.1, 100).Draw(t, "specified"), Height: rapid.Float64Range(0, 60).Draw(t, "height"),
			Ceiling: rapid.Float64Range(-5, 200).Draw(t, "ceiling"), Scale: scale,
		}
		for range rapid.IntRange(1, 6).Draw(t, "n") {
			p.Readings = append(p.Readings, setting.Reading{
				Mark: rapid.Float64Range(1, 7).Draw(t, "mark"), Draft: rapid.Float64Range(-100, 400).Draw(t, "draft"),
				Error: rapid.Float64Range(0, 20).Draw(t, "error"), Drive: rapid.Float64Range(0, 15).Draw(t, "drive"),
			})
		}
		f, ok := p.Solve()
		if !ok {
			t.Fatal("no answer")
		}
		for _, v := range []float64{f.Mark, f.Low, f.High, f.Slope, f.SlopeLow, f.SlopeHigh, f.Short, f.Over, f.Ceiling} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v", f)
			}
		}
		if !(f.Low <= f.Mark && f.Mark <= f.High && f.SlopeLow <= f.Slope && f.Slope <= f.SlopeHigh) {
			t.Fatalf("out of order: %+v", f)
		}
		if next := p.Next(f); next < scale.Low || next > scale.High {
			t.Fatalf("mark %g is not on the scale", next)
		}
	})
}

func TestNothingToSolve(t *testing.T) {
	one := []setting.Reading{{Mark: 1, Draft: 5}}
	for name, p := range map[string]setting.Problem{
		"no reading":   {Specified: 12, Scale: scale},
		"no draft":     {Readings: one, Scale: scale},
		"no scale":     {Readings: one, Specified: 12},
		"not a number": {Readings: []setting.Reading{{Mark: 1, Draft: math.NaN()}}, Specified: 12, Scale: scale},
	} {
		if _, ok := p.Solve(); ok {
			t.Errorf("%s: answered", name)
		}
	}
}

func BenchmarkSolve(b *testing.B) {
	p := setting.Problem{Specified: 12.5, Scale: scale}
	for i := range 4 {
		p.Readings = append(p.Readings, setting.Reading{Mark: float64(i + 2), Draft: 8 + 2*float64(i), Error: 0.1, Drive: 5})
	}
	for b.Loop() {
		p.Solve()
	}
}
