package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"fluewright/daemon/internal/atomicfile"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/replay"
)

type replayCmd struct {
	Config  string `help:"Configuration with the site's limits; the built-in defaults without it." type:"path" placeholder:"FILE"`
	Picture string `help:"Also draw it as SVG: readings, phases, forecasts, alarms, reloads." type:"path" placeholder:"FILE.svg"`
	Width   int    `help:"Of the picture, in CSS pixels, 300 to 2000." default:"1200" placeholder:"1200"`
	Zone    string `help:"Time zone of the picture, as \"America/Chicago\"; the log's own without it." placeholder:"ZONE"`
	Log     string `arg:"" help:"Burn log, CSV, may be gzipped; \"-\" for standard input."`
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
	zone, err := c.zone()
	if err != nil {
		return err
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
	var watchers []replay.Watcher
	sketch := replay.NewSketch(cfg.Analysis, c.Width)
	if c.Picture != "" {
		watchers = append(watchers, sketch.Watch)
	}
	if err := replay.Run(log, std.out, cfg.Analysis, cfg.Site.Units, watchers...); err != nil {
		return fmt.Errorf("replay %s: %w", name, err)
	}
	if c.Picture == "" {
		return nil
	}
	return save(c.Picture, sketch.Picture(cfg.Site.Name+": "+filepath.Base(name), cfg.Site.Units, zone))
}

// Validate refuses a width before the log is read.
func (c *replayCmd) Validate() error {
	if c.Width < panel.MinWidth || c.Width > panel.MaxWidth {
		return fmt.Errorf("--width=%d is not within %d to %d", c.Width, panel.MinWidth, panel.MaxWidth)
	}
	return nil
}

// zone is the time zone asked for, nil if none was.
func (c *replayCmd) zone() (*time.Location, error) {
	if c.Zone == "" {
		return nil, nil
	}
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		return nil, fmt.Errorf("find time zone: %w", err)
	}
	return zone, nil
}

// save draws into a file, whole or not at all.
func save(path string, p panel.Picture) error {
	var drawn bytes.Buffer
	if err := p.WriteSVG(&drawn); err != nil {
		return err
	}
	if err := atomicfile.Write(filepath.Dir(path), filepath.Base(path), drawn.Bytes()); err != nil {
		return fmt.Errorf("write picture: %w", err)
	}
	return nil
}
