package trend_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/trend/trendtest"
)

// All that people wrote is on one page or another, in one order, and nothing twice.
func TestNoteLog(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	var want []string
	for i := range 40 {
		k.At(time.Duration(i+1) * time.Hour)
		text := fmt.Sprint("entry ", i)
		switch i % 4 {
		case 0:
			k.Fuel(history.Fuel{Author: "Ann", Wood: "beech", Note: text, Kilograms: 12, Moisture: math.NaN()})
		case 1:
			k.Note("Ann", trend.Taken("overheat/flue", uint32(i)))
			continue
		default:
			k.Note("Bo", text)
		}
		want = append([]string{text}, want...)
	}
	for _, most := range []int{1, 7, 29, 30, 31, 100} {
		var got []string
		before := int64(0)
		for pages := 0; ; pages++ {
			page, err := trend.NoteLog(t.Context(), k, before, most)
			if err != nil || len(page.Notes) > most || pages > 40 {
				t.Fatal(len(page.Notes), pages, err)
			}
			for _, n := range page.Notes {
				got = append(got, n.Text)
				if (n.Kind == "fuel") != (n.Kilograms != nil) || n.Moisture != nil || n.By == "" {
					t.Errorf("%+v", n)
				}
			}
			if before = page.Older; before == 0 {
				break
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%d a page:\n%q, want\n%q", most, got, want)
		}
	}
}

func TestFireSince(t *testing.T) {
	k := trendtest.Keep(t, t.TempDir(), evening)
	for i := range 3 { // 4 h each, ending at 12, 24 and 36 h
		end := time.Duration(i+1) * 12 * time.Hour
		k.At(end, k.Burn(end, 4*time.Hour))
	}
	for since, want := range map[time.Duration]float64{0: 12, 12 * time.Hour: 8, 22 * time.Hour: 6, 36 * time.Hour: 0} {
		got, err := trend.FireSince(t.Context(), k, evening.Add(since))
		if err != nil || math.Abs(got/3600-want) > 1e-6 {
			t.Errorf("since %v: %g h, want %g (%v)", since, got/3600, want, err)
		}
	}
}
