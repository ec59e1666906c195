package app

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/frame"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/status"
	"fluewright/sensors"
	"fluewright/sensors/scan"
)

// Calibrations that cannot be read do not keep the monitor from watching.
func TestCalibrationsThatCannotBeRead(t *testing.T) {
	for name, text := range map[string]string{"torn": `{"version":1,"entr`, "newer": `{"version":2,"entries":[]}`, "empty": ""} {
		t.Run(name, func(t *testing.T) {
			cfg, err := config.Demo()
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			path := filepath.Join(dir, calibrate.FileName)
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			var said strings.Builder
			h := &house{
				cfg: cfg, feed: status.NewFeed(), board: scan.NewBoard(), log: slog.New(slog.NewTextHandler(&said, nil)),
				options: Options{Clock: sensors.SystemClock{}, Root: t.TempDir(), State: dir},
			}
			engine, err := analysis.New(cfg.Analysis)
			if err != nil {
				t.Fatal(err)
			}
			l, err := h.loop(engine)
			if err != nil {
				t.Fatal(err)
			}
			l.tick(time.Now())
			if _, ok := l.frames.corrections(frame.Draft); ok {
				t.Error("something is applied")
			}
			if !h.uncalibrated || !strings.Contains(said.String(), "no calibration is applied") || !strings.Contains(said.String(), calibrate.FileName) {
				t.Errorf("it says\n%s", said.String())
			}
			if kept, err := os.ReadFile(path); err != nil || string(kept) != text {
				t.Errorf("the file is now %q, %v", kept, err)
			}
		})
	}
}

// Copies for a former program go when this one has kept what it should for a day.
func TestCopiesGoWhenTheProgramHasWorked(t *testing.T) {
	for name, tt := range map[string]struct {
		trouble func(at time.Duration) bool
		after   time.Duration
		gone    bool
	}{
		"well":               {func(time.Duration) bool { return false }, 25 * time.Hour, true},
		"not yet":            {func(time.Duration) bool { return false }, 23 * time.Hour, false},
		"trouble at noon":    {func(at time.Duration) bool { return at/time.Hour == 12 }, 25 * time.Hour, false},
		"and a day after it": {func(at time.Duration) bool { return at/time.Hour == 12 }, 38 * time.Hour, true},
		"always trouble":     {func(time.Duration) bool { return true }, 99 * time.Hour, false},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithCancel(t.Context())
				removed := false
				w := &watchman{}
				begun := time.Now()
				var tasks sync.WaitGroup
				tasks.Go(func() {
					for ctx.Err() == nil {
						found := shortfalls{}
						if tt.trouble(time.Since(begun)) {
							found.history = "trouble"
						}
						w.found.Store(&found)
						time.Sleep(20 * time.Second)
					}
				})
				tasks.Go(func() { removed = worked(ctx, w) })
				time.Sleep(tt.after)
				cancel()
				tasks.Wait()
				if removed != tt.gone {
					t.Errorf("after %v: %v", tt.after, removed)
				}
			})
		})
	}
}
