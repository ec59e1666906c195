package app

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/mqtt/mqtttest"
	"fluewright/daemon/internal/status"
	"fluewright/sensors/bench"
)

var month = flag.Bool("month", false, "TestMonth plays thirty days instead of three short ones")

// monthConfig is a site with everything on. What it tells stands at fixed addresses of a
// network in memory.
const monthConfig = `
[site]
name = "month"
units = "si"
[sampling]
period = "2 s"
stale-after = "6 s"
[history]
period = "2 s"
[limits]
firebox = "1600 degF"
[mqtt]
%s
homie = "yes"
[web]
listen = "127.0.0.1:8080"
[[remote-write]]
name = "desk"
url = "http://127.0.0.1:9090/write"
[[notify.transport]]
name = "phone"
kind = "push"
server = "http://127.0.0.1:9090"
topic-file = %q
acknowledge-topic-file = %q
[[notify.transport]]
name = "hook"
kind = "webhook"
url = "http://127.0.0.1:9090/hook"
[[notify.person]]
name = "owner"
via = ["phone", "hook"]
[notify.alertmanager]
url = "http://127.0.0.1:9090"
[notify.heartbeat]
url = "http://127.0.0.1:9090/beat"
[[sensor]]
channels = ["flue"]
chip = "max31856"
bus = "bench-spi-0.0"
thermocouple = "K"
[[sensor]]
channels = ["chamber"]
chip = "max31856"
bus = "bench-spi-0.1"
thermocouple = "K"
[[sensor]]
channels = ["plenum"]
chip = "max31856"
bus = "bench-spi-1.0"
thermocouple = "K"
[[sensor]]
channels = ["firebox"]
chip = "max31855"
bus = "bench-spi-1.1"
thermocouple = "K"
[[sensor]]
channels = ["outdoor"]
chip = "mcp9601"
bus = "bench-i2c-2"
mux = "0x70/0"
thermocouple = "K"
[[sensor]]
channels = ["return"]
chip = "mcp9808"
bus = "bench-i2c-2"
[[sensor]]
channels = ["draft"]
chip = "sdp810-125pa"
bus = "bench-i2c-1"
[[sensor]]
channels = ["ambient", "room"]
chip = "bme280"
bus = "bench-i2c-1"
`

// A month at one site, played as fast as it goes with all of its clocks: two nights of wood a
// day with what goes wrong in them, a broker and receivers that are away for hours, people
// who look at the pages and leave, restarts. What the program holds at the end of the third
// day is what it holds at the end of the last.
func TestMonth(t *testing.T) {
	days, length, restarts := 3, 4*time.Hour, map[int]bool{1: true}
	if *month {
		days, length, restarts = 30, 24*time.Hour, map[int]bool{1: true, 2: true, 20: true}
	} else if testing.Short() {
		t.Skip("plays half a day")
	}
	if os.Getenv("FLUEWRIGHT_EMULATED") != "" {
		t.Skip("plays days, and is for real machines")
	}
	dir := quickDir(t)
	// In a bubble one goroutine works at a time, and what is thrown away need not be found soon.
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	synctest.Test(t, func(t *testing.T) {
		m := newMonth(t, dir, length)
		m.launch(0)
		var all []holding
		for day := range days {
			if restarts[day] {
				m.stop()
				m.launch(day)
			}
			m.play(day)
			h := m.holds()
			all = append(all, h)
			t.Logf("day %2d: %v; %d alarms raised, %d pages, %d messages", day+1, h, m.raised.Load(), m.pages, m.messages.Load())
		}
		m.stop()
		m.end()
		judgeMonth(t, all, days)
		if least := int64(2 * days); m.raised.Load() < least || m.messages.Load() < least || m.rows.Load() == 0 || m.beats.Load() == 0 {
			t.Errorf("%d alarms, %d messages, %d remote writes, %d heart beats: no such month", m.raised.Load(), m.messages.Load(), m.rows.Load(), m.beats.Load())
		}
	})
}

// holding is what the program has at the end of a day.
type holding struct {
	goroutines, files int
	heap              uint64 // bytes that are in use
	history           int64  // bytes of its file
}

func (h holding) String() string {
	return fmt.Sprintf("%d goroutines, %d files, heap %.2f MB, history %.2f MB", h.goroutines, h.files, float64(h.heap)/1e6, float64(h.history)/1e6)
}

// judgeMonth holds the days from the third on against each other.
func judgeMonth(t *testing.T, all []holding, days int) {
	t.Helper()
	const (
		moreGoroutines, moreFiles = 9, 2 // three connections that happen to be open, at both ends
		moreHeap                  = 1 << 20
		mostOfDay                 = 1 << 20 // of the history's file
	)
	from := all[min(2, len(all)-2)]
	for i, h := range all[min(2, len(all)-2):] {
		if h.goroutines > from.goroutines+moreGoroutines || h.files > from.files+moreFiles || h.heap > from.heap+moreHeap {
			t.Errorf("%d days later: %v; it was %v", i, h, from)
		}
	}
	if last := all[len(all)-1]; last.history > int64(days)*mostOfDay || last.history == 0 {
		t.Errorf("the history is %d bytes after %d days", last.history, days)
	}
}

// quickDir is a directory in memory where there is one: what a disk takes for its flushes is
// no part of this.
func quickDir(t *testing.T) string {
	dir, err := os.MkdirTemp("/dev/shm", "fluewright-month-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// played is a site and those around it.
type played struct {
	t      *testing.T
	dir    string
	length time.Duration // of a day
	net    *memnet
	bench  *bench.Bench
	broker *mqtttest.Broker
	desk   *http.Server // push server, webhook, alertmanager and remote write in one
	away   atomic.Bool  // the desk answers that it cannot

	messages, rows, beats, raised atomic.Int64
	pages                         int

	began time.Time
	halt  func()
}

func newMonth(t *testing.T, dir string, length time.Duration) *played {
	m := &played{t: t, dir: dir, length: length, net: &memnet{}, began: time.Now()}
	ordinary := http.DefaultTransport
	http.DefaultTransport = &http.Transport{DialContext: m.net.dial}
	t.Cleanup(func() { http.DefaultTransport = ordinary })
	var err error
	if m.bench, err = bench.New(bench.Config{Seed: 1, Every: true}); err != nil {
		t.Fatal(err)
	}
	if err := m.bench.Register(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = m.bench.Close() })
	m.broker = mqtttest.On(t, m.open("127.0.0.1:1883"))
	m.broker.Forget()
	m.desk = &http.Server{Handler: m}
	go func() { _ = m.desk.Serve(m.open("127.0.0.1:9090")) }()
	for _, name := range []string{"topic", "answers"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return m
}

func (m *played) open(address string) net.Listener {
	l, err := m.net.listen("tcp", address)
	if err != nil {
		m.t.Fatal(err)
	}
	return l
}

// ServeHTTP is everybody whom the program tells.
func (m *played) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	_, _ = io.Copy(io.Discard, r.Body)
	switch {
	case strings.HasSuffix(r.URL.Path, "/json"): // answers are listened to for ever
		w.WriteHeader(http.StatusOK)
		_ = http.NewResponseController(w).Flush()
		<-r.Context().Done()
	case m.away.Load():
		w.WriteHeader(http.StatusServiceUnavailable)
	case r.URL.Path == "/write":
		m.rows.Add(1)
		w.WriteHeader(http.StatusNoContent)
	case r.URL.Path == "/beat":
		m.beats.Add(1)
	default:
		m.messages.Add(1)
	}
}

// launch starts the program; on the first day with the broker within it.
func (m *played) launch(day int) {
	m.t.Helper()
	broker := `broker = "tcp://127.0.0.1:1883"`
	if day == 0 {
		broker = `embedded = "127.0.0.1:1884"`
	}
	text := fmt.Sprintf(monthConfig, broker, filepath.Join(m.dir, "topic"), filepath.Join(m.dir, "answers"))
	cfg, err := config.Parse("month.toml", []byte(text))
	if err != nil {
		m.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		ended <- Run(ctx, cfg, Options{
			Version: "1.0", State: m.dir, Configuration: text, Root: m.dir, Log: slog.New(slog.DiscardHandler),
			Ready: func(Addresses) { close(ready) },
			Tick:  m.tick,
			world: &world{
				listen: m.net.listen, dial: m.net.dial,
				trusted: func() func(time.Time) bool {
					started := time.Now()
					return func(now time.Time) bool { return now.Sub(started) > time.Minute }
				},
				boot: func() (string, func() time.Duration) {
					return "month", func() time.Duration { return time.Since(m.began) + time.Hour }
				},
			},
		})
	}()
	select {
	case <-ready:
	case err := <-ended:
		m.t.Fatalf("the program ends with %v", err)
	}
	m.halt = func() {
		cancel()
		if err := <-ended; err != nil {
			m.t.Error(err)
		}
	}
}

func (m *played) stop() { m.halt() }

func (m *played) tick(s *status.Status) {
	for _, e := range s.Assessment.Events {
		if e.Kind == analysis.AlarmChanged && e.Change == alarm.WasRaised {
			m.raised.Add(1)
		}
	}
}

// end sends everybody away.
func (m *played) end() {
	_ = m.desk.Close()
	time.Sleep(time.Hour) // idle connections, and what was left behind
}

// play is one day. A quarter of it has passed when the bench's night begins, and nearly three
// quarters when it begins again, if it can end before midnight; between them all gets cold.
func (m *played) play(day int) {
	m.t.Helper()
	var all sync.WaitGroup
	ctx, cancel := context.WithTimeout(context.Background(), m.length)
	defer cancel()
	all.Go(func() {
		began := time.Now()
		for _, at := range []time.Duration{m.length / 4, m.length * 17 / 24} {
			passed := time.Duration(0)
			if sleep(ctx, time.Until(began.Add(at))) != nil {
				return
			}
			for _, s := range bench.Night().Steps {
				if sleep(ctx, s.At-passed) != nil {
					return
				}
				passed = s.At
				if _, err := m.bench.Do(s.Do); err != nil {
					m.t.Error(err)
				}
			}
		}
	})
	hour := m.length / 24
	all.Go(func() { // the line is down for three hours, and the desk for two
		if sleep(ctx, time.Duration(5+day%12)*hour) != nil {
			return
		}
		m.broker.Away(true)
		_ = sleep(ctx, 3*hour)
		m.broker.Away(false)
	})
	all.Go(func() {
		if sleep(ctx, time.Duration(7+day%9)*hour) != nil {
			return
		}
		m.away.Store(true)
		_ = sleep(ctx, 2*hour)
		m.away.Store(false)
	})
	all.Go(func() { m.visit(ctx) })
	<-ctx.Done()
	all.Wait()
}

// visit looks at the pages each hour, at what is live for a few minutes, and at the metrics.
func (m *played) visit(ctx context.Context) {
	client := &http.Client{Transport: &http.Transport{DialContext: m.net.dial}}
	defer client.CloseIdleConnections()
	if sleep(ctx, time.Minute) != nil {
		return
	}
	for range int(m.length/time.Hour) - 1 {
		for _, page := range []string{"/", "/trend", "/burns", "/alarms", "/sensors", "/upkeep", "/notes", "/about", "/commissioning", "/api/v1/state", "/metrics"} {
			m.get(ctx, client, page)
		}
		var open sync.WaitGroup
		for range 3 {
			open.Go(func() {
				ctx, leave := context.WithTimeout(ctx, 5*time.Minute)
				defer leave()
				m.get(ctx, client, "/events")
			})
		}
		for range 10 {
			m.get(ctx, client, "/metrics")
			if sleep(ctx, time.Minute) != nil {
				break
			}
		}
		open.Wait()
		if sleep(ctx, 50*time.Minute) != nil {
			return
		}
	}
}

func (m *played) get(ctx context.Context, client *http.Client, page string) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://127.0.0.1:8080"+page, nil)
	if err != nil {
		m.t.Error(err)
		return
	}
	answer, err := client.Do(r)
	if err != nil {
		if ctx.Err() == nil {
			m.t.Errorf("%s: %v", page, err)
		}
		return
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		m.t.Errorf("%s: %s", page, answer.Status)
	}
	for lines := bufio.NewReader(answer.Body); ; {
		if _, err := lines.ReadString('\n'); err != nil {
			break
		}
	}
	m.pages++
}

// sleep waits, or returns an error when ctx ends before that.
func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d):
		return nil
	case <-ctx.Done():
		return errors.New("the day is over")
	}
}

// holds says what is held, once garbage is collected.
func (m *played) holds() (h holding) {
	m.t.Helper()
	synctest.Wait()
	for range 3 { // pools keep what was used for two
		runtime.GC()
	}
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	h.goroutines, h.heap = runtime.NumGoroutine(), mem.HeapAlloc
	files, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		m.t.Fatal(err)
	}
	h.files = len(files)
	kept, err := os.Stat(filepath.Join(m.dir, "history.db"))
	if err != nil {
		m.t.Fatal(err)
	}
	h.history = kept.Size()
	return h
}
