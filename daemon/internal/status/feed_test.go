package status

import (
	"context"
	"testing"
)

// Whoever wants only some is asked about each, and gets the newest that it wants.
func TestSubscribeTo(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	f := NewFeed()
	f.Publish(&Status{Seq: 1})
	var asked []uint64
	even := f.SubscribeTo(ctx, func(s *Status) bool {
		asked = append(asked, s.Seq)
		return s.Seq%2 == 0
	})
	all := f.Subscribe(ctx)
	if s := <-all; s.Seq != 1 {
		t.Errorf("who wants all begins with %d", s.Seq)
	}
	for n := range uint64(4) {
		f.Publish(&Status{Seq: 2 + n})
	}
	if s := <-even; s.Seq != 4 {
		t.Errorf("who wants even ones gets %d", s.Seq)
	}
	if s := <-all; s.Seq != 5 {
		t.Errorf("who wants all gets %d", s.Seq)
	}
	if len(asked) != 5 || len(even) != 0 {
		t.Errorf("asked about %d, and %d wait", asked, len(even))
	}
	cancel()
	if s, ok := <-even; ok {
		t.Errorf("after the end comes %d", s.Seq)
	}
}
