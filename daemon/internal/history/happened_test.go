package history_test

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// happened reads on from a position to the end, so many at a time, and returns in words what
// it read, and the last position.
func (s *site) happened(p history.EventPosition, most int) (all []string, last history.EventPosition) {
	s.t.Helper()
	for {
		h, err := s.FollowEvents(context.Background(), p, most)
		if err != nil {
			s.t.Fatal(err)
		}
		if h.Behind < int64(len(h.Next)) {
			s.t.Fatalf("%d events and %d are said to be there", len(h.Next), h.Behind)
		}
		for _, e := range h.Next {
			what := e.Fields["occurrence"]
			if e.Table == "phases" {
				what = e.Fields["phase"]
			}
			all = append(all, fmt.Sprintf("%s %v %v", e.Table, what, e.At.Sub(noon)))
			if e.Position.Identity == "" || !e.Moment(e.MS).Equal(e.At) {
				s.t.Fatalf("%+v", e)
			}
		}
		if p = h.Upto; len(h.Next) < most {
			return all, p
		}
	}
}

func changed(to burn.Phase) analysis.Event {
	return analysis.Event{Kind: analysis.PhaseChanged, From: burn.Cold, To: to}
}

// What follows from any position on is each event once and in order, over tables, runs and
// what is in memory alone.
func TestFollowingEvents(t *testing.T) {
	dir := t.TempDir()
	first := begin(t, options(dir))
	var want []string
	for i := range 5 {
		at := time.Duration(10*i) * time.Second
		first.tick(at, raised(alarm.Overheat, frame.Flue, uint32(i)), changed(burn.Lighting), analysis.Event{Kind: analysis.DoorOpened})
		want = append(want, fmt.Sprintf("alarms %d %v", i, at), fmt.Sprintf("phases lighting %v", at))
	}
	first.commit()
	all, last := first.happened(history.EventPosition{}, 3)
	if diff := cmp.Diff(want, all); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	if rest, _ := first.happened(last, 3); len(rest) != 0 {
		t.Errorf("behind the last there is %q", rest)
	}
	first.tick(time.Minute, changed(burn.WarmUp)) // no alarm: it stays in memory for a while
	if rest, _ := first.happened(last, 3); len(rest) != 1 {
		t.Errorf("in memory there is %q", rest)
	}
	first.close()

	second := begin(t, options(dir))
	second.wall = noon.Add(time.Hour)
	second.tick(0, raised(alarm.Overheat, frame.Flue, 9))
	second.commit()
	rest, _ := second.happened(last, 3)
	if diff := cmp.Diff([]string{"phases warm-up 1m0s", "alarms 9 1h0m0s"}, rest); diff != "" {
		t.Errorf("after a restart, -want +got:\n%s", diff)
	}
	if fresh, _ := second.happened(history.EventPosition{}, 3); len(fresh) != 1 {
		t.Errorf("who is new is told %q", fresh)
	}
	foreign := history.EventPosition{Run: 1, Identity: "of a file that is gone", No: 7}
	if all, _ := second.happened(foreign, 3); len(all) != 12 {
		t.Errorf("in another file there are %d", len(all))
	}
}

// A storage that fails keeps no event and no row of this run back.
func TestFollowingWithoutAFile(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(dir+"/"+history.FileName, 0o700); err != nil { // nothing can be opened there
		t.Fatal(err)
	}
	s := begin(t, options(dir))
	s.ticks(0, time.Minute)
	s.tick(time.Minute, raised(alarm.Overheat, frame.Flue, 1))
	_ = s.Commit(t.Context())
	all, last := s.happened(history.EventPosition{}, 10)
	if len(all) != 1 || last.Identity == "" {
		t.Errorf("there are %q up to %+v", all, last)
	}
	rows, _, err := s.FollowNow(t.Context(), history.Position{})
	if err != nil || len(rows) != 60 {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	if rest, _, err := s.FollowNow(t.Context(), rows[29].Position); err != nil || len(rest) != 30 {
		t.Errorf("behind the 30th there are %d rows: %v", len(rest), err)
	}
	if _, _, err := s.FollowNow(t.Context(), history.Position{Run: 1, Identity: "earlier", MS: 5}); err == nil {
		t.Error("a position in a file that cannot be read is taken for one of this run")
	}
}
