//go:build linux

// Wear measures what keeping a history costs: what reaches a card in a day, the bytes and the
// processor time that a sample takes, and how long the trend takes to be drawn. Beside the
// history run the peers that Debian has, at the same load at the same time: Prometheus, and
// collectd with rrdtool as it comes and with its cache.
//
//	go run ./daemon/wear                       # the whole table: 25 minutes, as root
//	go run ./daemon/wear -for 0 -days 7        # sizes and times only, needs no root
//	go run ./daemon/wear -for 5m -days 0       # the card only
//
// The load is twelve samples a second of the simulated furnaces of sensors/bench/nights. The
// peers take them as twelve series once a second. A site has nine channels, so the history
// takes nine each 0.75 s.
//
// The card is a private ext4 (noatime, commit=5) for each program on a loop device in memory.
// Counted are the sectors written to that device, the journal's included, in real time and
// after a warm-up; what a card's own electronics write besides is not seen. What a program
// does more seldom than a run lasts is not in it: Prometheus makes a block of its log each two
// hours.
//
// The mounts, that of the memory which holds the images among them, are in a name space of
// their own: they vanish with the last process, however that ends. After a kill an empty
// directory stays.
//
// Flags:
//
//	-for D      for how long the card is watched, in a steady state (20m); 0 leaves it out
//	-warm D     how long before that is not counted (2m)
//	-days N     length of the season whose size and trends are measured (200); 0 leaves it out
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"
)

func init() {
	// The first thread starts everything: what it starts ends with it.
	runtime.LockOSThread()
}

type options struct {
	length, warm time.Duration
	days         int
	dir, phase   string // of a process that only feeds a history
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout, os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, "wear:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, out, talk io.Writer) error {
	var o options
	flags := flag.NewFlagSet("wear", flag.ContinueOnError)
	flags.SetOutput(talk)
	flags.DurationVar(&o.length, "for", 20*time.Minute, "for how long the card is watched; 0: not at all")
	flags.DurationVar(&o.warm, "warm", 2*time.Minute, "how long before that is not counted")
	flags.IntVar(&o.days, "days", 200, "length of the season; 0: none")
	flags.StringVar(&o.dir, "feed", "", "only feed a history in this directory, in real time")
	flags.StringVar(&o.phase, "phase", "burning", "with -feed: burning or cold")
	if err := flags.Parse(args); err != nil {
		return err
	}
	switch {
	case flags.NArg() > 0 || o.length < 0 || o.warm < 0 || o.days < 0:
		return fmt.Errorf("cannot measure %v for %v after %v over %d days", flags.Args(), o.length, o.warm, o.days)
	case o.dir != "":
		return feed(ctx, o.dir, o.phase == "burning")
	}
	if o.length > 0 {
		if os.Geteuid() != 0 {
			return fmt.Errorf("watch a card: only root may mount; -for 0 leaves it out")
		}
		if err := enterOwnMounts(); err != nil {
			return err
		}
		if err := cards(ctx, o, out, talk); err != nil {
			return fmt.Errorf("watch the cards: %w", err)
		}
	}
	if o.days > 0 {
		if err := season(ctx, o.days, out, talk); err != nil {
			return fmt.Errorf("measure a season: %w", err)
		}
	}
	return nil
}
