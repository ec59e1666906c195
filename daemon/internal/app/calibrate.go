package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"golang.org/x/sync/errgroup"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/calibrate"
	"fluewright/daemon/internal/config"
	"fluewright/daemon/internal/statedir"
	"fluewright/sensors"
	"fluewright/sensors/path"
	"fluewright/sensors/scan"
)

// CalibrateOptions is what a guided calibration needs beside the configuration.
type CalibrateOptions struct {
	// State is the directory that the result is kept in: the daemon's.
	State string
	In    io.Reader
	Out   io.Writer
	Clock sensors.Clock // nil: the computer's
	// NoFire says, for a site whose flue cannot be read, that somebody has looked.
	NoFire bool
}

// Zero leads a person through the zero of the draft sensor. It is refused while the daemon
// runs: two programs that talk to one chip confuse it.
func Zero(ctx context.Context, cfg *config.Config, o CalibrateOptions) error {
	return calibrating(ctx, cfg, o, frame.Draft, func(ctx context.Context, c calibrate.Options) error {
		_, err := calibrate.Zero(ctx, c)
		return err
	})
}

// Calibrate leads a person through holding the channel's thermocouple into melting ice,
// boiling water or both. It is refused while the daemon runs.
func Calibrate(ctx context.Context, cfg *config.Config, channel frame.Channel, ice, boil bool, o CalibrateOptions) error {
	return calibrating(ctx, cfg, o, channel, func(ctx context.Context, c calibrate.Options) error {
		_, err := calibrate.Thermocouple(ctx, c, channel, ice, boil)
		return err
	})
}

// calibrating reads the chips as the daemon does while do is at work.
func calibrating(ctx context.Context, cfg *config.Config, o CalibrateOptions, channel frame.Channel, do func(context.Context, calibrate.Options) error) error {
	if o.Clock == nil {
		o.Clock = sensors.SystemClock{}
	}
	release, err := lockState(o.State)
	if err != nil {
		return err
	}
	defer release()
	place, err := statedir.Find(o.State)
	if err != nil {
		return err
	}
	b := scan.NewBoard()
	// Nothing is to be in the way: a probe in ice is as cold as one with swapped wires.
	scans, err := buses(cfg, b, o.Clock, func(chip, config.Sensor) path.Opts { return path.Opts{} })
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	group, running := errgroup.WithContext(ctx)
	for _, s := range scans {
		group.Go(func() error { return s.Run(running) })
	}
	source := &rawSource{cfg: cfg, board: b, clock: o.Clock}
	err = source.settle(running, channel)
	if err == nil {
		err = do(running, calibrate.Options{
			Source: source, Dir: place.Dir, In: o.In, Out: o.Out, Clock: o.Clock, Units: cfg.Site.Units,
			Altitude: cfg.Site.Altitude, NoFire: o.NoFire, ClockTrusted: (&clockTrust{}).at(time.Now()),
		})
	}
	stop()
	return errors.Join(err, group.Wait())
}

// rawSource is the board without any correction.
type rawSource struct {
	cfg   *config.Config
	board *scan.Board
	clock sensors.Clock
}

func (r *rawSource) Read(c frame.Channel) sensors.Reading {
	s, ok := r.sensor(c)
	if !ok {
		return sensors.Reading{}
	}
	return r.board.Reading(s.Name, chips[s.Chip].quantity(c), r.clock.Now())
}

func (r *rawSource) Chip(c frame.Channel) (kind, serial string, fitted bool) {
	s, ok := r.sensor(c)
	return s.Chip, r.board.Serial(s.Name), ok
}

func (r *rawSource) sensor(c frame.Channel) (config.Sensor, bool) {
	for _, s := range r.cfg.Sensors {
		for _, fed := range s.Channels {
			if fed == c {
				return s, true
			}
		}
	}
	return config.Sensor{}, false
}

// settle waits for the first reading of the channel, as long as a chip takes to start, and
// as long again for those that say whether a fire burns.
func (r *rawSource) settle(ctx context.Context, c frame.Channel) error {
	const patience = 5 * time.Second
	if _, ok := r.sensor(c); !ok {
		return fmt.Errorf("no sensor feeds %v", c)
	}
	wait := func(c frame.Channel) (sensors.Reading, error) {
		end := r.clock.Now().Add(patience)
		for {
			in := r.Read(c)
			if in.Quality >= sensors.Suspect || !r.clock.Now().Before(end) {
				return in, nil
			}
			if err := r.clock.Sleep(ctx, r.cfg.Sampling.Period/2); err != nil {
				return in, err
			}
		}
	}
	in, err := wait(c)
	switch {
	case err != nil:
		return err
	case in.Fault != nil:
		return fmt.Errorf("read %v: %w\n%s", c, in.Fault, in.Fault.Hint())
	case in.Quality < sensors.Suspect:
		return fmt.Errorf("read %v: the reading is %s", c, in.Quality)
	}
	for _, other := range []frame.Channel{frame.Flue, frame.Room} {
		if _, ok := r.sensor(other); ok {
			if _, err := wait(other); err != nil {
				return err
			}
		}
	}
	return nil
}
