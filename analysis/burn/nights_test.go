package burn_test

import (
	"slices"
	"testing"
	"time"

	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/sensors/bench/nights"
)

// Loads and doors are found on whole nights of a furnace whose physics the tracker does
// not share. The bounds are a little below what was measured.
func TestLoadsOfWholeNights(t *testing.T) {
	if testing.Short() {
		t.Skip("plays whole nights, and the same ones on every machine")
	}
	kinds := []string{"ordinary", "two loads", "cold masonry", "altitude", "very large", "demand to full", "blower blinks"}
	var loads, found, wrong, doors int
	for _, k := range nights.Kinds() {
		if !slices.Contains(kinds, k.Name) {
			continue
		}
		for seed := range uint64(2) { // two keep it short
			n := k.Night(4001 + seed)
			tr := burn.New(burn.Site{DraftLow: n.Site.DraftLow, DraftHigh: n.Site.DraftHigh})
			var got []burn.Load
			var row nights.Row
			for n.Next(&row) {
				ch := tr.Step(burn.Inputs{At: row.At, Values: frame.Values(row.Values)})
				if ch.Loaded {
					l, _ := tr.Load()
					got = append(got, l)
				}
				if ch.Opened {
					doors++
				}
			}
			for _, want := range n.Truth.Loads {
				loads++
				i := slices.IndexFunc(got, func(l burn.Load) bool {
					return l.At > want.At-5*time.Minute && l.At < want.At+15*time.Minute
				})
				if i >= 0 {
					found++
					got = slices.Delete(got, i, i+1)
				}
			}
			wrong += len(got)
		}
	}
	t.Logf("%d of %d loads found, %d wrong; %d doors", found, loads, wrong, doors)
	if loads < 20 || found*10 < loads*7 || wrong*8 > loads {
		t.Error("too few found or too many wrong")
	}
}
