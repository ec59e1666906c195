package main_test

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"net/http"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"fluewright/daemon/internal/porttest"
)

// Fifty pages that are open, and one that takes nothing, cost the built program little, and
// no frame is late for them. Who reads is another process than who serves.
func TestFiftyOpenPages(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, and measures")
	}
	needRealParts(t)
	const (
		pages  = 50
		most   = 0.05 // of a core
		lasts  = 12 * time.Second
		leastN = 9 // beats in that time
	)
	page := porttest.Free(t).String()
	daemon := start(t, build(t, "."), "demo", "--speed", "1", "--web", page, "--mqtt", porttest.Free(t).String())
	pid := daemon.cmd.Process.Pid
	awaitPage(t, page)
	measure := func() (cpu, late float64) {
		began, lateBefore := cpuTime(t, pid), gauge(t, page, "fluewright_frames_late_total")+gauge(t, page, "fluewright_frames_missed_total")
		<-time.After(lasts)
		cpu = (cpuTime(t, pid) - began).Seconds() / lasts.Seconds()
		return cpu, gauge(t, page, "fluewright_frames_late_total") + gauge(t, page, "fluewright_frames_missed_total") - lateBefore
	}
	alone, lateAlone := measure()

	ctx, cancel := context.WithCancel(t.Context())
	var all sync.WaitGroup
	var beats [pages]atomic.Int64
	for i := range pages {
		all.Go(func() { follow(ctx, page, &beats[i]) })
	}
	stuck := stick(t, page)
	defer stuck.Close()
	for i := range pages {
		for deadline := time.Now().Add(20 * time.Second); beats[i].Load() == 0; time.Sleep(10 * time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("page %d hears nothing", i)
			}
		}
	}
	for i := range beats {
		beats[i].Store(0)
	}
	open, lateOpen := measure()
	for i := range beats {
		if n := beats[i].Load(); n < leastN {
			t.Errorf("page %d heard %d beats in %v", i, n, lasts)
		}
	}
	cancel()
	all.Wait()
	t.Logf("%.2f %% of a core without pages, %.2f %% with %d of them: %.2f %% for the pages", 100*alone, 100*open, pages, 100*(open-alone))
	if open-alone > most {
		t.Errorf("%d open pages cost %.1f %% of a core", pages, 100*(open-alone))
	}
	if lateOpen > lateAlone {
		t.Errorf("%g frames were late or left out with the pages, %g without", lateOpen, lateAlone)
	}
}

// awaitPage waits until the program has judged a first frame.
func awaitPage(t *testing.T, page string) {
	t.Helper()
	for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		if resp, err := http.Get("http://" + page + "/healthz"); err == nil {
			_ = resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				return
			}
		}
		if time.Now().After(deadline) {
			t.Fatal("the program does not begin")
		}
	}
}

// follow reads the stream of a page and counts what it hears.
func follow(ctx context.Context, page string, beats *atomic.Int64) {
	r, err := http.NewRequestWithContext(ctx, "GET", "http://"+page+"/events", nil)
	if err != nil {
		return
	}
	resp, err := (&http.Client{Transport: &http.Transport{}}).Do(r)
	if err != nil {
		return
	}
	defer resp.Body.Close()
	for lines := bufio.NewScanner(resp.Body); lines.Scan(); {
		if lines.Text() == "event: beat" {
			beats.Add(1)
		}
	}
}

// stick asks for a stream and reads nothing of it.
func stick(t *testing.T, page string) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", page)
	if err != nil {
		t.Fatal(err)
	}
	_ = c.(*net.TCPConn).SetReadBuffer(4 << 10)
	fmt.Fprintf(c, "GET /events HTTP/1.1\r\nHost: %s\r\n\r\n", page)
	return c
}

// cpuTime is what a process has used, of its own and of the system's time.
func cpuTime(t *testing.T, pid int) time.Duration {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	// The name in brackets may hold anything; utime and stime are the 14th and 15th field.
	fields := strings.Fields(string(b[strings.LastIndexByte(string(b), ')')+1:]))
	var ticks int64
	for _, f := range fields[11:13] {
		n, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond // USER_HZ is 100 on every Linux that we run on
}
