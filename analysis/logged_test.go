package analysis

import (
	"testing"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/notice"
)

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
