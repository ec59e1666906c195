package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/atomicfile"
	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/panel"
	"fluewright/daemon/internal/trend"
)

// pick is the part of a command line that chooses a window of a history.
type pick struct {
	Since span   `help:"The last so long, counted from the history's end: 48h, 7d." group:"Window" placeholder:"48h"`
	From  moment `help:"From here on: RFC 3339, or a date as 2026-01-31 in the zone." group:"Window" placeholder:"TIME"`
	To    moment `help:"Up to here." group:"Window" placeholder:"TIME"`
	Zone  string `help:"Time zone to write in, as \"America/Chicago\"; the site's without it." group:"Window" placeholder:"ZONE"`
}

type trendCmd struct {
	source
	pick
	Burn     string        `help:"A burn with a quarter of an hour around it: last, or its number." group:"Window" placeholder:"last|N"`
	Channels []channelName `help:"Only these, as \"flue,draft\"." placeholder:"LIST"`
	Every    span          `help:"Means over so long, as 1m; every row without it." placeholder:"1m"`
	Format   string        `help:"csv, csv.gz, svg, html or parquet; by the name of --out without it, else csv." enum:"csv,csv.gz,svg,html,parquet," default:"" placeholder:"FORMAT"`
	Out      string        `help:"File to write, whole or not at all; standard output without it." type:"path" placeholder:"FILE"`
	Width    int           `help:"Of an SVG, in CSS pixels, 300 to 2000." default:"1200" placeholder:"1200"`
}

// formats are what a trend can be written as.
var formats = []string{"csv", "csv.gz", "svg", "html", "parquet"}

// format is the one asked for, or told by the file's name.
func (c *trendCmd) format() string {
	if c.Format != "" {
		return c.Format
	}
	for _, f := range slices.Backward(formats) {
		if n := len(c.Out) - len(f) - 1; n >= 0 && c.Out[n:] == "."+f {
			return f
		}
	}
	return "csv"
}

// Validate refuses what cannot be written before the history is opened.
func (c *trendCmd) Validate() error {
	if err := c.source.Validate(); err != nil {
		return err
	}
	if c.Width < panel.MinWidth || c.Width > panel.MaxWidth {
		return fmt.Errorf("--width=%d is not within %d to %d", c.Width, panel.MinWidth, panel.MaxWidth)
	}
	if c.Every != 0 && time.Duration(c.Every) < time.Second {
		return fmt.Errorf("--every=%v is less than a second", time.Duration(c.Every))
	}
	return nil
}

// Run writes the window.
func (c *trendCmd) Run(ctx context.Context, std streams) (err error) {
	a, w, zone, err := c.window(ctx, std, &c.source, c.Burn, history.FullRate)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	var wanted []frame.Channel
	for _, name := range c.Channels {
		wanted = append(wanted, frame.Channel(name))
	}
	channels, err := trend.Channels(ctx, a.Archive, w, wanted)
	if err != nil {
		return err
	}
	if only, err := a.ByMinuteOnly(ctx, w.From, w.To); err != nil {
		return err
	} else if only > 0 && time.Duration(c.Every) < time.Minute && c.format() != "svg" && c.format() != "html" {
		fmt.Fprintf(std.err, "Of %s there are sums by the minute alone: they are left out. --every 1m has all.\n", trend.Lasted(only.Seconds()))
	}
	write := func(out io.Writer) error { return c.write(ctx, out, a.Archive, w, zone, channels) }
	if c.Out == "" {
		return write(std.out)
	}
	if err := atomicfile.WriteFrom(filepath.Dir(c.Out), filepath.Base(c.Out), write); err != nil {
		return fmt.Errorf("write trend: %w", err)
	}
	fmt.Fprintf(std.err, "%s: %s to %s\n", c.Out, w.From.In(zone).Format(time.RFC3339), w.To.In(zone).Format(time.RFC3339))
	return nil
}

func (c *trendCmd) write(ctx context.Context, out io.Writer, a *history.Archive, w trend.Window, zone *time.Location, channels [frame.Count]bool) error {
	every := time.Duration(c.Every)
	switch c.format() {
	case "csv.gz":
		z := gzip.NewWriter(out)
		return errors.Join(trend.WriteLog(ctx, z, a, w, channels, every), z.Close())
	case "svg":
		site, err := trend.SiteOf(ctx, a, w, zone)
		if err != nil {
			return err
		}
		p, err := trend.Picture(ctx, a, site, w, channels, c.Width)
		if err != nil {
			return err
		}
		var drawn bytes.Buffer
		if err := p.WriteSVG(&drawn); err != nil {
			return err
		}
		_, err = drawn.WriteTo(out)
		return err
	case "parquet":
		site, err := trend.SiteOf(ctx, a, w, zone)
		if err != nil {
			return err
		}
		return trend.WriteParquet(ctx, out, a, site, w, channels, every)
	case "html":
		site, err := trend.SiteOf(ctx, a, w, zone)
		if err != nil {
			return err
		}
		return trend.WriteReport(ctx, out, a, site, w, channels, version)
	default:
		return trend.WriteLog(ctx, out, a, w, channels, every)
	}
}
