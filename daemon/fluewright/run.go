package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"runtime"
	"runtime/debug"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
)

type runCmd struct {
	Config string `help:"Configuration file." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	State  string `help:"Directory that keeps alarms, history and what a calibration found; without one none is kept or applied." type:"path" env:"STATE_DIRECTORY" default:"/var/lib/fluewright" placeholder:"DIR"`
	Record string `help:"Write the readings of this run as a burn log; compressed if the name ends in .gz." type:"path" placeholder:"FILE"`
}

// Under a service manager that starts the program again at once, a start that fails within
// startGrace is told and then lasts backOff: a mistake in the configuration must not write to
// the journal each second for years. One that dies later is started again at once.
const (
	startGrace = 5 * time.Second
	backOff    = 10 * time.Second
)

// Run watches the furnace until ctx ends.
func (c *runCmd) Run(ctx context.Context, std streams) error {
	begun := time.Now()
	err := c.watch(ctx, std)
	if err == nil || ctx.Err() != nil || os.Getenv("NOTIFY_SOCKET") == "" || time.Since(begun) > startGrace {
		return err
	}
	code := exitCode(err, std.err)
	_, _ = daemon.SdNotify(false, "STATUS=Cannot start, and tries again: see the journal.") // said on std.err already
	select {
	case <-ctx.Done():
	case <-time.After(backOff):
	}
	return toldError(code)
}

// toldError is an error that was told, by its exit code.
type toldError int

func (e toldError) Error() string { return fmt.Sprintf("exit code %d", int(e)) }

func (c *runCmd) watch(ctx context.Context, std streams) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(c.Config)
	if err != nil {
		return fmt.Errorf("read configuration: %w", err)
	}
	if os.Getenv("GOGC") == "" {
		// What lives is a few megabytes: collecting twice as often costs a thousandth of a core,
		// and saves as much memory as lives.
		debug.SetGCPercent(50)
	}
	if os.Getenv("GOMAXPROCS") == "" {
		// Ten times a second there is a tenth of a millisecond's work: looking for a second core
		// to share it with costs more than sharing saves, and the others stay the board's.
		runtime.GOMAXPROCS(1)
	}
	log := logger(std)
	if _, err := os.Stat(c.State); errors.Is(err, fs.ErrNotExist) {
		log.Warn("there is no state directory: no calibration is applied, and alarms and history are not kept", "directory", c.State)
		c.State = ""
	}
	return app.Run(ctx, cfg, app.Options{
		Version:       version,
		State:         c.State,
		Configuration: string(text),
		Record:        c.Record,
		Log:           log,
		Ready:         func(a app.Addresses) { welcome(std.err, a) },
	})
}

// loadConfig reads the configuration, and says where one comes from if there is none.
func loadConfig(path string) (*config.Config, error) {
	cfg, err := config.Load(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w\nConfigurations start from configs/fluewright.toml; --config names another file", err)
	}
	return cfg, err
}

// logger writes for whoever runs the program; the service manager adds the time.
func logger(std streams) *slog.Logger {
	return slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{
		ReplaceAttr: func(groups []string, a slog.Attr) slog.Attr {
			if a.Key == slog.TimeKey && len(groups) == 0 {
				return slog.Attr{}
			}
			return a
		},
	}))
}
