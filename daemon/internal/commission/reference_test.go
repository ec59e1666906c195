package commission_test

import (
	"math"
	"testing"

	"fluewright/daemon/internal/commission"
	"pgregory.net/rapid"
)

var reference = commission.Reference{Draft: 12, Drive: 4, Cold: 3, ColdAt: 12}

func TestADraftAgainstTheCommissionedOne(t *testing.T) {
	for _, c := range []struct {
		name         string
		draft, drive float64
		want         float64 // 0: it cannot be told
	}{
		{"as it was", 12, 4, 1},
		{"a quarter lost", 9, 4, 0.75},
		{"a hotter fire, held by the gate", 12 * math.Pow(2, 0.2), 8, 1},
		{"a fire that hardly drives", 6, 2.7, 0},
		{"turned", -1, 4, -1.0 / 12},
		{"no drive", 12, math.NaN(), 0},
		{"no draft", math.NaN(), 4, 0},
	} {
		share, ok := reference.Burning(c.draft, c.drive)
		if ok != (c.want != 0) || math.Abs(share-c.want) > 1e-9 {
			t.Errorf("%s: %v, %v; want %v", c.name, share, ok, c.want)
		}
	}
	for _, c := range []struct {
		name              string
		draft, difference float64
		want              float64
	}{
		{"as it was", 3, 12, 1},
		{"colder outdoors", 6, 24, 1},
		{"a nest", 1.5, 12, 0.5},
		{"a mild day", 1, 4.9, 0},
		{"no outdoor sensor", 3, math.NaN(), 0},
	} {
		share, ok := reference.Out(c.draft, c.difference)
		if ok != (c.want != 0) || math.Abs(share-c.want) > 1e-9 {
			t.Errorf("out, %s: %v, %v; want %v", c.name, share, ok, c.want)
		}
	}
}

func TestNothingMeasuredNothingToldOfTheDraft(t *testing.T) {
	var none commission.Reference
	if _, ok := none.Burning(12, 4); ok {
		t.Error("a share of nothing over a fire")
	}
	if _, ok := none.Out(3, 12); ok {
		t.Error("a share of nothing without one")
	}
}

func TestAShareIsANumber(t *testing.T) {
	absurd := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1e300, 1e300}))
	rapid.Check(t, func(t *rapid.T) {
		draft, against := absurd.Draw(t, "draft"), absurd.Draw(t, "against")
		for _, of := range []func(float64, float64) (float64, bool){reference.Burning, reference.Out} {
			if share, ok := of(draft, against); ok && (math.IsNaN(share) || math.IsInf(share, 0)) {
				t.Fatalf("%v, %v: %v", draft, against, share)
			}
		}
	})
}
