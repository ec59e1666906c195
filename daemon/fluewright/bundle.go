package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"fluewright/daemon/internal/atomicfile"
	"fluewright/daemon/internal/history"
)

type bundleCmd struct {
	source
	pick
	Burn string `help:"A burn with a quarter of an hour around it: last, or its number." group:"Window" placeholder:"last|N"`
	Out  string `help:"File to write, whole or not at all." type:"path" required:"" placeholder:"FILE.zip"`
	Most int    `help:"Most megabytes: the oldest rows at full rate are left out until it fits; 0 for no bound." default:"18" placeholder:"18"`
}

// Validate refuses what cannot be.
func (c *bundleCmd) Validate() error {
	if err := c.source.Validate(); err != nil {
		return err
	}
	if c.Most < 0 {
		return fmt.Errorf("--most=%d is negative", c.Most)
	}
	return nil
}

// Run makes the bundle.
func (c *bundleCmd) Run(ctx context.Context, std streams) (err error) {
	a, w, zone, err := c.window(ctx, std, &c.source, c.Burn, history.FullRate)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	var made history.Bundled
	err = atomicfile.WriteFrom(filepath.Dir(c.Out), filepath.Base(c.Out), func(out io.Writer) (err error) {
		made, err = a.Bundle(ctx, out, w.From, w.To, history.FullRate, int64(c.Most)*1_000_000)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(std.err, "%s: %s to %s, %.1f MB\n", c.Out, w.From.In(zone).Format(time.RFC3339), w.To.In(zone).Format(time.RFC3339), float64(made.Bytes)/1e6)
	if made.FullFrom.After(made.From) {
		fmt.Fprintf(std.err, "It is at full rate from %s on and around alarms; before that by the minute. Choose a shorter window or more --most for all of it.\n",
			made.FullFrom.In(zone).Format(time.RFC3339))
	}
	return nil
}
