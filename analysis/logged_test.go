package analysis

import (
	"encoding/json"
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
)

// Whoever noted how wet the wood is said it of the wood, and not of this run of the program.
func TestTheWoodsMoistureOutlivesARestart(t *testing.T) {
	var kept []Snapshot
	for _, noted := range []func(*Engine){func(*Engine) {}, func(e *Engine) { e.Fuel(0.08) }} {
		e, err := New(Settings{DraftLow: 10, DraftHigh: 15})
		if err != nil {
			t.Fatal(err)
		}
		noted(e)
		text, err := json.Marshal(e.Snapshot(time.Unix(0, 0), false))
		if err != nil {
			t.Fatal(err)
		}
		var s Snapshot
		if err := json.Unmarshal(text, &s); err != nil {
			t.Fatal(err)
		}
		kept = append(kept, s)
	}
	for i, want := range []bool{false, true} {
		e, err := New(Settings{DraftLow: 10, DraftHigh: 15})
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Restore(kept[i], time.Unix(0, 0), false); err != nil {
			t.Fatal(err)
		}
		if wet, noted := e.judges.causes.Moisture(); noted != want || noted && wet != 0.08 {
			t.Errorf("noted %v: after a restart %v, %v", want, wet, noted)
		}
	}
}

// What people did about the furnace is counted from then on.
func TestUpkeepThatWasDoneCountsAnew(t *testing.T) {
	s := Settings{DraftLow: 10, DraftHigh: 15}
	s.Fitted[frame.Flue], s.Limits[frame.Flue] = true, 500
	e, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	kept := e.Snapshot(time.Unix(0, 0), false)
	kept.Upkeep.Burnt[notice.Ash], kept.Upkeep.Burnt[notice.Flue], kept.Upkeep.Tar = 30, 200, 12
	if err := e.Restore(kept, time.Unix(0, 0), false); err != nil {
		t.Fatal(err)
	}
	e.Done(notice.Flue)
	got := e.Snapshot(time.Unix(0, 0), false).Upkeep
	if got.Burnt[notice.Flue] != 0 || got.Tar != 0 {
		t.Errorf("the flue was swept, and is still due: %+v", got)
	}
	if got.Burnt[notice.Ash] != 30 {
		t.Errorf("the ash is still there: %+v", got)
	}
}
