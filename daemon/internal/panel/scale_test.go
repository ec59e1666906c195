package panel

import (
	"math"
	"strconv"
	"testing"

	"fluewright/daemon/internal/units"
	"pgregory.net/rapid"
)

// Ticks are where the reader's units are round, and are written as what they are.
func TestTicksAreRoundInTheReadersUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Quantity(rapid.IntRange(0, 2).Draw(t, "quantity"))
		u := units.System(rapid.IntRange(0, 1).Draw(t, "units"))
		bounds := map[Quantity][2]float64{Temperature: {-50, 1500}, Pressure: {-100, 200}, Absolute: {70e3, 110e3}}[q]
		lo := rapid.Float64Range(bounds[0], bounds[1]).Draw(t, "low")
		hi := rapid.Float64Range(bounds[0], bounds[1]).Draw(t, "high")
		s := newScale(&Panel{Quantity: q}, u, [][]Column{{{Min: min(lo, hi), Max: max(lo, hi), Mean: lo, Count: 2}}})
		s.top, s.bottom = 0, 150
		values, labels := s.ticks(11)
		if len(values) < 2 || len(values) > 7 {
			t.Fatalf("%d ticks from %g to %g", len(values), s.lo, s.hi)
		}
		for i, v := range values {
			if y := s.at(v); y < s.top-0.1 || y > s.bottom+0.1 {
				t.Fatalf("tick %s is outside", labels[i])
			}
			shown, err := strconv.ParseFloat(labels[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			if d := math.Abs(shown - (v*s.factor + s.offset)); d > 1e-6 {
				t.Fatalf("tick %s is at %g", labels[i], v*s.factor+s.offset)
			}
			if i > 0 && labels[i] == labels[i-1] {
				t.Fatalf("two ticks are called %s", labels[i])
			}
		}
	})
}

// All readings, limits and the band are inside, but for a few far out.
func TestScaleHoldsWhatItShows(t *testing.T) {
	p := Panel{Quantity: Pressure, Limits: []Limit{{Value: 25}}, Band: &Specified{Low: 10, High: 15}}
	s := newScale(&p, units.SI, [][]Column{{{Min: -3, Max: 12, Mean: 5, Count: 9}}})
	if s.lo > -3 || s.hi < 25 {
		t.Errorf("it goes from %g to %g, want -3 to 25 inside", s.lo, s.hi)
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), 1e9} {
		p.Limits = []Limit{{Value: v}}
		if s := newScale(&p, units.SI, nil); !(s.lo <= 0 && s.hi >= 15 && s.hi < 20) {
			t.Errorf("a limit of %g makes it go from %g to %g", v, s.lo, s.hi)
		}
	}
	if s := newScale(&Panel{Quantity: Absolute}, units.US, nil); !(s.lo < s.hi) {
		t.Errorf("with nothing to show it goes from %g to %g", s.lo, s.hi)
	}
}
