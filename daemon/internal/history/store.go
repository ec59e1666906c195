package history

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"errors"
	"log/slog"
	"path/filepath"
	"sync"
	"time"

	"fluewright/analysis"
	"fluewright/analysis/alarm"
	"fluewright/analysis/burn"
	"fluewright/daemon/internal/history/timeline"
	"fluewright/daemon/internal/message"
	"fluewright/daemon/internal/status"
)

// FileName is the file's name in its directory.
const FileName = "history.db"

// How long what is in memory alone may stay there. While there is no fire it goes with its
// block.
const (
	whileBurning = time.Minute
	whileHigh    = 2 * time.Second // while an alarm of high priority stands
)

// Options is what a store needs to know.
type Options struct {
	// Dir is where the file is.
	Dir string
	// Period is that of the rows: each holds the mean of the ticks in it. 1 s if zero. Not
	// below 100 ms, and a divisor of a minute.
	Period time.Duration
	// Identity names this run of the program, and no other; drawn if empty.
	Identity string
	// Kernel names the computer's boot, where known. Uptime is then asked once, at the first
	// tick, for the computer's age.
	Kernel string
	Uptime func() time.Duration
	// Software is the program's version, Configuration the text of its configuration. What
	// looks like a secret in it is not kept.
	Software, Configuration string
	Units                   message.Units
	Keep                    Keep
	Log                     *slog.Logger
}

// Store keeps the history of a site.
type Store struct {
	o Options

	wake chan struct{} // holds one token while there is something to do

	mu        sync.Mutex // guards what follows; never held over input and output
	mem       memory
	slot      slot
	now       moment
	uptime    int64 // the computer's age at the zero of the frames' clock, ms
	watch     timeline.Watch
	segments  []timeline.Segment // of this run
	past      []timeline.Segment // of those before
	placed    []timeline.Placed  // all; nil when it must be done again
	lastDue   int64              // ms at which the writer was last woken
	seq       uint64             // counts what was offered
	durable   uint64             // up to which it is in the file
	waiting   []waiter
	health    Health
	busySince time.Time // when the writer went to the storage; zero while it is back
	db        *sql.DB   // nil while there is no file
	run       int64     // this run's number in it

	writing  sync.Mutex // held by whoever writes
	w        writer
	bundling sync.Mutex // held by whoever makes a bundle
}

// moment is the last tick.
type moment struct {
	ms, wall int64
	trusted  bool
	some     bool
}

type waiter struct {
	seq  uint64
	done chan error
}

// New returns a store. It opens nothing: Run does.
func New(o Options) *Store {
	if o.Period == 0 {
		o.Period = time.Second
	}
	if o.Identity == "" {
		var b [8]byte
		_, _ = rand.Read(b[:]) // never fails
		o.Identity = hex.EncodeToString(b[:])
	}
	o.Configuration = scrub(o.Configuration)
	o.Keep = o.Keep.orDefault()
	s := &Store{o: o, wake: make(chan struct{}, 1)}
	s.health.Path = filepath.Join(o.Dir, FileName)
	return s
}

func (s *Store) kick() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Offer takes a tick in. It never waits for the storage. Ticks come in their order.
func (s *Store) Offer(st *status.Status) {
	s.mu.Lock()
	due := s.offer(st)
	s.mu.Unlock()
	if due {
		s.kick()
	}
}

func (s *Store) offer(st *status.Status) (due bool) {
	s.seq++
	first := !s.now.some
	ms := st.Frame.At.Milliseconds()
	if ms < 0 || !first && ms <= s.now.ms {
		s.health.Backwards++
		ms = max(s.now.ms, 0)
	} else {
		due = s.tick(st, ms)
	}
	for _, e := range st.Assessment.Events {
		if ev, ok := eventOf(e, st, s.o.Units); ok {
			ev.ms = min(max(ev.ms, 0), ms)
			s.mem.addEvent(ev)
			due = due || ev.table == "alarms"
		}
	}
	switch since := time.Duration(ms-s.lastDue) * time.Millisecond; {
	case first, since >= blockSpan:
		due = true
	case highStands(st):
		due = due || since >= whileHigh
	case st.Assessment.Phase != burn.Cold || st.Assessment.Burning:
		due = due || since >= whileBurning
	}
	if due {
		s.lastDue = ms
	}
	return due
}

// tick takes a tick whose time goes forward, and reports whether a block is over.
func (s *Store) tick(st *status.Status, ms int64) (over bool) {
	if !s.now.some && s.o.Kernel != "" && s.o.Uptime != nil {
		s.uptime = s.o.Uptime().Milliseconds() - ms
	}
	s.now = moment{ms, st.Wall.UnixMilli(), st.ClockTrusted, true}
	if s.watch.Observe(ms, s.now.wall, s.now.trusted) {
		if n := len(s.segments); n > 0 {
			s.segments[n-1].To = ms
		}
		s.segments = append(s.segments, timeline.Segment{
			Kernel: s.o.Kernel, Uptime: s.uptime,
			From: ms, Seen: s.now.wall, Trusted: s.now.trusted,
		})
		s.placed = nil
	}
	begin := ms - ms%s.o.Period.Milliseconds()
	if s.slot.open && s.slot.ms != begin {
		over = s.closeSlot() || over
	}
	if !s.slot.open {
		s.slot = slot{open: true, ms: begin}
	}
	s.slot.add(&st.Frame)
	return over
}

// closeSlot makes a row of the slot, and reports whether it begins another block.
func (s *Store) closeSlot() bool {
	if !s.slot.open {
		return false
	}
	r := s.slot.close()
	s.slot = slot{}
	n := len(s.mem.rows)
	over := n > 0 && s.mem.rows[n-1].block() != r.block()
	s.mem.addRow(r)
	return over
}

func highStands(st *status.Status) bool {
	for _, a := range st.Assessment.Alarms {
		if a.Priority == alarm.High && a.State.Standing() {
			return true
		}
	}
	return false
}

// AlarmChanged reports whether a tick brings a change of an alarm: whoever announces it
// calls Commit before, with a deadline.
func AlarmChanged(st *status.Status) bool {
	for _, e := range st.Assessment.Events {
		if e.Kind == analysis.AlarmChanged && changes[e.Change] != "" {
			return true
		}
	}
	return false
}

// Commit waits until all that was offered before is in the file and would outlast a power
// cut, or cannot be: then it returns why, at once, for an alarm must not wait for a broken
// card. It returns the context's error if that ends first.
func (s *Store) Commit(ctx context.Context) error {
	s.mu.Lock()
	if s.durable >= s.seq {
		s.mu.Unlock()
		return nil
	}
	w := waiter{s.seq, make(chan error, 1)}
	s.waiting = append(s.waiting, w)
	s.mu.Unlock()
	s.kick()
	select {
	case err := <-w.done:
		return err
	case <-ctx.Done():
		return errors.Join(errNotYet, ctx.Err())
	}
}

var (
	errNotYet = errors.New("history is not written yet")
	errNoFile = errors.New("there is no history to read")
)

// resolve ends the waiting of those whose events are in the file, or of all that must be
// told why not.
func (s *Store) resolve(seq uint64, err error) {
	keep := s.waiting[:0]
	for _, w := range s.waiting {
		if w.seq <= seq {
			w.done <- err
		} else {
			keep = append(keep, w)
		}
	}
	clear(s.waiting[len(keep):])
	s.waiting = keep
}

// line returns all segments of all runs where they belong.
func (s *Store) line() []timeline.Placed {
	if len(s.segments) == 0 {
		return nil
	}
	s.segments[len(s.segments)-1].To = s.now.ms + s.o.Period.Milliseconds()
	if s.placed == nil {
		all := append(append([]timeline.Segment(nil), s.past...), s.segments...)
		for i := len(s.past); i < len(all); i++ {
			all[i].Run = s.run
		}
		s.placed = timeline.Place(all)
	}
	line := append([]timeline.Placed(nil), s.placed...)
	line[len(line)-1].To = s.now.ms + s.o.Period.Milliseconds()
	return line
}
