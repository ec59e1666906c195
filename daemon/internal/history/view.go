package history

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"time"

	"fluewright/daemon/internal/history/timeline"
)

// snapshot is what a reader sees: the file through conn, and what is in memory alone.
type snapshot struct {
	conn   *sql.Conn // nil if there is no file to read
	run    int64
	rows   []row
	sealed []*block
	events []event
	told   int64 // the number of the first of events
	line   []timeline.Placed
	// damaged is told how many chunks could not be read and are left out.
	damaged func(uint64)
}

// view calls do with a snapshot in which every row is once. While it lasts the writer
// waits: it must be short.
func (s *Store) view(ctx context.Context, do func(snapshot) error) error {
	var conn *sql.Conn
	if db := s.file(); db != nil {
		var err error
		// The connection first: whoever has it knows that no commit is under way.
		if conn, err = db.Conn(ctx); err != nil {
			if ctx.Err() != nil {
				return err
			}
			conn = nil // closed meanwhile: the file has failed
		}
	}
	return s.withSnapshot(conn, do)
}

// mostGlance is how long a glance waits for a storage that stalls.
const mostGlance = 500 * time.Millisecond

// glance is view for whoever must not wait: where the file cannot be had soon, there is what
// is in memory.
func (s *Store) glance(ctx context.Context, do func(snapshot) error) error {
	var conn *sql.Conn
	if db := s.file(); db != nil {
		within, cancel := context.WithTimeout(ctx, mostGlance)
		defer cancel()
		var err error
		if conn, err = db.Conn(within); err != nil {
			if ctx.Err() != nil {
				return err
			}
			conn = nil // closed meanwhile, or the writer is in the kernel
		}
	}
	return s.withSnapshot(conn, do)
}

// withSnapshot calls do with what is there now, and gives the connection back.
func (s *Store) withSnapshot(conn *sql.Conn, do func(snapshot) error) error {
	s.mu.Lock()
	v := snapshot{
		conn: conn, run: s.run, rows: slices.Clip(s.mem.rows), sealed: slices.Clone(s.mem.sealed),
		events: slices.Clip(s.mem.events), told: int64(s.mem.told), line: s.line(), damaged: s.unreadable,
	}
	s.mu.Unlock()
	err := do(v)
	if conn != nil {
		err = errors.Join(err, conn.Close())
	}
	return err
}

// stretch is the part of one run that lies in a window.
type stretch struct {
	place  timeline.Placed
	first  bool  // of its run
	lo, hi int64 // moments of the run, hi excluded
}

// stretches finds the parts of runs within [from, to), ms of the wall.
func stretches(line []timeline.Placed, from, to int64) []stretch {
	var all []stretch
	for i, p := range line {
		if p.Wall >= to || p.End() <= from {
			continue
		}
		all = append(all, stretch{
			place: p,
			first: i == 0 || line[i-1].Run != p.Run,
			lo:    p.Moment(from),
			hi:    p.Moment(to),
		})
	}
	return all
}

// begin is the first moment whose row counts for the stretch, for rows that last span ms: one
// that begins before the window reaches into it, and one that begins before the clock was
// stepped belongs to what was before.
func (s *stretch) begin(span int64) int64 {
	lo := s.lo - max(span-1, 0)
	if !s.first {
		lo = max(lo, s.place.From)
	} else if s.lo == s.place.From {
		lo = 0
	}
	return max(lo, 0)
}

func (s *Store) unreadable(n uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.health.Unreadable += n
}

// Unreadable counts damaged pieces that readers have left out so far.
func (s *Store) Unreadable() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.health.Unreadable
}
