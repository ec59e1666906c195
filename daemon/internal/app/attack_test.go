package app

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"fluewright/daemon/internal/access"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
	"fluewright/sensors/bench"
)

// TestAttackedPagesLeaveTheLoopAlone: while some guess passwords as fast as they can, send
// forms of 1 MB, send slowly, or open streams and do not read them, every tick comes in its
// time, and whoever wants to see the page does.
func TestAttackedPagesLeaveTheLoopAlone(t *testing.T) {
	if testing.Short() {
		t.Skip("it lasts some seconds of real time")
	}
	const lasts = 6 * time.Second
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	cfg.Web.Listen, cfg.MQTT.Embedded = "127.0.0.1:0", "127.0.0.1:0"
	b, err := bench.New(bench.Config{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Register(); err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	state := t.TempDir()
	if err := access.Load(state).Add(t.Context(), "Anna", access.Owner, "four plain cellar words"); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	pages := make(chan string, 1)
	ended := make(chan error, 1)
	ticks := make(chan time.Time, 1000)
	go func() {
		ended <- Run(ctx, cfg, Options{
			Clock: sensors.SystemClock{}, State: state, Log: slog.New(slog.DiscardHandler),
			Ready: func(a Addresses) { pages <- a.Web },
			Tick:  func(*status.Status) { ticks <- time.Now() },
		})
	}()
	page := <-pages
	<-ticks

	over, stop := context.WithTimeout(ctx, lasts)
	defer stop()
	var attack sync.WaitGroup
	at := strings.Trim(strings.TrimPrefix(page, "http:"), "/")
	from := func(last byte) net.Dialer {
		return net.Dialer{LocalAddr: net.TCPAddrFromAddrPort(netip.AddrPortFrom(netip.AddrFrom4([4]byte{127, 0, 0, last}), 0)), Timeout: time.Second}
	}
	counts := struct {
		sync.Mutex
		answers map[string]int
	}{answers: map[string]int{}}
	// post sends a form again and again.
	post := func(last byte, name, form string) {
		d := from(last)
		client := &http.Client{Transport: &http.Transport{DialContext: d.DialContext, DisableKeepAlives: true}}
		attack.Go(func() {
			for over.Err() == nil {
				r, err := http.NewRequestWithContext(over, http.MethodPost, page+"sign-in", strings.NewReader(form))
				if err != nil {
					t.Error(err)
					return
				}
				r.Header.Set("Origin", strings.TrimSuffix(page, "/"))
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				result := "hung up"
				if a, err := client.Do(r); err == nil {
					_ = a.Body.Close()
					result = fmt.Sprint(a.StatusCode)
				}
				counts.Lock()
				counts.answers[name+": "+result]++
				counts.Unlock()
			}
		})
	}
	// hold opens connections, sends something and then nothing, and opens another one where
	// it is sent away.
	hold := func(last byte, text string) {
		d := from(last)
		attack.Go(func() {
			c, err := d.DialContext(over, "tcp", at)
			if err != nil {
				return
			}
			defer c.Close()
			_, _ = io.WriteString(c, text)
			<-over.Done()
		})
	}
	for i := range byte(4) {
		post(10+i, "guessing", url.Values{"name": {"Anna"}, "password": {fmt.Sprint("guess ", i)}}.Encode())
		post(20, "1 MB", "name="+strings.Repeat("x", 1<<20))
		for range 60 {
			hold(30+i, "GET / HTTP/1.1\r\nX-Slow: ")
			hold(40+i, "GET /events HTTP/1.1\r\nHost: "+at+"\r\n\r\n")
		}
	}

	visitor := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: 3 * time.Second}
	visits := 0
	for over.Err() == nil {
		a, err := visitor.Get(page)
		if err != nil {
			t.Errorf("visit %d: %v", visits, err)
			break
		}
		_ = a.Body.Close()
		if a.StatusCode != http.StatusOK {
			t.Errorf("visit %d: %s", visits, a.Status)
		}
		visits++
		time.Sleep(100 * time.Millisecond)
	}
	attack.Wait()
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	close(ticks)
	var longest time.Duration
	n, last := 0, time.Time{}
	for tick := range ticks {
		if n++; n > 1 {
			longest = max(longest, tick.Sub(last))
		}
		last = tick
	}
	t.Logf("%d ticks, the longest pause %v; %d visits; %v", n, longest, visits, counts.answers)
	// This machine may be slow by itself; a reading that comes a period late is still fresh.
	if want := int(lasts / cfg.Sampling.Period); n < want-2 || longest > 3*cfg.Sampling.Period {
		t.Errorf("%d ticks of %d, the longest pause is %v", n, want, longest)
	}
	if visits < 5 {
		t.Errorf("%d visits", visits)
	}
	if counts.answers["guessing: 429"] == 0 || counts.answers["guessing: 303"] > 0 || counts.answers["1 MB: 413"]+counts.answers["1 MB: hung up"] == 0 {
		t.Errorf("the attacks were answered so: %v", counts.answers)
	}
}

func TestWhereTheOwnerIsMade(t *testing.T) {
	own := []netip.Addr{netip.MustParseAddr("192.168.7.20"), netip.MustParseAddr("2001:db8::1")}
	for _, tt := range []struct {
		page, listening string
		own             []netip.Addr
		want            string
		outside         bool
	}{
		{"http://localhost:8080/", "[::]:8080", own, "http://192.168.7.20:8080/setup#code=ABCD-EFGH", true},
		{"https://localhost:443/", "0.0.0.0:443", own[1:], "https://[2001:db8::1]:443/setup#code=ABCD-EFGH", true},
		{"http://localhost:8080/", "[::]:8080", nil, "http://localhost:8080/setup#code=ABCD-EFGH", false},
		{"http://127.0.0.1:8080/", "127.0.0.1:8080", own, "http://127.0.0.1:8080/setup#code=ABCD-EFGH", false},
		{"http://192.168.7.20:80/", "192.168.7.20:80", own, "http://192.168.7.20:80/setup#code=ABCD-EFGH", true},
	} {
		got, outside := setUpAddress(tt.page, tt.listening, tt.own, "ABCD-EFGH")
		if got != tt.want || outside != tt.outside {
			t.Errorf("%s at %s: %s, %v", tt.page, tt.listening, got, outside)
		}
	}
}
