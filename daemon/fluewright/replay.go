package main

import (
	"fmt"
	"os"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/replay"
)

type replayCmd struct {
	Config string `help:"Configuration with the site's limits; the built-in defaults without it." type:"path" placeholder:"FILE"`
	Log    string `arg:"" help:"Burn log, CSV, may be gzipped; \"-\" for standard input."`
}

// Run judges the log.
func (c *replayCmd) Run(std streams) error {
	cfg := config.Default()
	if c.Config != "" {
		var err error
		if cfg, err = loadConfig(c.Config); err != nil {
			return err
		}
	}
	log, name := std.in, "standard input"
	if c.Log != "-" {
		file, err := os.Open(c.Log)
		if err != nil {
			return fmt.Errorf("open burn log: %w", err)
		}
		defer file.Close()
		log, name = file, c.Log
	}
	if err := replay.Run(log, std.out, cfg.Analysis, cfg.Site.Units); err != nil {
		return fmt.Errorf("replay %s: %w", name, err)
	}
	return nil
}
