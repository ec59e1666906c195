package history

import (
	"fmt"
	"time"
)

// State is how the file does.
type State uint8

// The states.
const (
	Opening  State = iota // not opened yet
	Fine                  // what is due is in the file
	Slow                  // the storage has not answered for a while
	Full                  // no space
	ReadOnly              // nothing can be written
	Failing               // the storage gives errors
	Damaged               // the file is not whole; it could not be set aside yet
	Newer                 // the file is of a newer program, and is left as it is
)

var states = [...]string{"opening", "fine", "slow", "full", "read-only", "failing", "damaged", "newer"}

// States lists all states.
func States() []State { return []State{Opening, Fine, Slow, Full, ReadOnly, Failing, Damaged, Newer} }

// String returns the state's name.
func (s State) String() string {
	if int(s) < len(states) {
		return states[s]
	}
	return "failing"
}

// slowAfter is how long a write may last before it is said to be slow.
const slowAfter = 5 * time.Second

// Health says how the history does.
type Health struct {
	State State
	// Err is why, while State is neither Fine nor Opening.
	Err error
	// Path is the file.
	Path string
	// Bytes is its size; UsedBytes is the part that holds something.
	Bytes, UsedBytes int64
	// LastCommit is when something was last written with success; zero if never.
	LastCommit time.Time
	// Commits counts writes that succeeded.
	Commits uint64
	// Failures counts attempts to write that failed.
	Failures uint64
	// Pending counts rows that are in memory alone, PendingEvents events.
	Pending, PendingEvents int
	// Dropped counts rows, and Lost events, that memory could not hold.
	Dropped, Lost uint64
	// Backwards counts ticks whose time was not behind that of the one before: they are not
	// kept.
	Backwards uint64
	// SetAside names the damaged file that was last put out of the way, in this run.
	SetAside string
	// Unreadable counts chunks that were found damaged and left out, each time.
	Unreadable uint64
	// Trimmed counts rows that went before their time, because the file was at its ceiling.
	Trimmed uint64

	// lossAt is when something was last lost or set aside.
	lossAt time.Time
}

// lossTold is how long a loss is worth an alarm.
const lossTold = time.Hour

// Impaired reports whether more would be lost at a power cut than should be, or something
// was lost within the hour: the alarm monitor-impaired is for that.
func (h Health) Impaired() bool {
	return h.State != Fine && h.State != Opening || !h.lossAt.IsZero() && time.Since(h.lossAt) < lossTold
}

// Health returns how the history does now. It never waits for the storage.
func (s *Store) Health() Health {
	s.mu.Lock()
	defer s.mu.Unlock()
	h := s.health
	h.Pending = len(s.mem.rows) - (s.mem.tailed - s.mem.gone)
	for _, b := range s.mem.sealed {
		h.Pending += b.rows
	}
	h.PendingEvents = len(s.mem.events)
	if s.mem.dropped > s.health.Dropped || s.mem.lost > s.health.Lost {
		s.health.Dropped, s.health.Lost, s.health.lossAt = s.mem.dropped, s.mem.lost, time.Now()
		h.Dropped, h.Lost, h.lossAt = s.health.Dropped, s.health.Lost, s.health.lossAt
	}
	if !s.busySince.IsZero() && (h.State == Fine || h.State == Opening) {
		if d := time.Since(s.busySince); d >= slowAfter {
			h.State, h.Err = Slow, fmt.Errorf("the storage has not answered for %v", d.Truncate(time.Second))
		}
	}
	return h
}
