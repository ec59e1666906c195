package analysis_test

import (
	"encoding/json"
	"maps"
	"slices"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/forecast"
	"fluewright/analysis/frame"
)

// What a furnace's rises came to takes weeks to learn, and outlives a restart.
func TestRisesOutliveARestart(t *testing.T) {
	n := burning(t, house())
	n.ramp(4*time.Minute, map[frame.Channel]float64{frame.Flue: 300, frame.Chamber: 750})
	n.ramp(20*time.Minute, map[frame.Channel]float64{frame.Flue: 150, frame.Chamber: 300})
	now := time.Date(2026, 1, 17, 22, 0, 0, 0, time.UTC)
	text, err := json.Marshal(n.engine.Snapshot(now, true))
	if err != nil {
		t.Fatal(err)
	}
	var kept analysis.Snapshot
	if err := json.Unmarshal(text, &kept); err != nil {
		t.Fatal(err)
	}
	if got := slices.Sorted(maps.Keys(kept.Rises)); !slices.Equal(got, []string{"chamber", "flue"}) {
		t.Errorf("rises of %q are kept", got)
	}
	if kept.Rises["chamber"] == (forecast.Memory{}) {
		t.Error("nothing is remembered of a steep rise to 750 °C")
	}

	next := newNight(t, house())
	kept.Rises["smoke"] = forecast.Memory{}
	if err := next.engine.Restore(kept, now, true); err != nil {
		t.Fatal(err)
	}
	if got := next.engine.Snapshot(now, true).Rises["chamber"]; got != kept.Rises["chamber"] {
		t.Errorf("restored %+v, want %+v", got, kept.Rises["chamber"])
	}
}
