package history_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history"
)

// Two runs of the program are one log, read from either end.
func TestTheNewestFirst(t *testing.T) {
	dir := t.TempDir()
	ctx := context.Background()
	s := begin(t, options(dir))
	for i := range 3 {
		s.tick(time.Duration(i) * time.Second)
		s.Note("owner", fmt.Sprint("note ", i+1))
	}
	s.close()
	s = begin(t, options(dir))
	s.wall = noon.Add(time.Hour)
	s.tick(0)
	s.commit()
	s.stop() // what comes now stays in memory
	s.tick(time.Second, raised(alarm.Overheat, frame.Flue, 1), analysis.Event{Kind: analysis.BurnEnded, Burn: burn.Summary{}})
	s.Note("owner", "note 4")
	s.Note("owner", "note 5")

	texts := func(all []history.Event, err error) (out []string) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		for i := range all {
			out = append(out, fmt.Sprint(all[i].Fields["note"]))
		}
		return out
	}
	first, err := s.Newest(ctx, "notes", 0, 2)
	if got := texts(first, err); fmt.Sprint(got) != "[note 5 note 4]" {
		t.Errorf("the newest: %q", got)
	}
	older, err := s.Newest(ctx, "notes", first[1].ID(), 2)
	if got := texts(older, err); fmt.Sprint(got) != "[note 3 note 2]" {
		t.Errorf("before them: %q", got)
	}
	if !older[0].At.Equal(noon.Add(2*time.Second)) || !first[1].At.Equal(noon.Add(time.Hour+time.Second)) {
		t.Errorf("at %v and %v", older[0].At, first[1].At)
	}
	if got := texts(s.Following(ctx, "notes", older[1].ID(), 2)); fmt.Sprint(got) != "[note 3 note 4]" {
		t.Errorf("behind the second: %q", got)
	}
	n, err := s.Count(ctx, "notes", older[0].ID())
	if all, other := s.Count(ctx, "notes", 0); n != 3 || all != 5 || err != nil || other != nil {
		t.Errorf("%d of %d notes: %v %v", n, all, err, other)
	}
	fourth, ok, err := s.Nth(ctx, "notes", 4)
	if !ok || err != nil || fourth.Fields["note"] != "note 4" {
		t.Errorf("the fourth: %v %v %v", fourth.Fields, ok, err)
	}
	for _, n := range []int{0, -1, 6} {
		if _, ok, err := s.Nth(ctx, "notes", n); ok || err != nil {
			t.Errorf("there is a note %d: %v", n, err)
		}
	}
	// The numbers go on over the kinds, so that two of them can be put in one order.
	burnt, err := s.Newest(ctx, "burns", 0, 1)
	if err != nil || len(burnt) != 1 || burnt[0].ID() >= first[1].ID() || burnt[0].ID() <= older[0].ID() {
		t.Errorf("the burn: %v %v", burnt, err)
	}
	for _, bad := range []int{0, -1, history.MostEvents + 1} {
		if _, err := s.Newest(ctx, "notes", 0, bad); err == nil {
			t.Errorf("%d events were given", bad)
		}
	}
	if _, err := s.Newest(ctx, "boots; DROP TABLE notes", 0, 1); err == nil {
		t.Error("there is a kind that is none")
	}
}

// Looking at what is written already must not write: a page that is open wears no card.
func TestLookingDoesNotWrite(t *testing.T) {
	s := begin(t, options(t.TempDir()))
	s.phase = burn.Cold
	s.tick(0)
	s.commit()
	s.stop()
	s.Turn() // what was asked for before
	commits := s.Health().Commits
	for i := range 20 {
		s.tick(time.Duration(i+1) * time.Second)
		if _, err := s.Newest(context.Background(), "notes", 0, 10); err != nil {
			t.Fatal(err)
		}
	}
	s.Turn()
	if n := s.Health().Commits; n != commits {
		t.Errorf("looking wrote %d times", n-commits)
	}
}
