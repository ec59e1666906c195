// Judge evaluates the analysis on nights whose truth is known: it says how many limits
// that were passed had been foreseen and how early, whether the cause was named, how
// fast other hazards were told and how often an alarm was for nothing. Beside it stands
// a fixed threshold, 30 K under each limit, on the same nights.
//
//	go run ./daemon/judge -nights 5            # tune: 5 nights of each kind
//	go run ./daemon/judge -nights 20 -judge    # judge: on seeds kept apart
//
// The nights come from worlds that share nothing but the words: "furnace" is the
// bench's furnace after a script, "curves" are drawn shapes, "nights" the simulator of
// sensors/bench/nights. The seeds from 1,000,000 up are for judging alone: the command
// takes them only with -judge, and then no others.
//
// Flags:
//
//	-nights N     nights of each kind (5)
//	-seed N       the first seed (1; with -judge 1,000,000 is added)
//	-judge        take the seeds for judging; the output says so
//	-world LIST   only these worlds, separated by commas
//	-kind LIST    only kinds whose name contains one of these
//	-command CMD  judge a program instead of the engine built in: CMD is run for each
//	              night, with {config} and {log} replaced by a configuration and a burn
//	              log, and writes JSON Lines as replay does
//	-v            a line for each kind, and every false alarm with its night
//	-json         JSON instead of Markdown
//	-night W/K/S  one night: what happened and what was said
//	-out FILE     with -night: write its burn log, and its configuration beside it
//
// Everything is computed from the seeds: the same command gives the same figures.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"fluewright/daemon/judge/curves"
	"fluewright/daemon/judge/night"
	"fluewright/daemon/judge/scripted"
)

// own are the worlds that live below this command.
func own() []night.World { return []night.World{scripted.World{}, curves.World{}} }

// worlds are all there are.
func worlds() []night.World { return own() }

type options struct {
	nights  int
	seed    uint64
	judge   bool
	worlds  string
	kinds   string
	command string
	verbose bool
	json    bool
	night   string
	out     string
}

func main() {
	if err := run(os.Args[1:], os.Stdout, os.Stderr); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "judge:", err)
		}
		os.Exit(2)
	}
}

func run(args []string, out, talk io.Writer) error {
	var o options
	flags := flag.NewFlagSet("judge", flag.ContinueOnError)
	flags.SetOutput(talk)
	flags.IntVar(&o.nights, "nights", 5, "nights of each kind")
	flags.Uint64Var(&o.seed, "seed", 1, "the first seed; with -judge 1,000,000 is added")
	flags.BoolVar(&o.judge, "judge", false, "take the seeds that are kept for judging")
	flags.StringVar(&o.worlds, "world", "", "only these worlds, separated by commas")
	flags.StringVar(&o.kinds, "kind", "", "only kinds whose name contains one of these, separated by commas")
	flags.StringVar(&o.command, "command", "", "judge a program: it is given {config} and {log}")
	flags.BoolVar(&o.verbose, "v", false, "a line for each kind, and every false alarm")
	flags.BoolVar(&o.json, "json", false, "JSON instead of Markdown")
	flags.StringVar(&o.night, "night", "", "one night, as world/kind/seed")
	flags.StringVar(&o.out, "out", "", "with -night: where to write its burn log")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return fmt.Errorf("%q is no flag", flags.Arg(0))
	}
	if o.night != "" {
		return o.show(out)
	}
	jobs, err := o.jobs()
	if err != nil {
		return err
	}
	results, err := o.judgeAll(jobs)
	if err != nil {
		return err
	}
	if o.json {
		return o.writeJSON(out, results)
	}
	return o.writeMarkdown(out, results)
}

// job is a night to judge.
type job struct {
	world night.World
	kind  night.Kind
	seed  uint64
}

// jobs lists the nights that the options ask for.
func (o *options) jobs() ([]job, error) {
	first := o.seed
	last := first + uint64(max(1, o.nights)) - 1
	if last >= night.FirstJudging {
		return nil, fmt.Errorf("seeds %d to %d: those from %d up are for judging: use -judge, which adds that", first, last, uint64(night.FirstJudging))
	}
	if o.judge {
		first += night.FirstJudging
		last += night.FirstJudging
	}
	var all []job
	for _, w := range worlds() {
		if !listed(o.worlds, func(name string) bool { return name == w.Name() }) {
			continue
		}
		for _, k := range w.Kinds() {
			if !listed(o.kinds, func(part string) bool { return strings.Contains(k.Name, part) }) {
				continue
			}
			for seed := first; seed <= last; seed++ {
				all = append(all, job{w, k, seed})
			}
		}
	}
	if len(all) == 0 {
		return nil, errors.New("no such nights")
	}
	return all, nil
}

// listed reports whether the list is empty or one of its items fits.
func listed(list string, fits func(string) bool) bool {
	if list == "" {
		return true
	}
	for item := range strings.SplitSeq(list, ",") {
		if fits(strings.TrimSpace(item)) {
			return true
		}
	}
	return false
}
