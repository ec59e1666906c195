package history_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"fluewright/daemon/internal/history"
)

// follow reads on from a position to the end, and returns the last position.
func (s *site) follow(p history.Position) (all []history.Followed, last history.Position) {
	s.t.Helper()
	for {
		next, behind, err := s.Follow(context.Background(), p)
		if err != nil {
			s.t.Fatal(err)
		}
		if behind < int64(len(next)) {
			s.t.Fatalf("%d rows and at most %d are said to be there", len(next), behind)
		}
		if len(next) == 0 {
			return all, p
		}
		all = append(all, next...)
		p = next[len(next)-1].Position
	}
}

// What follows from any position on is each row once, in the order of their making, over
// blocks, runs and what is in memory alone.
func TestFollowing(t *testing.T) {
	dir := t.TempDir()
	first := begin(t, options(dir))
	first.ticks(0, 25*time.Minute)
	first.commit()
	first.ticks(25*time.Minute, 26*time.Minute)
	got, last := first.follow(history.Position{})
	if len(got) != 26*60-1 { // the last slot is open
		t.Fatalf("%d rows", len(got))
	}
	for i, f := range got {
		if want := noon.Add(time.Duration(i) * time.Second); !f.At.Equal(want) || !f.Sure || f.Unsettled {
			t.Fatalf("row %d is %+v, want %v", i, f, want)
		}
	}
	for _, i := range []int{0, 598, 599, 600, 1234, len(got) - 2} {
		rest, _ := first.follow(got[i].Position)
		if len(rest) != len(got)-1-i || rest[0].Position != got[i+1].Position {
			t.Errorf("behind row %d there are %d", i, len(rest))
		}
	}
	first.close()

	second := begin(t, options(dir))
	second.wall = noon.Add(time.Hour)
	second.ticks(0, 3*time.Minute)
	second.commit()
	more, _ := second.follow(last)
	if len(more) != 1+3*60-1 || !more[1].At.Equal(noon.Add(time.Hour)) {
		t.Errorf("after a restart there are %d rows, the second of %v", len(more), more[min(1, len(more)-1)].At)
	}
	if fresh, _ := second.follow(history.Position{}); len(fresh) != 3*60-1 {
		t.Errorf("who is new is told %d rows", len(fresh))
	}
	elsewhere := last
	elsewhere.Run = 99
	if all, _ := second.follow(elsewhere); len(all) != len(more) {
		t.Errorf("under another number of the run there are %d rows", len(all))
	}
	foreign := history.Position{Run: 1, Identity: "of a file that is gone", MS: 5}
	if all, _ := second.follow(foreign); len(all) != 26*60+3*60-1 {
		t.Errorf("in another file there are %d rows", len(all))
	}
}

// Times that are a guess are said to be one, and whether they will ever be more.
func TestFollowingAClockThatIsNotSet(t *testing.T) {
	dir := t.TempDir()
	lost := begin(t, options(dir))
	lost.trusted, lost.wall = false, time.Unix(0, 0)
	lost.ticks(0, time.Minute)
	lost.commit()
	all, last := lost.follow(history.Position{})
	if slices.ContainsFunc(all, func(f history.Followed) bool { return f.Sure || !f.Unsettled }) {
		t.Error("before the clock is set its times are settled")
	}
	lost.close()

	s := begin(t, options(dir))
	s.ticks(0, time.Minute)
	s.commit()
	old, _ := s.follow(history.Position{Run: last.Run, Identity: last.Identity, MS: -1})
	if old[0].Sure || old[0].Unsettled || !old[len(old)-1].Sure {
		t.Errorf("the run that never had a clock: %+v; the last: %+v", old[0], old[len(old)-1])
	}
}
