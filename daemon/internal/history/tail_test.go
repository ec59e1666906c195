package history_test

import (
	"testing"
	"time"
)

// A block that ends while the file is being opened takes nothing of the next one with it.
func TestATailRowHoldsOneBlock(t *testing.T) {
	s := begin(t, options(t.TempDir()))
	s.stop()
	s.ticks(0, 700*time.Second)
	if err := s.CommitUnsealed(); err != nil {
		t.Fatal(err)
	}
	s.tick(700 * time.Second)
	s.Turn()
	dir := s.cutOff()
	s = begin(t, options(dir))
	s.wall = noon.Add(time.Hour)
	s.tick(0)
	s.commit()
	if n := len(s.rows()); n < 699 {
		t.Errorf("%d rows are left", n)
	}
}
