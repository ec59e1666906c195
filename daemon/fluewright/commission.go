package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/installer"
	"fluewright/daemon/internal/app"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/units"
	"fluewright/sensors"
)

type commissionCmd struct {
	Demo   string       `help:"Show it on a virtual house, in time-lapse: tall, short, altitude or blocked." enum:"tall,short,altitude,blocked," default:"" placeholder:"HOUSE"`
	Seed   uint64       `help:"Seed of the virtual house's wind and noise." default:"1" placeholder:"N"`
	Units  units.System `help:"us or si; of the demonstration." default:"us" placeholder:"us"`
	Config string       `help:"Configuration file." type:"path" default:"/etc/fluewright/fluewright.toml" placeholder:"FILE"`
	State  string       `help:"Directory that keeps it over an interruption: the daemon's." type:"path" env:"STATE_DIRECTORY" default:"/var/lib/fluewright" placeholder:"DIR"`
	Season bool         `help:"The short form for the first fire of a season, compared with the commissioning."`
	From   string       `help:"Read a report's record, check its hash, and write it again as --report or --json say." type:"existingfile" placeholder:"FILE.json"`
	Report string       `help:"Write the report as a page for a browser and its printer." type:"path" placeholder:"FILE.html"`
	JSON   string       `help:"Write the report's record." name:"json" type:"path" placeholder:"FILE.json"`
}

// Run commissions the site, or a virtual house, or shows a record.
func (c *commissionCmd) Run(ctx context.Context, std streams) error {
	switch {
	case c.From != "":
		return c.again(std)
	case c.Demo != "":
		return c.demo(std)
	}
	return c.live(ctx, std)
}

// again writes the report of a record.
func (c *commissionCmd) again(std streams) error {
	data, err := os.ReadFile(c.From)
	if err != nil {
		return fmt.Errorf("read record: %w", err)
	}
	r, err := commission.ParseRecord(data)
	if err != nil {
		return err
	}
	return c.finish(std, r, time.Local)
}

// live watches the furnace as "run" does, alarms and page and all, and talks meanwhile. It
// needs the daemon's state directory for itself: the daemon is stopped first.
func (c *commissionCmd) live(ctx context.Context, std streams) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(c.Config)
	if err != nil {
		return fmt.Errorf("read configuration: %w", err)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	// What is worth a warning, alarms too, breaks into the conversation; nothing else does.
	log := slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	var record commission.Record
	var left bool
	talk := func(ctx context.Context, desk *commission.Desk) error {
		defer stop()
		conversation := &commission.Talk{
			Procedure: desk, In: std.in, Out: std.out, Units: cfg.Site.Units, Season: c.Season,
			Wait: func(ctx context.Context) error { return sensors.SystemClock{}.Sleep(ctx, time.Second) },
		}
		var err error
		record, left, err = conversation.Run(ctx)
		if ctx.Err() != nil {
			return nil
		}
		return err
	}
	err = app.Run(ctx, cfg, app.Options{
		Version: version, State: c.State, Configuration: string(text), Log: log, Commission: talk,
	})
	switch {
	case err != nil:
		return err
	case left || record.Number == "":
		fmt.Fprintln(std.out, "\nIt goes on where it was left: \"fluewright commission\" again, or the daemon's page.")
		return nil
	}
	return c.finish(std, record, cfg.Site.Zone())
}

// demo lets a virtual installer go through it, and tells what happens.
func (c *commissionCmd) demo(std streams) error {
	p, err := installer.Build(c.Demo, c.Seed)
	if err != nil {
		return err
	}
	fmt.Fprintf(std.out, "A virtual installer at a virtual house, in time-lapse. Nothing here is measured.\n\n%s\n", commission.First)
	told := teller{out: std.out, units: c.Units}
	p.Tell = told.tell
	if err := p.Play(); err != nil {
		return fmt.Errorf("commission a virtual house: %w", err)
	}
	told.tell(p.House.Now(), p.State)
	r, err := commission.NewRecord(p.State, commission.About{
		Site: "demo-" + c.Demo, Made: time.Now(), Software: version, Units: c.Units, Demo: true,
		Instruments: []commission.Instrument{{Channels: "all", Chip: "virtual"}},
	}, nil)
	if err != nil {
		return err
	}
	return c.finish(std, r, time.Local)
}

// finish writes what was asked for, tells the verdict, and chooses the exit code.
func (c *commissionCmd) finish(std streams, r commission.Record, zone *time.Location) error {
	for _, file := range []struct {
		path  string
		write func(io.Writer) error
	}{
		{c.Report, func(w io.Writer) error { return r.WriteHTML(w, zone) }},
		{c.JSON, r.WriteJSON},
	} {
		if file.path == "" {
			continue
		}
		if err := writeTo(file.path, file.write); err != nil {
			return fmt.Errorf("write report: %w", err)
		}
	}
	fmt.Fprintf(std.out, "\nResult: %s. Report %s.\n", r.Verdict, r.Number)
	if r.Verdict == commission.Stopped || r.Verdict == commission.Fail {
		return errWrong
	}
	return nil
}

func writeTo(path string, write func(io.Writer) error) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return write(file)
}

// teller prints what is asked and what came of it, each once.
type teller struct {
	out   io.Writer
	units units.System
	task  string
	told  [commissioning.Steps]int
	step  commissioning.Step
	begun bool
}

func (t *teller) tell(at time.Duration, s *commissioning.State) {
	v := commission.Look(s, t.units)
	stamp := fmt.Sprintf("%2d:%02d", int(at.Hours()), int(at.Minutes())%60)
	for i, step := range v.Steps {
		for _, l := range step.Lines[min(t.told[i], len(step.Lines)):] {
			fmt.Fprintf(t.out, "%s    %s%s\n", stamp, commission.Sign(l.Grade), l.Text)
			if l.Advice != "" && l.Grade >= commissioning.Caution {
				fmt.Fprintf(t.out, "         %s\n", l.Advice)
			}
		}
		t.told[i] = len(step.Lines)
	}
	if !t.begun || s.Now != t.step {
		if t.begun {
			fmt.Fprintf(t.out, "%s  %s: %s\n", stamp, v.Steps[t.step].Title, v.Steps[t.step].Outcome)
		}
		fmt.Fprintf(t.out, "\n%s  %s. %s\n", stamp, v.Title, v.Why)
		t.step, t.begun = s.Now, true
	}
	if now := fmt.Sprint(s.Task, s.Channel, s.Wanted); now != t.task && !s.Running && s.Task != commissioning.Done {
		fmt.Fprintf(t.out, "%s  > %s\n", stamp, v.Do)
		t.task = now
	}
}
