package main_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/fetch/linetest"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/status"
	virtual "fluewright/sensors/bench"
)

// faraway is a monitor at a bench whose furnace burns ten times a minute faster than real,
// with a broker between it and whoever asks.
type faraway struct {
	t            *testing.T
	dir, broker  string
	monitor      *linetest.Line // from the monitor to the broker
	program, tmp string

	mu     sync.Mutex
	page   string
	latest *status.Status
	stop   func()
}

func newFaraway(t *testing.T) *faraway {
	needRealParts(t, "mosquitto")
	f := &faraway{t: t, dir: t.TempDir(), tmp: t.TempDir(), broker: startMosquitto(t, t.TempDir())}
	f.program = build(t, "fluewright/daemon/fluewright")
	f.monitor = linetest.Lay(t, f.broker)
	return f
}

// run starts the monitor on the history that is there, and waits until it has gone on by
// some of the furnace's time.
func (f *faraway) run(clock *virtual.Clock, until time.Duration) {
	f.t.Helper()
	cfg, err := config.Demo()
	if err != nil {
		f.t.Fatal(err)
	}
	cfg.Web.Listen, cfg.MQTT.Embedded, cfg.MQTT.Broker = "127.0.0.1:0", "", "tcp://"+f.monitor.Addr()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	reached := make(chan struct{})
	var once sync.Once
	go func() {
		done <- app.Run(ctx, cfg, app.Options{
			Version: "1.0", Clock: clock, History: f.dir, Log: slog.New(slog.DiscardHandler),
			Configuration: "[site]\nname = \"" + cfg.Site.Name + "\"\n",
			Ready: func(a app.Addresses) {
				f.mu.Lock()
				f.page = a.Web
				f.mu.Unlock()
			},
			Tick: func(s *status.Status) {
				f.mu.Lock()
				f.latest = s
				f.mu.Unlock()
				if s.Frame.At > until {
					once.Do(func() { close(reached) })
				}
			},
		})
	}()
	f.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			f.t.Error(err)
		}
	})
	f.t.Cleanup(f.stop)
	select {
	case <-reached:
	case err := <-done:
		done <- err
		f.t.Fatal(err)
	case <-time.After(2 * time.Minute):
		f.t.Fatal("the furnace does not burn")
	}
}

// command prepares the program as somebody elsewhere runs it: with a cache of his own.
func (f *faraway) command(who string, args ...string) (*exec.Cmd, *bytes.Buffer) {
	cmd := exec.Command(f.program, args...)
	cmd.Env = append(os.Environ(), "XDG_CACHE_HOME="+filepath.Join(f.tmp, who))
	said := &bytes.Buffer{}
	cmd.Stderr = said
	return cmd, said
}

func (f *faraway) ask(who string, args ...string) (out, said string) {
	f.t.Helper()
	cmd, talk := f.command(who, args...)
	b, err := cmd.Output()
	if err != nil {
		f.t.Fatalf("%v: %v\n%s", args, err, talk)
	}
	return string(b), talk.String()
}

func (f *faraway) site() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.latest.Site
}

// A window that is asked through a broker, over lines that break, is to the byte what a copy
// of the history gives on the spot, whatever it is written as. The page gives the same.
func TestTrendFromElsewhere(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the built binary, which is none of this test's build")
	}
	t.Parallel()
	f, clock := firing(t, 600)
	f.run(clock, 3*time.Hour)
	a, err := history.Open(t.Context(), f.dir)
	if err != nil {
		t.Fatal(err)
	}
	begin, _ := a.Span()
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	window := []string{
		"--zone", "UTC", "--from", begin.Add(10 * time.Minute).Format(time.RFC3339Nano), "--to", begin.Add(170 * time.Minute).Format(time.RFC3339Nano),
	}
	through := func(at string) []string { return []string{"--broker", "tcp://" + at, "--site", f.site()} }
	trend := func(from []string, format string) []string {
		return append(append([]string{"trend", "--format", format}, from...), window...)
	}
	for _, format := range []string{"csv", "csv.gz", "svg", "html", "parquet"} {
		want, _ := f.ask("here", trend([]string{f.dir}, format)...)
		if len(want) < 10_000 {
			t.Fatalf("%s of %d bytes", format, len(want))
		}
		line := linetest.Lay(t, f.broker, linetest.Budget{Down: 20_000}, linetest.Budget{Up: 300})
		got, said := f.ask("technician", trend(through(line.Addr()), format)...)
		if got != want {
			t.Errorf("%s through the broker: %d bytes that are not the %d on the spot", format, len(got), len(want))
		}
		if line.Breaks() != 2 || !strings.Contains(said, "The line is lost") {
			t.Errorf("the line broke %d times; said %q", line.Breaks(), said)
		}
		got, _ = f.ask("technician", trend([]string{"--url", f.page}, format)...)
		if got != want {
			t.Errorf("%s from the page: %d bytes that are not the %d on the spot", format, len(got), len(want))
		}
	}
	t.Run("the monitor's line breaks", func(t *testing.T) {
		want, _ := f.ask("here", trend([]string{f.dir}, "csv")...)
		f.monitor.Budget(linetest.Budget{Up: 20_000}, linetest.Budget{})
		f.monitor.Cut()
		got, said := f.ask("patient", trend(through(f.broker), "csv")...)
		if got != want {
			t.Errorf("%d bytes that are not the %d on the spot; said %q", len(got), len(want), said)
		}
		f.monitor.Budget()
	})
	t.Run("the asker is killed", func(t *testing.T) {
		want, _ := f.ask("here", trend([]string{f.dir}, "csv")...)
		line := linetest.Lay(t, f.broker, linetest.Budget{Down: 20_000}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1})
		cmd, _ := f.command("killed", trend(through(line.Addr()), "csv")...)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for deadline := time.Now().Add(patience); line.Breaks() < 2 && time.Now().Before(deadline); {
			time.Sleep(10 * time.Millisecond)
		}
		_ = cmd.Process.Signal(syscall.SIGKILL)
		var killed *exec.ExitError
		if err := cmd.Wait(); !errors.As(err, &killed) {
			t.Fatalf("it was not killed in the middle: %v", err)
		}
		made := f.made()
		line.Budget()
		got, said := f.ask("killed", trend(through(line.Addr()), "csv")...)
		if got != want {
			t.Errorf("%d bytes that are not the %d on the spot", len(got), len(want))
		}
		if f.made() != made || strings.Contains(said, "again") {
			t.Errorf("it began again: %q", said)
		}
	})
	t.Run("two ask at once", func(t *testing.T) {
		want, _ := f.ask("here", trend([]string{f.dir}, "csv")...)
		var both sync.WaitGroup
		for range 2 {
			both.Go(func() {
				cmd, said := f.command("two", trend(through(f.broker), "csv")...)
				if out, err := cmd.Output(); err != nil || string(out) != want {
					t.Errorf("%d bytes that are not the %d on the spot: %v\n%s", len(out), len(want), err, said)
				}
			})
		}
		both.Wait()
	})
	t.Run("the monitor begins anew", func(t *testing.T) {
		want, _ := f.ask("here", trend([]string{f.dir}, "csv")...)
		line := linetest.Lay(t, f.broker, linetest.Budget{Down: 20_000}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1}, linetest.Budget{Up: 1})
		cmd, said := f.command("waiting", trend(through(line.Addr()), "csv")...)
		var out bytes.Buffer
		cmd.Stdout = &out
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for deadline := time.Now().Add(patience); line.Breaks() < 2 && time.Now().Before(deadline); {
			time.Sleep(10 * time.Millisecond)
		}
		f.stop()
		line.Budget()
		f.run(clock, 0)
		if err := cmd.Wait(); err != nil {
			t.Fatalf("%v\n%s", err, said)
		}
		if out.String() != want {
			t.Errorf("%d bytes that are not the %d on the spot", out.Len(), len(want))
		}
		if !strings.Contains(said.String(), "all of it comes again") {
			t.Errorf("said %q", said)
		}
	})
	t.Run("burns and bundle", func(t *testing.T) {
		want, _ := f.ask("here", "burns", "--zone", "UTC", f.dir)
		got, _ := f.ask("technician", append([]string{"burns", "--zone", "UTC"}, through(f.broker)...)...)
		// The second burn goes on between the two questions; the first is over. A busy machine
		// may miss its first minutes, of which a second holds ten: then it was found burning.
		want, got = upToSecond(want), upToSecond(got)
		if got != want || !strings.Contains(got, "cold-start") && !strings.Contains(got, "found") {
			t.Errorf("burns:\n%s\nwant\n%s", got, want)
		}
		out := filepath.Join(f.tmp, "mail.zip")
		f.ask("technician", append(append([]string{"bundle", "--out", out}, through(f.broker)...), window...)...)
		want, _ = f.ask("here", trend([]string{f.dir}, "csv")...)
		if got, _ = f.ask("here", "trend", out); got != want {
			t.Errorf("a bundle gives %d bytes, want %d", len(got), len(want))
		}
	})
	t.Run("no such time", func(t *testing.T) {
		cmd, said := f.command("technician", append([]string{"trend", "--from", "2001-01-01", "--to", "2001-01-02"}, through(f.broker)...)...)
		if err := cmd.Run(); err == nil || !strings.Contains(said.String(), "nothing is kept from 2001") {
			t.Errorf("%v, said %q", err, said)
		}
	})
	if left, _ := filepath.Glob(filepath.Join(f.tmp, "*", "fluewright", "parts", "*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// upToSecond is a table of burns up to the first one, whose columns the others widen.
func upToSecond(table string) string {
	lines := strings.SplitAfter(table, "\n")
	return strings.Join(strings.Fields(strings.Join(lines[:min(2, len(lines))], "")), " ")
}

// made counts the bundles that the monitor keeps.
func (f *faraway) made() int {
	all, err := os.ReadDir(filepath.Join(f.dir, "bundles"))
	if err != nil {
		f.t.Fatal(err)
	}
	return len(all)
}
