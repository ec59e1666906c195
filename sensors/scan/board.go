package scan

import (
	"fmt"
	"maps"
	"sync"
	"time"

	"fluewright/sensors"
)

// Board holds the latest of every chip. It is safe for use by any number of goroutines.
type Board struct {
	mu    sync.RWMutex
	cells map[string]*cell
}

// NewBoard returns an empty board.
func NewBoard() *Board { return &Board{cells: map[string]*cell{}} }

// Status is how a chip does, for metrics and pages.
type Status struct {
	Device string // chip and bus; the slot's name until the chip was first opened
	// Up is whether the last look gave a sample, or nothing new and no fault.
	Up            bool
	LastSuccess   time.Time // of the last sample; zero before the first
	Samples       uint64
	NotReady      uint64
	Faults        map[sensors.Code]uint64
	Starts        uint64 // how often the chip was set up
	LastFault     *sensors.Fault
	LastFaultAt   time.Time
	ReadDuration  time.Duration // of the last look
	BusRecoveries uint64        // how often the whole bus was given up and opened again
}

// cell is one chip's place on the board.
type cell struct {
	staleAfter time.Duration // a sample older than this is stale
	patience   time.Duration // a transfer fault takes the value away after this

	mu     sync.Mutex
	sample sensors.Sample
	taken  time.Time      // when the chip measured it; zero before the first
	seen   time.Time      // when the loop got it
	fault  *sensors.Fault // the latest since the sample
	firm   bool           // one of them was diagnosed
	status Status
}

// add makes room for a chip.
func (b *Board) add(name string, staleAfter, patience time.Duration) (*cell, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, ok := b.cells[name]; ok {
		return nil, fmt.Errorf("two chips named %q", name)
	}
	c := &cell{staleAfter: staleAfter, patience: patience}
	c.status.Device = name
	c.status.Faults = map[sensors.Code]uint64{}
	b.cells[name] = c
	return c, nil
}

func (b *Board) cell(name string) *cell {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.cells[name]
}

// Reading returns quantity q of the chip in the named slot as it may be believed at now,
// a time of the loop's clock. It does not allocate.
func (b *Board) Reading(name string, q sensors.Quantity, now time.Time) sensors.Reading {
	c := b.cell(name)
	if c == nil {
		return sensors.Reading{}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fault != nil && (c.firm || c.taken.IsZero() || now.Sub(c.seen) >= c.patience) {
		return sensors.Reading{Quality: sensors.Faulty, Fault: c.fault, Taken: c.taken}
	}
	v, ok := c.sample.Get(q)
	if !ok {
		return sensors.Reading{}
	}
	r := sensors.Reading{Raw: c.sample.Raw, Taken: c.taken}
	switch {
	case now.Sub(c.taken) > c.staleAfter:
		r.Quality = sensors.Stale
	case c.sample.Doubt != "":
		r.Quality, r.Value, r.Doubt = sensors.Suspect, v, c.sample.Doubt
	default:
		r.Quality, r.Value = sensors.Good, v
	}
	return r
}

// Status returns how the chip in the named slot does, and whether there is such a slot.
func (b *Board) Status(name string) (Status, bool) {
	c := b.cell(name)
	if c == nil {
		return Status{}, false
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.status
	s.Faults = maps.Clone(s.Faults)
	return s, true
}

// transient reports whether the fault is of one transfer, and says nothing yet of the
// chip or its wiring.
func transient(c sensors.Code) bool {
	switch c {
	case sensors.NoAnswer, sensors.MuxNoAnswer, sensors.BadChecksum, sensors.BusError:
		return true
	}
	return false
}

// got records a sample that the loop got at now.
func (c *cell) got(s sensors.Sample, now time.Time, took time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.sample, c.seen = s, now
	c.fault, c.firm = nil, false
	c.taken = s.Taken
	if c.taken.IsZero() {
		c.taken = now
	}
	c.status.Up = true
	c.status.LastSuccess = now
	c.status.Samples++
	c.status.ReadDuration = took
}

// nothing records a look that found the chip well, with nothing new.
func (c *cell) nothing(took time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.Up = c.fault == nil
	c.status.NotReady++
	c.status.ReadDuration = took
}

// failed records a fault. A transfer that merely fails after a diagnosis does not bring
// the old sample back.
func (c *cell) failed(f *sensors.Fault, now time.Time, took time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.fault, c.firm = f, c.firm || !transient(f.Code)
	c.status.Up = false
	c.status.Faults[f.Code]++
	c.status.LastFault, c.status.LastFaultAt = f, now
	c.status.ReadDuration = took
}

// opened records what sits in the slot.
func (c *cell) opened(device string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.Device = device
}

func (c *cell) started() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.Starts++
}

func (c *cell) recovered() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.BusRecoveries++
}
