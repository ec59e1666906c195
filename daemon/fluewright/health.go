package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/health"
	"fluewright/daemon/internal/message"
)

type healthCmd struct {
	Config string        `help:"Configuration file." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	JSON   bool          `help:"Print JSON." name:"json"`
	Wait   time.Duration `help:"How long to wait until all is well, such as 90s; some judges need half a minute before they can say anything." placeholder:"TIME"`
}

// Help says what the exit codes mean.
func (c *healthCmd) Help() string {
	return `Exit codes: 0 if the monitor does all of its work; 3 if something is wrong or cannot be told yet; 4 if that is because what is kept was written by a newer version of the program, which is not touched; 1 if there is nobody to ask. With --wait it is the code of the last answer in that time, and 0 as soon as all is well.

An updater that can go back calls "fluewright health --wait 2m" after the start of the new version, and keeps it on 0.`
}

// askEvery is how often a monitor that is waited for is asked.
const askEvery = time.Second

// Run asks the running daemon how it does its work.
func (c *healthCmd) Run(ctx context.Context, std streams) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	r, err := c.ask(ctx, cfg)
	if err != nil {
		return err
	}
	if c.JSON {
		err = json.NewEncoder(std.out).Encode(r)
	} else {
		err = tellHealth(std, r)
	}
	if err != nil {
		return fmt.Errorf("print report: %w", err)
	}
	switch {
	case r.Fit():
		return nil
	case r.Says(message.StateNewer) || r.Says(message.HistoryNewer):
		return errNewer
	}
	return errWrong
}

// ask asks until all is well or the time is over, and returns the last answer.
func (c *healthCmd) ask(ctx context.Context, cfg *config.Config) (*health.Report, error) {
	page, certificate, err := pageHere(cfg)
	if err != nil {
		return nil, err
	}
	for until := time.Now().Add(c.Wait); ; {
		// The certificate may be made, or made anew, while the monitor starts.
		trust, err := exactly(certificate)
		var r *health.Report
		if err == nil {
			r, err = health.Ask(ctx, page, trust)
		}
		if err == nil && r.Fit() || time.Until(until) < askEvery {
			return r, err
		}
		select {
		case <-ctx.Done():
			return r, err
		case <-time.After(askEvery):
		}
	}
}

func tellHealth(std streams, r *health.Report) error {
	for _, p := range r.Problems {
		if _, err := fmt.Fprintf(std.out, "FAILING: %s\n", p); err != nil {
			return err
		}
	}
	for _, c := range r.Checks {
		if _, err := fmt.Fprintf(std.out, "%-12s %-5s  %s\n", c.Name, c.State, c.Message); err != nil {
			return err
		}
	}
	return nil
}
