package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strings"
	"syscall"
	"time"

	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
	"fluewright/sensors/bench"
)

type demoCmd struct {
	Speed  float64       `help:"How many times faster than real time the furnace burns, 1 to 600." default:"60" placeholder:"N"`
	Seed   uint64        `help:"Seed of wind and noise." default:"1" placeholder:"N"`
	Web    string        `help:"Where the page is served." default:"127.0.0.1:8080" placeholder:"HOST:PORT"`
	MQTT   string        `help:"Where the broker listens." default:"127.0.0.1:1883" name:"mqtt" placeholder:"HOST:PORT"`
	Record string        `help:"Write the readings as a burn log; compressed if the name ends in .gz." type:"path" placeholder:"FILE"`
	For    time.Duration `help:"Stop after this much real time, as 10s; without it, at Ctrl-C." placeholder:"TIME"`
}

// Validate checks what kong cannot.
func (c *demoCmd) Validate() error {
	if !(c.Speed >= 1 && c.Speed <= 600) {
		return fmt.Errorf("--speed %g: want 1 to 600", c.Speed)
	}
	if c.For < 0 {
		return fmt.Errorf("--for %v: want a time such as 10s or 2m", c.For)
	}
	return nil
}

// Run burns a night on the bench.
func (c *demoCmd) Run(ctx context.Context, std streams) error {
	cfg, err := config.Demo()
	if err != nil {
		return fmt.Errorf("read demo configuration: %w", err)
	}
	cfg.Web.Listen, cfg.MQTT.Embedded = free(c.Web), free(c.MQTT)
	clock := bench.NewClock(c.Speed)
	house, err := bench.New(bench.Config{Seed: c.Seed, Clock: clock, Scenario: bench.Night()})
	if err != nil {
		return fmt.Errorf("set up bench: %w", err)
	}
	if err := house.Register(); err != nil {
		return fmt.Errorf("register bench: %w", err)
	}
	defer house.Close()
	if c.For > 0 {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, c.For)
		defer stop()
	}
	past, err := os.MkdirTemp("", "fluewright-demo-")
	if err != nil {
		return fmt.Errorf("make a place for the history: %w", err)
	}
	defer os.RemoveAll(past)
	log := slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{Level: slog.LevelError}))
	return app.Run(ctx, cfg, app.Options{
		Version: version,
		Notice:  "Demonstration: the furnace is simulated, nothing here is measured.",
		Clock:   clock,
		History: past,
		Record:  c.Record,
		Log:     log,
		Ready:   func(a app.Addresses) { c.introduce(std, a, cfg.Site.Name) },
		Tick:    func(s *status.Status) { tell(std, s, cfg.Site.Units) },
	})
}

// free returns the address, with any free port where its own is taken: a demonstration
// should not fail because something else is served on this computer.
func free(address string) string {
	l, err := net.Listen("tcp", address)
	if errors.Is(err, syscall.EADDRINUSE) {
		if host, _, err := net.SplitHostPort(address); err == nil {
			return net.JoinHostPort(host, "0")
		}
	}
	if err == nil {
		_ = l.Close()
	}
	return address
}

// introduce says what is where.
func (c *demoCmd) introduce(std streams, a app.Addresses, site string) {
	fmt.Fprintf(std.out, `A night at a virtual furnace, %g times as fast as a real one. Nothing here is measured;
the program observes and advises, and is no fire or carbon-monoxide alarm.

  page     %s
  metrics  %smetrics
  MQTT     %s, topics fluewright/%s/#
  sign in  %s makes you its owner

Ctrl-C ends it. What the furnace and the monitor do:

`, c.Speed, a.Web, a.Web, a.MQTT, site, a.SetUp)
}

// tell prints the events of a tick for a person, one a line.
func tell(std streams, s *status.Status, u message.Units) {
	for _, e := range s.Assessment.Events {
		at := s.WallOf(e.At).Format("15:04:05")
		switch line := message.Line(e, s.WallOf, u).(type) {
		case message.AlarmLine:
			fmt.Fprintf(std.out, "%s  %-7s %-8s %s\n", at, line.State, line.Priority, line.Message)
			if line.State != "raised" && line.State != "updated" {
				continue // what to do has been said, or need not be
			}
			fmt.Fprintf(std.out, "          first: %s\n", line.Action)
			if len(line.Causes) > 0 {
				fmt.Fprintf(std.out, "          seen:  %s\n", strings.Join(line.Causes[0].Evidence, " "))
			}
		case message.NoticeLine:
			fmt.Fprintf(std.out, "%s  notice  %s\n", at, line.Message)
		case message.ReloadLine:
			fmt.Fprintf(std.out, "%s  reload  wood was laid on\n", at)
		case message.PhaseLine:
			fmt.Fprintf(std.out, "%s  phase   %s\n", at, line.Phase)
		case message.BurnLine:
			fmt.Fprintf(std.out, "%s  burn    over, %s long\n", at, line.End.Sub(line.Start).Round(time.Minute))
		}
	}
}
