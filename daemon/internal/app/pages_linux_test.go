package app

import (
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/web/browsertest"
	"fluewright/sensors/bench"
)

// pages are all pages. A new one is a line here.
var pages = []string{
	"/", "/alarms", "/burns", "/sensors", "/upkeep", "/notes", "/about", "/commissioning",
	"/trend", "/sign-in",
}

// Every page, after some hours of a night at the bench, on a telephone and a desk, in both
// schemes: accessible, within the screen, nothing that a glove misses, nothing that the
// browser complains of.
func TestEveryPage(t *testing.T) {
	b := browsertest.Start(t)
	clock := bench.NewClock(600)
	house, err := bench.New(bench.Config{Seed: 1, Clock: clock, Scenario: bench.Night()})
	if err != nil {
		t.Fatal(err)
	}
	if err := house.Register(); err != nil {
		t.Fatal(err)
	}
	defer house.Close()
	cfg, err := config.Demo()
	if err != nil {
		t.Fatal(err)
	}
	cfg.Web.Listen, cfg.MQTT.Embedded = "127.0.0.1:0", "127.0.0.1:0"
	root := launch(t, cfg, Options{Clock: clock, State: t.TempDir(), Notice: "A simulated furnace."})
	time.Sleep(12 * time.Second) // two hours at the bench
	for _, page := range pages {
		for i, look := range browsertest.Looks {
			name := strings.Trim("page"+strings.ReplaceAll(page, "/", "-"), "-")
			t.Run(name+"-"+look.String(), func(t *testing.T) {
				tab := b.Tab(t, look)
				tab.Open(root + strings.TrimPrefix(page, "/"))
				if i == 1 || i == 2 { // both schemes and both sizes
					tab.Check(name)
				} else {
					tab.Fits(name)
				}
				if page == "/" {
					weigh(t, tab)
				}
			})
		}
	}
}

// weigh holds the first page, with all that it brings for this screen, to what a bad line
// carries in a moment.
func weigh(t *testing.T, tab *browsertest.Tab) {
	t.Helper()
	tab.Until(`[...document.images].every(i => i.complete && i.naturalWidth > 0) && document.images.length > 0`, 10*time.Second)
	bytes := 0
	// At the bench's speed the picture is fetched anew all the time; once is the first page.
	tab.Eval(`[...new Map(performance.getEntriesByType('navigation').concat(performance.getEntriesByType('resource'))
		.filter(e => !e.name.endsWith('/events')).map(e => [new URL(e.name).pathname, e.transferSize])).values()].reduce((sum, n) => sum + n, 0)`, &bytes)
	t.Logf("%d bytes", bytes)
	if bytes < 10_000 || bytes > 60_000 {
		t.Errorf("the first page brings %d bytes, want at most 60000", bytes)
	}
}

// launch runs the program within the test, until its end, and returns the address of its
// pages.
func launch(t *testing.T, cfg *config.Config, o Options) string {
	t.Helper()
	root, stop := launchFor(t, cfg, o)
	t.Cleanup(stop)
	return root
}

// launchFor is launch, with an end that can be called before.
func launchFor(t *testing.T, cfg *config.Config, o Options) (root string, stop func()) {
	t.Helper()
	ready, ended := make(chan Addresses, 1), make(chan error, 1)
	o.Version, o.Log = "v0.1.0", slog.New(slog.DiscardHandler)
	o.Ready = func(a Addresses) { ready <- a }
	ctx, cancel := context.WithCancel(context.Background())
	go func() { ended <- Run(ctx, cfg, o) }()
	select {
	case a := <-ready:
		root = a.Web
	case err := <-ended:
		t.Fatalf("the program ends with %v", err)
	}
	return root, func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}
