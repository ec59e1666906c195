// Command fluewright watches a wood-fired warm-air furnace and its chimney. It observes
// and advises; it actuates nothing.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"syscall"

	"github.com/alecthomas/kong"

	"fluewright/daemon/internal/config"
)

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2 // of the command line, or a mistake in the configuration
	exitWrong  = 3 // something is wrong with the installation
	exitNewer  = 4 // what is kept is of a newer program, and is not touched; of health alone
)

// errWrong says that a command found something wrong with the installation and has
// already told what.
var errWrong = errors.New("something is wrong with the installation")

// errNewer likewise says that what is kept is of a newer program.
var errNewer = errors.New("what is kept is of a newer program")

const description = `Watches a wood-fired warm-air furnace: draft, temperatures, alarms.

It observes and advises. It actuates nothing and replaces no limit control, no
carbon-monoxide alarm, no code and no licensed person.`

type cli struct {
	Run        runCmd        `cmd:"" help:"Watch the furnace: read the sensors, judge, publish."`
	Demo       demoCmd       `cmd:"" help:"Show it all on a virtual furnace: no hardware, no network, no root."`
	Check      checkCmd      `cmd:"" help:"Check the configuration and that its buses are there."`
	Probe      probeCmd      `cmd:"" help:"Say which chips are wired, what each reads, and what is missing."`
	Zero       zeroCmd       `cmd:"" help:"Zero the draft sensor, both ports open: guided, in the terminal."`
	Calibrate  calibrateCmd  `cmd:"" help:"Correct a thermocouple in melting ice, boiling water or both: guided."`
	Draft      draftCmd      `cmd:"" help:"Calculate what a chimney gives, cold and hot."`
	Commission commissionCmd `cmd:"" help:"Lead the installer from an unknown chimney to a report."`
	Replay     replayCmd     `cmd:"" help:"Judge a burn log and print what is found as JSON Lines."`
	Trend      trendCmd      `cmd:"" help:"Write a window of a history: burn log, picture, report, Parquet."`
	Burns      burnsCmd      `cmd:"" help:"List the burns of a history, or compare two."`
	Bundle     bundleCmd     `cmd:"" help:"Make one small file of a window of a history, for mail."`
	Sites      sitesCmd      `cmd:"" help:"Say who is there at a broker, and which alarms stand."`
	Notify     notifyCmd     `cmd:"" help:"Try whether messages reach people, and their answers us."`
	Health     healthCmd     `cmd:"" help:"Ask the running monitor how it does its work, for update tools too: exit code 0 if it does."`
	Access     accessCmd     `cmd:"" help:"Say who may sign in to the pages; make tokens for programs."`
	Enrol      enrolCmd      `cmd:"" help:"Ask for the certificate by which a broker knows this site, and install it."`
	Version    versionCmd    `cmd:"" help:"Print the version."`
}

// streams are where a command reads and writes: data on out, talk on err.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

func main() {
	runtime.MemProfileRate = 0 // nobody can ask for the profile, and its table is large
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// After the first signal a second one kills at once.
	context.AfterFunc(ctx, stop)
	os.Exit(run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr}))
}

// run carries out one command line and returns the exit code.
func run(ctx context.Context, args []string, std streams) int {
	var commands cli
	exited := -1
	parser, err := kong.New(&commands,
		kong.Name("fluewright"),
		kong.Description(description),
		kong.Writers(std.out, std.err),
		kong.Exit(func(code int) { exited = code }),
		kong.WithHyphenPrefixedParameters(true), // "-10 degC" is a temperature
		kong.ShortUsageOnError(),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(std),
	)
	if err != nil {
		fmt.Fprintln(std.err, "fluewright:", err)
		return exitFailed
	}
	chosen, err := parser.Parse(args)
	if exited >= 0 { // --help
		return exited
	}
	if err != nil {
		fmt.Fprintf(std.err, "fluewright: %v\nTry \"fluewright --help\".\n", err)
		return exitUsage
	}
	return exitCode(chosen.Run(), std.err)
}

// exitCode tells an error and chooses the code for it.
func exitCode(err error, out io.Writer) int {
	var mistakes config.Errors
	var told toldError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errWrong):
		return exitWrong
	case errors.Is(err, errNewer):
		return exitNewer
	case errors.As(err, &told):
		return int(told)
	case errors.As(err, &mistakes):
		fmt.Fprintln(out, err)
		return exitUsage
	default:
		fmt.Fprintln(out, "fluewright:", err)
		return exitFailed
	}
}
