package web

import (
	"regexp"
	"syscall"
	"testing"
	"time"

	"fluewright/analysis/alarm"
)

// The owner's page, with all that it brings, is small and quickly made, in the worst burst
// of alarms too. Its picture comes later and is weighed in a browser, with the whole program.
func TestTheFirstPageIsSmallAndQuick(t *testing.T) {
	const (
		most    = 60_000
		slowest = 50 * time.Millisecond // of the processor: the machine may have others to serve
		times   = 50
	)
	o := told(options())
	o.Feed.Publish(everything(alarm.Raised))
	o.StaleAfter = time.Hour
	h := served(o)
	page := get(h, "/").Body.String()
	weight := len(page)
	for _, m := range regexp.MustCompile(`(?:href|src)="(/static/[^"?]+)`).FindAllStringSubmatch(page, -1) {
		weight += get(h, m[1]).Body.Len()
	}
	t.Logf("%d bytes, %d of them the page itself", weight, len(page))
	if weight > most || weight < 10_000 {
		t.Errorf("the first page has %d bytes, want at most %d", weight, most)
	}
	began := used(t)
	for range times {
		get(h, "/")
	}
	each := (used(t) - began) / times
	t.Logf("%v of the processor for a page", each)
	if each > slowest {
		t.Errorf("a page takes %v of the processor, want at most %v", each, slowest)
	}
}

// used is the processor's time that this process has had.
func used(t *testing.T) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
