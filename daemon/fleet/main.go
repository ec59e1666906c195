// Fleet is a service desk's sites in one process: the bench's furnace in so many houses, each
// with an engine, a history in memory, a publisher with its own connection, and a sender of
// remote write if there is a receiver. It is test equipment; nothing that it says is measured.
//
//	go run ./daemon/fleet -sites 100 -broker tcp://127.0.0.1:1883
//	go run ./daemon/fleet -sites 1000 -broker ssl://desk:8883 -ca ca.pem -cert 'certs/%s.pem' -key 'certs/%s.key'
//	go run ./daemon/fleet -sites 20 -write http://127.0.0.1:9090/api/v1/write -past 3h
//
// The houses stand in four regions, whose weather they share; in a storm the draft turns in
// more of them. Owners light and feed their fires at their own times. With -faults something
// goes wrong now and then: a wire comes off, the regulator sticks, the fan stops. The same seed
// gives the same houses, but what happens follows the clock.
//
// Flags:
//
//	-sites N      how many (10)
//	-broker URL   where they publish (tcp://127.0.0.1:1883)
//	-ca FILE      certificates that may sign the broker's
//	-cert FILE    each site's own certificate, %s stands for its name; -key FILE its key
//	-user NAME    at the broker; -password-file FILE
//	-metered      publish as on a line where each byte costs
//	-write URL    a receiver of remote write; -write-ca FILE certificates that may sign its own
//	-write-every D  how far apart requests are (60s)
//	-period D     between the frames (1s)
//	-past D       how long the sites have been watched before; six hours are kept (0)
//	-ramp D       over how long they come up (20s for a thousand)
//	-faults X     what goes wrong in each house, an hour (0.2)
//	-whole        one complete monitor beside them, whole-0000, with a history in a file
//	-seed N       of the houses (1)
//	-for D        stop after so long; without it, at Ctrl-C
//
// Each ten seconds it says on standard error how it does. The alarms that come up go to
// standard output, JSON Lines, to be held against what arrives.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout, os.Stderr); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "fleet:", err)
		}
		os.Exit(2)
	}
}

func run(ctx context.Context, args []string, out, talk io.Writer) error {
	o := Options{Log: slog.New(slog.DiscardHandler)}
	var password string
	var lasts time.Duration
	var complete bool
	f := flag.NewFlagSet("fleet", flag.ContinueOnError)
	f.SetOutput(talk)
	f.IntVar(&o.Sites, "sites", 10, "how many")
	f.StringVar(&o.Broker, "broker", "tcp://127.0.0.1:1883", "where they publish")
	f.StringVar(&o.CAFile, "ca", "", "certificates that may sign the broker's")
	f.StringVar(&o.CertFile, "cert", "", "each site's own certificate, %s stands for its name")
	f.StringVar(&o.KeyFile, "key", "", "its key, likewise")
	f.StringVar(&o.User, "user", "", "user at the broker")
	f.StringVar(&password, "password-file", "", "file with the user's password")
	f.BoolVar(&o.Metered, "metered", false, "publish as on a line where each byte costs")
	f.StringVar(&o.Write, "write", "", "a receiver of remote write")
	f.StringVar(&o.WriteCA, "write-ca", "", "certificates that may sign its own")
	f.DurationVar(&o.WriteEvery, "write-every", time.Minute, "how far apart its requests are")
	f.DurationVar(&o.Period, "period", time.Second, "between the frames")
	f.DurationVar(&o.Past, "past", 0, "how long the sites have been watched before")
	f.DurationVar(&o.Ramp, "ramp", 0, "over how long they come up (20s for a thousand)")
	f.Float64Var(&o.Faults, "faults", 0.2, "what goes wrong in each house, an hour")
	f.Uint64Var(&o.Seed, "seed", 1, "of the houses")
	f.BoolVar(&complete, "whole", false, "one complete monitor beside them")
	f.DurationVar(&lasts, "for", 0, "stop after so long")
	if err := f.Parse(args); err != nil {
		return err
	}
	if password != "" {
		secret, err := os.ReadFile(password)
		if err != nil {
			return fmt.Errorf("read password: %w", err)
		}
		o.Password = strings.TrimRight(string(secret), "\r\n")
	}
	if o.Ramp == 0 {
		o.Ramp = time.Duration(o.Sites) * 20 * time.Millisecond
	}
	var mu sync.Mutex
	lines := json.NewEncoder(out)
	o.Raised = func(r Raised) {
		mu.Lock()
		defer mu.Unlock()
		_ = lines.Encode(map[string]any{"time": r.At, "site": r.Site, "alarm": r.Alarm.String(), "occurrence": r.Occurrence})
	}
	fleet, err := New(o)
	if err != nil {
		return err
	}
	if lasts > 0 {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, lasts)
		defer stop()
	}
	var all sync.WaitGroup
	all.Go(func() { fleet.Run(ctx) })
	if complete {
		all.Go(func() {
			if err := whole(ctx, &o); err != nil {
				fmt.Fprintln(talk, "the complete monitor:", err)
			}
		})
	}
	done := make(chan struct{})
	go func() { defer close(done); all.Wait() }()
	for ticks := time.Tick(10 * time.Second); ; {
		select {
		case <-ticks:
			fmt.Fprintf(talk, "%s %+v\n", time.Now().Format(time.TimeOnly), fleet.Stats())
		case <-done:
			fmt.Fprintf(talk, "%s %+v\n", time.Now().Format(time.TimeOnly), fleet.Stats())
			return nil
		}
	}
}
