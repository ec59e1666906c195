package scan

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"fluewright/sensors"
	"fluewright/sensors/bus"
	"fluewright/sensors/path"
)

// Slot is a chip's place in a loop.
type Slot struct {
	Name string // under which the board keeps it
	// Open makes the chip's driver and, where it has one of its own, opens its port: see
	// [WithPort]. It is called again whenever the chip could not be started.
	Open func(ctx context.Context) (sensors.Sensor, error)
	// StaleAfter is the age that ends a sample's use; zero means five periods. A driver
	// that fetches the conversion it asked for a period ago needs three at least.
	StaleAfter time.Duration
	// Path is what its samples go through on their way to the board; its Burst is the
	// loop's.
	Path path.Opts
}

// Config is what a loop polls.
type Config struct {
	Name   string // of the bus, for messages
	Period time.Duration
	// Burst is how many looks there are in a period, of which the median counts; zero
	// means one.
	Burst int
	Clock sensors.Clock
	// Bus is what the chips share. It is closed, and so forgotten, when it fails as a
	// whole, after which the slots' Open is expected to open it again. Nil if each chip
	// has a port of its own.
	Bus   io.Closer
	Slots []Slot
}

// Loop polls the chips of one bus.
type Loop struct {
	config  Config
	board   *Board
	pace    time.Duration // between two looks
	chips   []*chip
	busStep int // of the bus's back-off
	retryAt time.Time
}

// chip is a slot with what sits in it.
type chip struct {
	slot     Slot
	cell     *cell
	path     *path.Path
	sensor   sensors.Sensor // nil until opened
	device   string         // what sat here last; the slot's name before
	started  bool
	failures int  // transfers that failed since the last sample
	silent   bool // nothing sensible came at the last look
	step     int  // of the chip's back-off
	retryAt  time.Time
}

// backOff is how long to wait after the first failure and each further one.
var backOff = [...]time.Duration{time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second}

const (
	periodsFresh = 5 // the default age limit
	// enoughFailures of transfers in a row and the chip is started anew, in case it has
	// lost its place.
	enoughFailures = 3
)

// New puts the slots on the board. Nothing is opened before [Loop.Run].
func New(b *Board, c Config) (*Loop, error) {
	if c.Period <= 0 {
		return nil, fmt.Errorf("scan %s: period of %v", c.Name, c.Period)
	}
	if c.Clock == nil {
		c.Clock = sensors.SystemClock{}
	}
	c.Burst = max(c.Burst, 1)
	l := &Loop{config: c, board: b, pace: c.Period / time.Duration(c.Burst)}
	for _, s := range c.Slots {
		stale := s.StaleAfter
		if stale == 0 {
			stale = periodsFresh * c.Period
		}
		// Two periods, and a little for the look that ends them.
		cell, err := b.add(s.Name, stale, 2*c.Period+c.Period/4)
		if err != nil {
			return nil, fmt.Errorf("scan %s: %w", c.Name, err)
		}
		s.Path.Burst = c.Burst
		way, err := path.New(s.Path)
		if err != nil {
			return nil, fmt.Errorf("scan %s: path of %s: %w", c.Name, s.Name, err)
		}
		l.chips = append(l.chips, &chip{slot: s, cell: cell, path: way, device: s.Name})
	}
	return l, nil
}

// String returns the bus's name.
func (l *Loop) String() string { return "scan " + l.config.Name }

// Run polls until ctx ends and then returns nil: no failure of a chip or the bus ends it,
// they are on the board. It returns within the time of the transfer that is under way,
// having halted the chips and closed what it opened.
func (l *Loop) Run(ctx context.Context) error {
	defer l.close()
	next := l.board.begin(l.config.Clock.Now())
	for {
		l.round(ctx)
		next = next.Add(l.pace)
		now := l.config.Clock.Now()
		if late := now.Sub(next); late >= 0 {
			// Rounds that a slow bus has cost are not made up for.
			next = next.Add(late.Truncate(l.pace) + l.pace)
		}
		if l.config.Clock.Sleep(ctx, next.Sub(now)) != nil {
			return nil
		}
	}
}

// round looks at every chip whose turn it is.
func (l *Loop) round(ctx context.Context) {
	now := l.config.Clock.Now()
	if now.Before(l.retryAt) {
		return
	}
	silent := 0
	for _, c := range l.chips {
		if ctx.Err() != nil {
			return
		}
		if !l.config.Clock.Now().Before(c.retryAt) {
			f := l.poll(ctx, c)
			if f != nil && l.ofTheBus(f) {
				l.giveUp(c, f)
				return
			}
			c.silent = f != nil && silence(f.Code)
		}
		if c.silent {
			silent++
		}
	}
	switch {
	case silent < len(l.chips):
		l.busStep = 0
	case silent > 1:
		// Every chip of several: it is not the chips.
		l.giveUp(nil, nil)
	}
}

// poll looks at a chip. When a chip that was well needs to be started again, that is
// tried at once: most supply dips are over by then, and the reading need not wait.
func (l *Loop) poll(ctx context.Context, c *chip) *sensors.Fault {
	wasRunning := c.started
	f := l.look(ctx, c)
	if f != nil && wasRunning && !c.started && !l.ofTheBus(f) && ctx.Err() == nil {
		f = l.look(ctx, c)
	}
	switch {
	case f == nil || ctx.Err() != nil:
		return nil
	case !c.started:
		c.retryAt = l.config.Clock.Now().Add(backOff[c.step])
		c.step = min(c.step+1, len(backOff)-1)
	}
	return f
}

// look opens and starts the chip if need be, reads it once, and puts the outcome on the
// board.
func (l *Loop) look(ctx context.Context, c *chip) *sensors.Fault {
	began := l.config.Clock.Now()
	sample, err := c.sense(ctx)
	now := l.config.Clock.Now()
	took := now.Sub(began)
	if err == nil {
		c.failures = 0
		var ok bool
		sample, ok, err = c.path.Step(sample, now)
		c.cell.went(c.path.Counts())
		switch {
		case ok:
			c.step = 0
			c.cell.got(sample, now, took)
			return nil
		case err == nil:
			c.cell.withheld(took)
			return nil
		}
	}
	f := c.asFault(err)
	switch {
	case ctx.Err() != nil: // cut short, which says nothing of the chip
		return nil
	case f.Code == sensors.NotReady:
		c.cell.nothing(took)
		return nil
	}
	if !transient(f.Code) {
		c.path.Interrupt()
	}
	c.failures++
	c.cell.failed(f, now, took)
	switch {
	case c.sensor == nil:
	case !c.started:
		// It could not be started: next time through a fresh driver and port, since a
		// port's mode, once wrong, stays so.
		c.drop()
	case needsStart(f.Code) || c.failures%enoughFailures == 0 && transient(f.Code):
		c.started = false
	}
	return f
}

// sense brings the chip to where it can be read, and reads it.
func (c *chip) sense(ctx context.Context) (sensors.Sample, error) {
	if c.sensor == nil {
		s, err := c.slot.Open(ctx)
		if err != nil {
			return sensors.Sample{}, fmt.Errorf("open: %w", err)
		}
		c.sensor, c.device, c.started = s, s.String(), false
		c.cell.opened(c.device)
	}
	if !c.started {
		if err := c.sensor.Start(ctx); err != nil {
			return sensors.Sample{}, fmt.Errorf("start: %w", err)
		}
		c.started = true
		serial := ""
		if i, ok := c.sensor.(sensors.Identified); ok {
			serial = i.Serial()
		}
		c.cell.started(serial)
	}
	return c.sensor.Sense(ctx)
}

// needsStart reports whether the chip must be identified and set up again.
func needsStart(c sensors.Code) bool {
	switch c {
	case sensors.LostConfiguration, sensors.WrongPart, sensors.StuckLow, sensors.StuckHigh,
		sensors.NoAnswer, sensors.MuxNoAnswer, sensors.ImpossibleFrame, sensors.BusDown,
		sensors.DeviceMissing, sensors.Frozen:
		return true
	}
	return false
}

// silence reports whether nothing sensible came over the bus at all.
func silence(c sensors.Code) bool {
	switch c {
	case sensors.StuckLow, sensors.StuckHigh, sensors.BusDown, sensors.DeviceMissing:
		return true
	}
	return transient(c)
}

// ofTheBus reports whether the fault concerns every chip on the shared bus.
func (l *Loop) ofTheBus(f *sensors.Fault) bool {
	return l.config.Bus != nil && (f.Code == sensors.BusDown || f.Code.Info().Part == sensors.InBoard)
}

// giveUp closes the bus, to open it again after its back-off. The chips that did not have
// their turn are told the fault that seer saw.
func (l *Loop) giveUp(seer *chip, f *sensors.Fault) {
	now := l.config.Clock.Now()
	l.retryAt = now.Add(backOff[l.busStep])
	l.busStep = min(l.busStep+1, len(backOff)-1)
	for _, c := range l.chips {
		if f != nil && c != seer {
			g := *f
			g.Device, g.Detail = c.device, "seen at "+f.Device
			c.cell.failed(&g, now, 0)
		}
		c.drop()
		c.retryAt = l.retryAt
		c.cell.recovered()
	}
	l.closeBus()
}

// close leaves the chips idle. What fails here is left as it is: there is nobody to try
// again, and no chip does harm by measuring on.
func (l *Loop) close() {
	for _, c := range l.chips {
		if c.sensor != nil && c.started {
			_ = c.sensor.Halt()
		}
		c.drop()
	}
	l.closeBus()
}

func (l *Loop) closeBus() {
	if l.config.Bus != nil {
		_ = l.config.Bus.Close()
	}
}

// drop forgets the driver and closes the port that it owns.
func (c *chip) drop() {
	if p, ok := c.sensor.(io.Closer); ok {
		_ = p.Close()
	}
	c.sensor, c.started = nil, false
}

// asFault makes sure that what reaches the board has a code.
func (c *chip) asFault(err error) *sensors.Fault {
	var f *sensors.Fault
	if errors.As(err, &f) {
		if f.Device == "" { // found on the way
			f.Device = c.device
		}
		return f
	}
	return bus.Fault(c.device, "", err)
}

// owner is a sensor with the port that nobody else uses.
type owner struct {
	sensors.Sensor
	io.Closer
}

// Serial passes on which specimen the sensor is.
func (o owner) Serial() string {
	if i, ok := o.Sensor.(sensors.Identified); ok {
		return i.Serial()
	}
	return ""
}

// WithPort gives the sensor its port, to be closed with it: an SPI chip select, which
// periph connects once in its life.
func WithPort(s sensors.Sensor, port io.Closer) sensors.Sensor { return owner{s, port} }
