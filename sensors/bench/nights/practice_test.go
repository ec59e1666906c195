package nights

import (
	"slices"
	"testing"
	"time"
)

// Ordinary nights move as the trade says that they do (common practice, no source).
func TestOrdinaryNightsMoveAsInPractice(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	var heavy, light, flue, draft, chamber []float64
	for seed := range uint64(8) {
		n := kind(t, "two loads").Night(seed + 1)
		lit, fan := 0.0, 0.0
		var row Row
		peak := 0.0
		for n.Next(&row) && row.At < 3*time.Hour {
			f := &n.w.fire
			if lit == 0 && f.lit > 0 {
				lit = n.w.t
			}
			if fan == 0 && f.running {
				fan = (n.w.t - lit) / 60
			}
			peak = max(peak, n.s.p[Chamber].value)
			if f.heat > 0.6*f.ap.rated {
				flue, draft = append(flue, n.s.p[Flue].value), append(draft, n.w.draft)
			}
		}
		chamber = append(chamber, peak)
		if n.w.fire.ap.brickDeep > 1.5*n.w.fire.ap.brick {
			heavy = append(heavy, fan)
		} else {
			light = append(light, fan)
		}
	}
	within := func(what string, got, low, high float64) {
		t.Helper()
		if got < low || got > high {
			t.Errorf("%s: %.0f, in practice %.0f to %.0f", what, got, low, high)
		}
	}
	within("heavy: minutes to the fan", median(heavy), 25, 65)
	within("light: minutes to the fan", median(light), 10, 40)
	within("flue in a good burn, °C", median(flue), 150, 350)
	within("draft in a good burn, Pa", median(draft), 5, 20)
	within("hottest chamber, °C", median(chamber), 450, 750)
}

func median(x []float64) float64 {
	slices.Sort(x)
	return x[len(x)/2]
}
