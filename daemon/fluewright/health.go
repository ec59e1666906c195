package main

import (
	"context"
	"encoding/json"
	"fmt"

	"fluewright/daemon/internal/health"
)

type healthCmd struct {
	Config string `help:"Configuration file." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	JSON   bool   `help:"Print JSON." name:"json"`
}

// Run asks the running daemon how it does its work. That something is wrong, or cannot be
// told yet, is exit code 3; that there is nobody to ask, 1.
func (c *healthCmd) Run(ctx context.Context, std streams) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	page, certificate, err := pageHere(cfg)
	if err != nil {
		return err
	}
	trust, err := exactly(certificate)
	if err != nil {
		return err
	}
	r, err := health.Ask(ctx, page, trust)
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
	if !r.Fit() {
		return errWrong
	}
	return nil
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
