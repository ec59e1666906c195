package calibrate

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/analysis/gas"
	"fluewright/daemon/internal/message"
	"fluewright/sensors"
	"fluewright/sensors/calibration"
)

// Source reads the chips of the site as they are, without any correction.
type Source interface {
	// Read returns what a channel's chip says now; Absent where there is none.
	Read(frame.Channel) sensors.Reading
	// Chip returns the kind of the channel's chip and its serial number, empty if it has
	// none, and whether the channel has a chip at all.
	Chip(frame.Channel) (kind, serial string, fitted bool)
}

// Options is what a guided calibration needs.
type Options struct {
	Source Source
	Dir    string // the state directory
	In     io.Reader
	Out    io.Writer
	Clock  sensors.Clock
	Units  message.Units
	// Altitude of the site, m, for where no sensor measures the air's pressure.
	Altitude float64
	// NoFire is set where the person says that no fire burns; it serves where no flue
	// reading can.
	NoFire bool
	// ClockTrusted is whether the wall clock is synchronised.
	ClockTrusted bool
}

// ErrDeclined is returned when the person does not want to go on.
var ErrDeclined = errors.New("not stored")

// fireRise is how far the flue may be above the room, K, for no fire to burn.
const fireRise = 30

// Zero leads through the zero of the draft sensor and stores it.
func Zero(ctx context.Context, o Options) (Entry, error) {
	g := newGuide(o)
	e, err := g.entry(frame.Draft)
	if err != nil {
		return Entry{}, err
	}
	if fire := g.fire(); fire == calibration.Burning {
		return Entry{}, calibration.ErrFire
	}
	g.say("Zero of the draft sensor (%s).\n\nOnly without a fire. Take the hoses off both ports of the sensor, so that it stands\nin still air, and leave it so for a minute.", e.Chip)
	if err := g.confirm("Both ports open, no fire?"); err != nil {
		return Entry{}, err
	}
	z := calibration.NewZero()
	err = g.watch(ctx, z.Progress, func(at time.Duration) (bool, error) {
		return z.Add(calibration.Look{At: at, Reading: g.Source.Read(frame.Draft), Fire: g.fire()})
	})
	if err != nil {
		return Entry{}, err
	}
	m, much, err := z.Result()
	if err != nil {
		return Entry{}, err
	}
	e.Method, e.Gain, e.Offset, e.Uncertainty = Zeroed, 1, -m.Value, m.Uncertainty
	g.say("It reads %+.3f Pa at no pressure, ±%.3f Pa, over %d readings.", m.Value, m.Uncertainty, m.Readings)
	if much {
		g.say("WARNING: that is more than a sound sensor is off by. Look for water or dust in it; replace it\nif the zero moves again.")
	}
	return g.store(frame.Draft, e)
}

// Thermocouple leads through one or two baths and stores the correction.
func Thermocouple(ctx context.Context, o Options, c frame.Channel, ice, boil bool) (Entry, error) {
	g := newGuide(o)
	switch {
	case c.Pressure():
		return Entry{}, fmt.Errorf("%v is no temperature", c)
	case !ice && !boil:
		return Entry{}, errors.New("neither ice nor boiling water: there is nothing to hold the probe against")
	}
	e, err := g.entry(c)
	if err != nil {
		return Entry{}, err
	}
	add := func(what string, truth float64) error {
		p, m, err := g.bath(ctx, c, what, truth)
		if err == nil {
			e.Points = append(e.Points, p)
			e.Uncertainty = max(e.Uncertainty, m.Uncertainty)
		}
		return err
	}
	if ice {
		if err := add("a well stirred slush of crushed ice and water", 0); err != nil {
			return Entry{}, err
		}
	}
	if boil {
		truth, from := g.boiling()
		g.say("Water boils here at %s (%s).", o.Units.Temperature(truth), from)
		if err := add("boiling water, off the pot's bottom", truth); err != nil {
			return Entry{}, err
		}
	}
	k, err := correction(e.Points)
	if err != nil {
		return Entry{}, fmt.Errorf("correct %v: %w", c, err)
	}
	e.Method, e.Gain, e.Offset = OnePoint, k.Gain, k.Offset
	if len(e.Points) == 2 {
		e.Method = TwoPoint
	}
	g.say("At 0 °C the correction is %+.2f K, at 500 °C %+.2f K.", k.Apply(0), k.Apply(500)-500)
	return g.store(c, e)
}

func correction(p []calibration.Point) (calibration.Correction, error) {
	if len(p) == 2 {
		return calibration.TwoPoint(p[0], p[1])
	}
	return calibration.OnePoint(p[0])
}

// guide talks to a person.
type guide struct {
	Options
	in *bufio.Scanner
}

func newGuide(o Options) *guide {
	if o.Clock == nil {
		o.Clock = sensors.SystemClock{}
	}
	return &guide{Options: o, in: bufio.NewScanner(o.In)}
}

func (g *guide) say(format string, args ...any) { fmt.Fprintf(g.Out, format+"\n", args...) }

// confirm asks for a yes.
func (g *guide) confirm(question string) error {
	fmt.Fprintf(g.Out, "%s [y/N] ", question)
	if g.in.Scan() && strings.EqualFold(strings.TrimSpace(g.in.Text()), "y") {
		return nil
	}
	fmt.Fprintln(g.Out)
	return ErrDeclined
}

// entry begins an entry for the chip that is there.
func (g *guide) entry(c frame.Channel) (Entry, error) {
	kind, serial, fitted := g.Source.Chip(c)
	if !fitted {
		return Entry{}, fmt.Errorf("no sensor feeds %v", c)
	}
	return Entry{Channel: c.String(), Chip: kind, Serial: serial}, nil
}

// fire is what the flue says, or else the person: who says that there is none is not
// believed against a warm flue.
func (g *guide) fire() calibration.Fire {
	flue := g.Source.Read(frame.Flue)
	if flue.Quality < sensors.Suspect {
		if g.NoFire {
			return calibration.NoFire
		}
		return calibration.FireUnknown
	}
	room := 20.0
	if r := g.Source.Read(frame.Room); r.Quality >= sensors.Suspect {
		room = r.Value
	}
	if flue.Value-room < fireRise { // NaN is no proof that none burns
		return calibration.NoFire
	}
	return calibration.Burning
}

// watch calls add until it is done, and shows how far it is.
func (g *guide) watch(ctx context.Context, progress func() float64, add func(time.Duration) (bool, error)) error {
	const (
		every   = 500 * time.Millisecond
		tooLong = 5 * time.Minute
	)
	begin := g.Clock.Now()
	shown := 0
	for {
		at := g.Clock.Now().Sub(begin)
		done, err := add(at)
		if p := int(10 * progress()); p > shown {
			shown = p
			fmt.Fprintf(g.Out, "%d %% ", 10*p)
		}
		if done || err != nil {
			fmt.Fprintln(g.Out)
			return err
		}
		if at > tooLong {
			return errors.New("the readings do not come often enough")
		}
		if err := g.Clock.Sleep(ctx, every); err != nil {
			return err
		}
	}
}

// bath holds the probe against a known temperature.
func (g *guide) bath(ctx context.Context, c frame.Channel, what string, truth float64) (calibration.Point, calibration.Mean, error) {
	g.say("Put the %v probe into %s, and wait until it reads the same for a while.", c, what)
	if err := g.confirm("Is it in?"); err != nil {
		return calibration.Point{}, calibration.Mean{}, err
	}
	b := calibration.NewBath()
	err := g.watch(ctx, b.Progress, func(at time.Duration) (bool, error) { return b.Add(at, g.Source.Read(c)) })
	if err != nil {
		return calibration.Point{}, calibration.Mean{}, err
	}
	m, err := b.Result()
	if err != nil {
		return calibration.Point{}, calibration.Mean{}, err
	}
	g.say("It reads %.2f °C ± %.2f K; true is %.2f °C.", m.Value, m.Uncertainty, truth)
	return calibration.Point{Read: m.Value, True: truth}, m, nil
}

// boiling returns the temperature at which water boils here, °C, by the pressure of the
// air that is measured, or by that of the altitude: weather makes ±1 K of the latter.
func (g *guide) boiling() (celsius float64, from string) {
	if r := g.Source.Read(frame.Ambient); r.Quality >= sensors.Suspect {
		if t := gas.SaturationTemperature(r.Value); !math.IsNaN(t) {
			return t, fmt.Sprintf("the air has %.0f hPa", r.Value/100)
		}
	}
	return gas.SaturationTemperature(gas.StandardAtmosphere(g.Altitude).Pressure), "by the altitude; ±1 K with the weather"
}

// store asks, and keeps.
func (g *guide) store(c frame.Channel, e Entry) (Entry, error) {
	e.Time, e.ClockTrusted = g.Clock.Now().Round(0).UTC().Truncate(time.Second), g.ClockTrusted
	if r := g.Source.Read(frame.Room); r.Quality >= sensors.Suspect {
		celsius := math.Round(r.Value*10) / 10
		e.Celsius = &celsius
	}
	f, err := Load(g.Dir)
	if err != nil {
		return Entry{}, err
	}
	if old, ok := f.For(c); ok {
		g.say("It replaces the one of %s (offset %+.3f).", old.Time.Format("2 Jan 2006"), old.Offset)
	}
	if err := g.confirm("Store it?"); err != nil {
		return Entry{}, err
	}
	f.Put(e)
	if err := f.Save(g.Dir); err != nil {
		return Entry{}, err
	}
	g.say("Stored. The daemon uses it from its next start on. Put the sensor back as it was.")
	return e, nil
}
