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
	"/",
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
		for _, look := range browsertest.Looks {
			name := strings.Trim("page"+strings.ReplaceAll(page, "/", "-"), "-")
			t.Run(name+"-"+look.String(), func(t *testing.T) {
				tab := b.Tab(t, look)
				tab.Open(root + strings.TrimPrefix(page, "/"))
				tab.Check(name)
			})
		}
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
