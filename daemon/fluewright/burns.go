package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"fluewright/daemon/internal/history"
	"fluewright/daemon/internal/trend"
	"fluewright/daemon/internal/units"
)

type burnsCmd struct {
	source
	pick
	Compare []string `help:"Two burns side by side: two numbers, or \"last\"." sep:"," placeholder:"A,B"`
	JSON    bool     `help:"Print JSON." name:"json"`
}

// Validate wants two burns to compare.
func (c *burnsCmd) Validate() error {
	if err := c.source.Validate(); err != nil {
		return err
	}
	if n := len(c.Compare); n != 0 && n != 2 {
		return fmt.Errorf("--compare wants two burns, as --compare=3,last, and not %d", n)
	}
	return nil
}

// Run prints the table, or the comparison.
func (c *burnsCmd) Run(ctx context.Context, std streams) (err error) {
	a, w, zone, err := c.window(ctx, std, &c.source, "", history.EventsOnly)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	site, err := trend.SiteOf(ctx, a.Archive, w, zone)
	if err != nil {
		return err
	}
	if site.Assumed != "" {
		fmt.Fprintln(std.err, site.Assumed)
	}
	u := site.Config.Site.Units
	if len(c.Compare) == 2 {
		first, err := trend.Find(ctx, a.Archive, c.Compare[0])
		if err != nil {
			return err
		}
		second, err := trend.Find(ctx, a.Archive, c.Compare[1])
		if err != nil {
			return err
		}
		both, err := trend.Compare(ctx, a.Archive, first, second)
		if err != nil {
			return err
		}
		if c.JSON {
			return printJSON(std.out, both)
		}
		return printComparison(std.out, &both, u, zone)
	}
	all, err := trend.Burns(ctx, a.Archive, w)
	if err != nil {
		return err
	}
	if c.JSON {
		if all == nil {
			all = []trend.Burn{}
		}
		return printJSON(std.out, all)
	}
	return printBurns(std.out, all, u, zone)
}

func printJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("print JSON: %w", err)
	}
	return nil
}

const clock = "2006-01-02 15:04"

func printBurns(out io.Writer, all []trend.Burn, u units.System, zone *time.Location) error {
	if len(all) == 0 {
		_, err := fmt.Fprintln(out, "no burn has ended in this window")
		return err
	}
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "NO\tSTART\tLASTED\tKIND\tLOADS\tHOTTEST FLUE\tMEAN DRAFT\tCLEAN\tSMOULDER\tWHAT STANDS OUT")
	for i := range all {
		b := &all[i]
		start := b.Start.In(zone).Format(clock)
		if !b.Sure {
			start += "?"
		}
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%d\t%s\t%s\t%s\t%s\t%s\n", b.No, start, trend.Lasted(b.End.Sub(b.Start).Seconds()), b.Kind, b.Loads,
			orNone(b.PeakFlue, u.Temperature), orNone(b.MeanDraft, u.Pressure), trend.Lasted(b.CleanBurn), trend.Lasted(b.Smoulder), b.Stands())
	}
	return t.Flush()
}

// orNone writes what was measured.
func orNone(v *float64, write func(float64) string) string {
	if v == nil {
		return "–"
	}
	return write(*v)
}

func printComparison(out io.Writer, c *trend.Comparison, u units.System, zone *time.Location) error {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "\tBURN %d\tBURN %d\tCHANGE\n", c.A.No, c.B.No)
	fmt.Fprintf(t, "start\t%s\t%s\t\n", c.A.Start.In(zone).Format(clock), c.B.Start.In(zone).Format(clock))
	fmt.Fprintf(t, "kind\t%s\t%s\t\n", c.A.Kind, c.B.Kind)
	for i := range c.Rows {
		a, b, change := c.Rows[i].Texts(u)
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", c.Rows[i].What, a, b, change)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(out, "burn %d: %s\nburn %d: %s\n", c.A.No, c.A.Stands(), c.B.No, c.B.Stands())
	for _, d := range c.Between {
		fmt.Fprintf(out, "between, %s: %s\n", d.Time.In(zone).Format(clock), d.What)
	}
	return nil
}
