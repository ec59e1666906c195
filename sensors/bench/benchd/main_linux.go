//go:build amd64 || arm64 || riscv64

// Benchd shows a bench as device files, or with --cuse as character devices, and takes
// control lines on standard input.
//
// It answers "ready" once the files are there, then one line for each control line (see
// Do in package bench; errors begin with "error: "). It ends at the end of its input,
// at SIGINT or SIGTERM. It needs root, and /dev/fuse or /dev/cuse.
package main

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"

	"fluewright/sensors/bench"
	"fluewright/sensors/bench/devfs"
)

func main() {
	if err := run(os.Args[1:], os.Stdin, os.Stdout); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return
		}
		fmt.Fprintln(os.Stderr, "benchd:", err)
		os.Exit(1)
	}
}

func run(args []string, in io.Reader, out io.Writer) (err error) {
	flags := flag.NewFlagSet("benchd", flag.ContinueOnError)
	dir := flags.String("dir", "", "existing directory to show the device files in")
	dev := flags.Bool("dev", false, "link /dev/i2c-1, /dev/spidev0.0 and so on to them while running")
	cuse := flags.Bool("cuse", false, "make /dev/i2c-1, /dev/spidev0.0 and so on character devices, in place of a directory's files")
	offset := flags.Int("dev-offset", 0, "add to the bus numbers of these links, beside real devices")
	speed := flags.Float64("speed", 1, "seconds of the bench's time for each second")
	seed := flags.Uint64("seed", 1, "of gusts, rumble and the chips' noise")
	every := flags.Bool("every", false, "add chips until there is one of each kind")
	scenario := flags.String("scenario", "", `file of "H:MM:SS control line", or "night"`)
	if err := flags.Parse(args); err != nil {
		return err
	}
	if (*dir == "") != *cuse || *cuse && *dev || flags.NArg() > 0 || !(*speed > 0) {
		return errors.New("usage: benchd --cuse | --dir DIRECTORY [--dev [--dev-offset N]] [--speed X] [--seed N] [--every] [--scenario FILE|night]")
	}
	play, err := loadScenario(*scenario)
	if err != nil {
		return err
	}
	b, err := bench.New(bench.Config{Clock: bench.NewClock(*speed), Seed: *seed, Every: *every, Scenario: play})
	if err != nil {
		return err
	}

	// From here a signal ends the loop, so that the mount is taken down.
	stop := make(chan os.Signal, 1)
	signal.Notify(stop, os.Interrupt, syscall.SIGTERM)
	if *cuse {
		shown, err := devfs.Show(b)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, shown.Close()) }()
		return serve(b, in, out, stop)
	}
	mounted, err := devfs.Mount(*dir, b)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, mounted.Close()) }()
	if *dev {
		unlink, err := link("/dev", *dir, *offset, b)
		defer unlink()
		if err != nil {
			return err
		}
	}
	return serve(b, in, out, stop)
}

// loadScenario reads the file, or takes the demo's night.
func loadScenario(name string) (bench.Scenario, error) {
	switch name {
	case "":
		return bench.Scenario{}, nil
	case "night":
		return bench.Night(), nil
	}
	f, err := os.Open(name)
	if err != nil {
		return bench.Scenario{}, fmt.Errorf("open scenario: %w", err)
	}
	defer f.Close()
	s, err := bench.ParseScenario(f)
	if err != nil {
		return bench.Scenario{}, fmt.Errorf("%s: %w", name, err)
	}
	return s, nil
}

// link makes symbolic links in dev, with offset added to the bus numbers, and returns
// what removes those it made.
func link(dev, dir string, offset int, b *bench.Bench) (unlink func(), err error) {
	var made []string
	unlink = func() {
		for _, l := range made {
			os.Remove(l)
		}
	}
	dir, err = filepath.Abs(dir)
	if err != nil {
		return unlink, fmt.Errorf("find directory: %w", err)
	}
	links := map[string]string{}
	buses, selects := b.Devices()
	for name := range buses {
		var bus int
		if _, err := fmt.Sscanf(name, "i2c-%d", &bus); err != nil {
			return unlink, fmt.Errorf("number %s: %w", name, err)
		}
		links[fmt.Sprintf("i2c-%d", bus+offset)] = name
	}
	for name := range selects {
		var bus, cs int
		if _, err := fmt.Sscanf(name, "spidev%d.%d", &bus, &cs); err != nil {
			return unlink, fmt.Errorf("number %s: %w", name, err)
		}
		links[fmt.Sprintf("spidev%d.%d", bus+offset, cs)] = name
	}
	// Never over something that is there: it may be a real device.
	for l, name := range links {
		l = filepath.Join(dev, l)
		if err := os.Symlink(filepath.Join(dir, name), l); err != nil {
			return unlink, fmt.Errorf("link device file: %w", err)
		}
		made = append(made, l)
	}
	return unlink, nil
}

// serve answers control lines until they end or a signal comes.
func serve(b *bench.Bench, in io.Reader, out io.Writer, stop <-chan os.Signal) error {
	// Reading cannot be interrupted, so it has a goroutine of its own, which ends with
	// the process.
	lines := make(chan string)
	ended := make(chan error, 1)
	go func() {
		s := bufio.NewScanner(in)
		for s.Scan() {
			lines <- s.Text()
		}
		ended <- s.Err()
	}()
	fmt.Fprintln(out, "ready")
	for {
		select {
		case <-stop:
			return nil
		case err := <-ended:
			return err
		case line := <-lines:
			reply, err := b.Do(line)
			if err != nil {
				reply = "error: " + err.Error()
			}
			fmt.Fprintln(out, reply)
		}
	}
}
