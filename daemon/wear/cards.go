//go:build linux

package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"fluewright/analysis/frame"
)

// usage is what a program has cost up to now.
type usage struct {
	bytes, flushes int64
	cpu            time.Duration
	resident       int64 // bytes
}

// runner is a program at work on a card.
type runner struct {
	program
	card *card
	cmd  *exec.Cmd
	done chan struct{}
	said bytes.Buffer // on its standard error
	from usage
	note string // why there is no figure
}

// cards lets all programs work at the same time, each on a card of its own, and prints what
// reached the cards.
func cards(ctx context.Context, o options, out, talk io.Writer) (err error) {
	home, err := os.MkdirTemp("", "fluewright-wear-*")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(home)) }()
	if err := inMemory(home); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, leave(home)) }()
	ctx, stop := context.WithCancel(ctx)
	var all []*runner
	defer func() {
		stop()
		for _, r := range all {
			err = errors.Join(err, r.end())
		}
	}()
	rows := full(course(8 * 3600))
	for i, p := range programs() {
		r := &runner{program: p}
		all = append(all, r)
		if name := p.missing(); name != "" {
			r.note = name + " is not installed"
		} else if err := r.start(ctx, filepath.Join(home, strconv.Itoa(i)), rows); err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
	}
	fmt.Fprintf(talk, "%d programs run for %v, the first %v of it to warm up\n", len(all), o.warm+o.length, o.warm)
	if err := wait(ctx, o.warm); err != nil {
		return err
	}
	for _, r := range all {
		r.from = r.usage()
	}
	begun := time.Now()
	if err := wait(ctx, o.length); err != nil {
		return err
	}
	took := time.Since(begun)
	fmt.Fprintf(out, "%d samples a second for %v, on an ext4 of its own each:\n\n", series, took.Round(time.Second))
	fmt.Fprintln(out, "| | MB a day on the card | flushes a day | CPU s a million samples | resident MB |")
	fmt.Fprintln(out, "|---|---|---|---|---|")
	for _, r := range all {
		r.print(out, took)
	}
	fmt.Fprintln(out)
	return nil
}

func wait(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}

func (r *runner) start(ctx context.Context, home string, rows []frame.Values) (err error) {
	if r.card, err = newCard(ctx, filepath.Join(home, "card")); err != nil {
		return err
	}
	if r.cmd, err = r.command(ctx, home, r.card.dir, rows); err != nil {
		return err
	}
	r.cmd.Stderr = &r.said
	r.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	r.cmd.Cancel = func() error { return r.cmd.Process.Signal(syscall.SIGTERM) }
	r.cmd.WaitDelay = 20 * time.Second
	r.done = make(chan struct{})
	if err := r.cmd.Start(); err != nil {
		return err
	}
	go func() {
		defer close(r.done)
		if err := r.cmd.Wait(); err != nil && ctx.Err() == nil {
			fmt.Fprintf(os.Stderr, "%s: %v\n%s", r.name, err, &r.said)
		}
	}()
	return nil
}

// end waits for the program and unmounts its card.
func (r *runner) end() error {
	if r.done != nil {
		<-r.done
	}
	if r.card == nil {
		return nil
	}
	return leave(r.card.dir)
}

// usage asks the system. What cannot be had is the runner's note.
func (r *runner) usage() (u usage) {
	if r.note != "" {
		return usage{}
	}
	var err error
	if u.bytes, u.flushes, err = r.card.written(); err == nil {
		u.cpu, u.resident, err = process(r.cmd.Process.Pid)
	}
	if err != nil {
		r.note = err.Error()
	}
	return u
}

// process reads the processor time that a process has taken and the memory that it holds:
// proc(5), with the clock tick that every Linux has.
func process(pid int) (cpu time.Duration, resident int64, err error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0, 0, err
	}
	_, behind, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(behind)
	if len(fields) < 22 || fields[0] == "Z" {
		return 0, 0, fmt.Errorf("process %d has ended", pid)
	}
	user, err := strconv.ParseInt(fields[11], 10, 64)
	if err != nil {
		return 0, 0, err
	}
	system, err := strconv.ParseInt(fields[12], 10, 64)
	if err != nil {
		return 0, 0, err
	}
	pages, err := strconv.ParseInt(fields[21], 10, 64)
	return time.Duration(user+system) * time.Second / 100, pages * int64(os.Getpagesize()), err
}

func (r *runner) print(out io.Writer, took time.Duration) {
	now := r.usage()
	if r.note != "" {
		fmt.Fprintf(out, "| %s | not measured: %s | | | |\n", r.name, r.note)
		return
	}
	days := took.Hours() / 24
	samples := took.Seconds() * series / 1e6
	fmt.Fprintf(out, "| %s | %.1f | %.0f | %.1f | %.1f |\n", r.name, float64(now.bytes-r.from.bytes)/1e6/days,
		float64(now.flushes-r.from.flushes)/days, (now.cpu-r.from.cpu).Seconds()/samples, float64(now.resident)/1e6)
}
