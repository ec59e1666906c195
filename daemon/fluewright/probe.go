package main

import (
	"context"

	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/probe"
)

type probeCmd struct {
	Config string `help:"Configuration: what should be there. Without it everything that can be found is looked at." type:"path" placeholder:"FILE"`
	JSON   bool   `help:"Print JSON, in SI." name:"json"`
	Record string `help:"Write the bus traffic, for a test." type:"path" placeholder:"FILE"`
}

// Run looks at what is wired, without disturbing a daemon that runs.
func (c *probeCmd) Run(ctx context.Context, std streams) error {
	var cfg *config.Config
	if c.Config != "" {
		var err error
		if cfg, err = loadConfig(c.Config); err != nil {
			return err
		}
	}
	report, err := probe.Run(ctx, probe.Options{Config: cfg, Driver: app.Driver, JSON: c.JSON, Record: c.Record}, std.out)
	if err != nil {
		return err
	}
	if report.Wrong() {
		return errWrong
	}
	return nil
}
