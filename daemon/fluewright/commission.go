package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/installer"
	"fluewright/daemon/internal/commission"
	"fluewright/daemon/internal/units"
)

type commissionCmd struct {
	Demo   string       `help:"Show it on a virtual house, in time-lapse: tall, short, altitude or blocked." enum:"tall,short,altitude,blocked," default:"" placeholder:"HOUSE"`
	Seed   uint64       `help:"Seed of the virtual house's wind and noise." default:"1" placeholder:"N"`
	Units  units.System `help:"us or si; of the demonstration." default:"us" placeholder:"us"`
	Report string       `help:"Write the report as a page for a browser and its printer." type:"path" placeholder:"FILE.html"`
	JSON   string       `help:"Write the report's record." name:"json" type:"path" placeholder:"FILE.json"`
}

// Run commissions a virtual house.
func (c *commissionCmd) Run(ctx context.Context, std streams) error {
	if c.Demo == "" {
		return errors.New("give --demo HOUSE")
	}
	return c.demo(ctx, std)
}

// demo lets a virtual installer go through it, and tells what happens.
func (c *commissionCmd) demo(ctx context.Context, std streams) error {
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
	return c.finish(std, r)
}

// finish writes what was asked for, tells the verdict, and chooses the exit code.
func (c *commissionCmd) finish(std streams, r commission.Record) error {
	for _, file := range []struct {
		path  string
		write func(io.Writer) error
	}{
		{c.Report, func(w io.Writer) error { return r.WriteHTML(w, time.Local) }},
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
			fmt.Fprintf(t.out, "%s    %s%s\n", stamp, sign(l.Grade), l.Text)
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

func sign(g commissioning.Grade) string {
	switch {
	case g == commissioning.Stop:
		return "STOP: "
	case g == commissioning.Bad:
		return "FAIL: "
	case g == commissioning.Caution:
		return "CAUTION: "
	}
	return ""
}
