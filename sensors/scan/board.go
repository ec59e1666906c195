package scan

import (
	"fmt"
	"maps"
	"sync"
	"time"

	"fluewright/sensors"
	"fluewright/sensors/path"
)

// Board holds the latest of every chip. It is safe for use by any number of goroutines.
type Board struct {
	mu    sync.RWMutex
	cells map[string]*cell
	began time.Time // when the first loop did; zero before
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
	Faults        map[sensors.Code]uint64 // never changed; another takes its place
	Starts        uint64                  // how often the chip was set up
	LastFault     *sensors.Fault
	LastFaultAt   time.Time
	ReadDuration  time.Duration // of the last look
	BusRecoveries uint64        // how often the whole bus was given up and opened again
	Path          path.Counts   // what the way from the look to here did
	// Serial is the specimen's number where the chip has one; Former is that of the one
	// before it, empty if it was never exchanged while the program ran.
	Serial, Former string
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

// begin is when the first of the loops began, which may be now. They count their looks from
// there, so that buses of the same pace are looked at together: the computer wakes up once.
func (b *Board) begin(now time.Time) time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.began.IsZero() {
		b.began = now
	}
	return b.began
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

// Serial returns the number of the specimen in the named slot, empty if it has none or has
// not been started. It does not allocate.
func (b *Board) Serial(name string) string {
	c := b.cell(name)
	if c == nil {
		return ""
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.status.Serial
}

// Status returns how the chip in the named slot does, and whether there is such a slot.
func (b *Board) Status(name string) (Status, bool) {
	c := b.cell(name)
	if c == nil {
		return Status{}, false
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.status, true
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
	c.status.Faults = maps.Clone(c.status.Faults)
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

// withheld records a look whose sample the path kept back: the one before it ages.
func (c *cell) withheld(took time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.Up = c.fault == nil
	c.status.ReadDuration = took
}

// went records what the path did so far.
func (c *cell) went(n path.Counts) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.Path = n
}

// started records that the chip was set up, and which specimen it is.
func (c *cell) started(serial string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.Starts++
	if serial == "" || serial == c.status.Serial {
		return
	}
	if c.status.Serial != "" {
		c.status.Former = c.status.Serial
	}
	c.status.Serial = serial
}

func (c *cell) recovered() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.status.BusRecoveries++
}
