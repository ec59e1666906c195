// Package probe says what is wired to the computer and whether it is well, to whoever
// commissions or repairs an installation: which buses there are, which chips are on them,
// what each reads, how noisy that is, and what is missing, down to the overlay, the
// module, the group or the wire.
//
// Without a configuration it looks at everything (see package survey for why that is
// harmless); with one it starts each configured chip as a run would, and looks at what
// else there is. A bus that a running daemon has is left to it: the daemon's own view is
// fetched from its page.
package probe

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/units"
	"fluewright/sensors/survey"
	"fluewright/sensors/traffic"
)

// Options is what to look at and how to tell it.
type Options struct {
	// Config is what should be there; nil: nothing is known.
	Config *config.Config
	// Driver makes a configured chip's driver: sets I2C or SPI of the Known.
	Driver func(config.Sensor, *survey.Known)
	// Survey overrides where to look; its Known is filled in here.
	Survey survey.Options
	JSON   bool
	// Record is a file for the bus traffic; empty: none.
	Record string
}

// Run looks, and writes what it found to out. The error is of the looking or the writing;
// what is wrong with the installation is in the report.
func Run(ctx context.Context, o Options, out io.Writer) (Report, error) {
	s := o.Survey
	system := config.Default().Site.Units
	if o.Config != nil {
		system = o.Config.Site.Units
		s.Known = known(o)
	}
	buses, err := look(ctx, s, o.Record)
	if err != nil {
		return Report{}, err
	}
	var daemon *view
	if o.Config != nil && held(buses) {
		daemon = ask(ctx, o.Config.Web.Listen)
	}
	r := report(o.Config, buses, daemon)
	if err := write(out, r, o.JSON, system); err != nil {
		return r, fmt.Errorf("print report: %w", err)
	}
	return r, nil
}

func write(out io.Writer, r Report, asJSON bool, system units.System) error {
	if asJSON {
		return json.NewEncoder(out).Encode(r)
	}
	return r.print(out, system)
}

// known is what the configuration names.
func known(o Options) []survey.Known {
	var all []survey.Known
	for _, s := range o.Config.Sensors {
		k := survey.Known{Name: s.Name, Bus: s.Bus, Address: s.Address, Mux: survey.Mux(s.Mux), Chip: s.Chip}
		o.Driver(s, &k)
		all = append(all, k)
	}
	return all
}

// look runs the survey, and records what goes over the buses if that is asked for.
func look(ctx context.Context, s survey.Options, record string) (buses []survey.Bus, err error) {
	if record == "" {
		return survey.Run(ctx, s)
	}
	file, err := os.Create(record)
	if err != nil {
		return nil, fmt.Errorf("create record: %w", err)
	}
	s = s.WithDefaults()
	to := bufio.NewWriter(file)
	recorder := traffic.NewRecorder(to, s.Open, s.Clock)
	s.Open = recorder.Opener()
	buses, err = survey.Run(ctx, s)
	return buses, errors.Join(err, recorder.Err(), to.Flush(), file.Close())
}
