package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"fluewright/daemon/internal/history/timeline"
)

// How long to wait after a failure: doubled each time.
const (
	retryFirst = time.Second
	retryMost  = time.Minute
)

// writer is what only the writer touches.
type writer struct {
	failed  time.Time     // when it failed last; zero while it does not
	backOff time.Duration // how long it waits
	written map[placeKey]timeline.Placed
	blocks  int // since the file was last tidied
}

type placeKey struct{ run, from int64 }

// has reports whether the file has a segment as it is placed now.
func (w *writer) has(p timeline.Placed) bool {
	old, ok := w.written[placeKey{p.Run, p.From}]
	return ok && old.Wall == p.Wall && old.Rate == p.Rate && old.Sure == p.Sure
}

// Run writes what is due until ctx ends. Nothing that the storage does ends it. What is
// left then is for Close.
func (s *Store) Run(ctx context.Context) error {
	var retry <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-s.wake:
		case <-retry:
		}
		retry = nil
		if wait := s.turn(); wait > 0 {
			retry = time.After(wait)
		}
	}
}

// turn writes what there is, and returns after which time it must be tried again.
func (s *Store) turn() (wait time.Duration) {
	s.writing.Lock()
	defer s.writing.Unlock()
	w := &s.w
	if !s.started() {
		return 0 // the first tick tells when that was
	}
	s.sealBlocks(false)
	if !w.failed.IsZero() {
		if left := w.backOff - time.Since(w.failed); left > 0 {
			s.mu.Lock()
			s.resolve(s.seq, s.health.Err)
			s.mu.Unlock()
			return left
		}
	}
	err := s.write(false)
	if err == nil {
		w.failed, w.backOff = time.Time{}, 0
		return 0
	}
	w.failed = time.Now()
	w.backOff = min(max(2*w.backOff, retryFirst), retryMost)
	return w.backOff
}

// started reports whether there was a tick.
func (s *Store) started() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now.some
}

// Close writes what is left, ends the run in the file and closes it. It gives up with ctx:
// a card that hangs then loses what it had not taken yet. Run must have ended.
func (s *Store) Close(ctx context.Context) error {
	done := make(chan error, 1)
	go func() {
		s.writing.Lock()
		defer s.writing.Unlock()
		s.mu.Lock()
		s.closeSlot()
		s.mu.Unlock()
		var err error
		if s.started() {
			err = s.write(true)
		}
		done <- errors.Join(err, s.detach())
	}()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return fmt.Errorf("close history: %w", errors.Join(errNotYet, ctx.Err()))
	}
}

// batch is what one commit takes.
type batch struct {
	seq      uint64
	blocks   []*block
	fresh    []row // for the tail
	upTo     int   // the number behind the last of fresh
	tailFrom int64 // tail rows of this run before this ms are in blocks
	events   []event
	told     int
	moved    []timeline.Placed // segments that the file does not have, or not where they are
	last     bool
	end      int64
}

// write puts everything into the file. Whatever fails, memory keeps it.
func (s *Store) write(last bool) error {
	s.setBusy(time.Now())
	defer s.setBusy(time.Time{})
	s.sealBlocks(last)
	if s.file() == nil {
		if err := s.attach(); err != nil {
			return s.fail(err)
		}
	}
	b := s.gather(last)
	if err := s.commit(b); err != nil {
		return s.fail(errors.Join(err, s.detach()))
	}
	s.w.blocks += len(b.blocks)
	if s.w.blocks >= tidyEvery && !last {
		s.w.blocks = 0
		if err := s.tidy(); err != nil {
			return s.fail(errors.Join(err, s.detach()))
		}
	}
	return nil
}

func (s *Store) setBusy(t time.Time) {
	s.mu.Lock()
	s.busySince = t
	s.mu.Unlock()
}

func (s *Store) file() *sql.DB {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.db
}

// sealBlocks packs the blocks that are over, or all.
func (s *Store) sealBlocks(all bool) {
	s.mu.Lock()
	rows := s.mem.rows
	gone := s.mem.gone
	s.mu.Unlock()
	var blocks []*block
	n := 0
	for n < len(rows) {
		end := n + sameBlock(rows[n:])
		if end == len(rows) && !all {
			break
		}
		blocks = append(blocks, pack(rows[n:end]))
		n = end
	}
	if n == 0 {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.mem.seal(blocks, s.o.Keep.Memory)
	s.mem.dropRows(max(gone+n-s.mem.gone, 0))
}

// gather takes what there is from memory, without taking it away.
func (s *Store) gather(last bool) batch {
	s.mu.Lock()
	defer s.mu.Unlock()
	b := batch{
		seq:    s.seq,
		blocks: s.mem.sealed,
		fresh:  s.mem.rows[s.mem.tailed-s.mem.gone:],
		upTo:   s.mem.gone + len(s.mem.rows),
		events: s.mem.events,
		told:   s.mem.told + len(s.mem.events),
		moved:  slices.DeleteFunc(s.line(), s.w.has),
		last:   last,
		end:    s.now.ms + s.o.Period.Milliseconds(),
	}
	if n := len(b.blocks); n > 0 {
		b.tailFrom = b.blocks[n-1].start + blockMS
	}
	return b
}

// commit writes a batch in one transaction. The connection is kept until memory knows, so
// that a reader, who needs it too, sees everything once.
func (s *Store) commit(b batch) error {
	ctx := context.Background()
	conn, err := s.file().Conn(ctx)
	if err != nil {
		return fmt.Errorf("write history: %w", err)
	}
	err = s.transact(ctx, conn, func(tx *sql.Tx) error { return s.put(ctx, tx, b) })
	if err == nil {
		s.committed(b)
	}
	if closing := conn.Close(); err == nil && closing != nil {
		err = closing
	}
	if err != nil {
		return fmt.Errorf("write history: %w", err)
	}
	return nil
}

func (s *Store) transact(ctx context.Context, conn *sql.Conn, do func(*sql.Tx) error) error {
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err = do(tx); err == nil {
		err = tx.Commit()
	}
	if err != nil {
		return errors.Join(err, ignoreDone(tx.Rollback()))
	}
	return nil
}

// committed takes out of memory what is now in the file.
func (s *Store) committed(b batch) {
	for _, p := range b.moved {
		s.w.written[placeKey{p.Run, p.From}] = p
	}
	file, err := os.Stat(s.health.Path)
	s.mu.Lock()
	defer s.mu.Unlock()
	m := &s.mem
	for _, done := range b.blocks {
		if len(m.sealed) > 0 && m.sealed[0] == done {
			m.sealed = m.sealed[1:]
			m.size -= done.size()
		}
	}
	m.tailed = max(m.tailed, b.upTo)
	m.dropEvents(max(b.told-m.told, 0))
	s.durable = b.seq
	s.resolve(b.seq, nil)
	if s.health.State != Fine {
		s.o.Log.Info("history is written", "file", s.health.Path, "was", s.health.State.String())
	}
	s.health.State, s.health.Err = Fine, nil
	s.health.LastCommit = time.Now()
	s.health.Commits++
	if err == nil {
		s.health.Bytes = file.Size()
	}
}

// fail says once what is wrong, and ends the waiting of those who must not wait for it.
func (s *Store) fail(err error) error {
	state := troubleOf(err)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.health.State != state {
		s.o.Log.Error("history cannot be written, and is kept in memory", "file", s.health.Path, "state", state.String(), "error", err)
	}
	s.health.State, s.health.Err = state, err
	s.health.Failures++
	s.resolve(s.seq, err)
	return err
}

// put writes a batch. All of it can be written again and stays the same.
func (s *Store) put(ctx context.Context, tx *sql.Tx, b batch) error {
	do := func(query string, args ...any) error {
		_, err := tx.ExecContext(ctx, query, args...)
		return err
	}
	for _, p := range b.moved {
		if err := do(insertClock, p.Run, p.From, p.Seen, p.Trusted, p.Wall, p.Rate, p.Sure); err != nil {
			return err
		}
	}
	for _, one := range b.blocks {
		if err := putBlock(s.run, one, do); err != nil {
			return err
		}
	}
	if len(b.blocks) > 0 || b.last {
		if err := do("DELETE FROM tail WHERE id >= ? AND id < ?", s.run<<40, s.run<<40|b.tailFrom); err != nil {
			return err
		}
	}
	// A tail row goes with its block, so it holds rows of one only. There can be two: ticks
	// have come since blocks were packed.
	for rows := b.fresh; len(rows) > 0; {
		n := sameBlock(rows)
		if body := packTail(rows[:n]); len(body) > 0 {
			if err := do(insertTail, s.run<<40|rows[0].ms, body); err != nil {
				return err
			}
		}
		rows = rows[n:]
	}
	for _, e := range b.events {
		args := append([]any{s.run<<40 | e.no, e.ms, e.seen, e.trusted}, e.values...)
		if err := do(insertEvent[e.table], args...); err != nil {
			return err
		}
	}
	if b.last {
		return do("UPDATE boots SET ended_ms = ? WHERE id = ?", b.end, s.run)
	}
	return nil
}

func putBlock(run int64, b *block, do func(string, ...any) error) error {
	for c, body := range b.bodies {
		if body == nil {
			continue
		}
		v := b.sums[c]
		id := run<<40 | b.start/1000<<8 | int64(c)
		if err := do(insertChunk, id, v.N, v.Good, v.Min, v.Max, v.Sum, body); err != nil {
			return err
		}
	}
	for i := range b.minutes {
		m := &b.minutes[i]
		if err := do(insertMinute, m.values(run)...); err != nil {
			return err
		}
	}
	first, last := b.minutes[0].no, b.minutes[len(b.minutes)-1].no
	for _, sum := range []struct {
		of     rollUp
		from   rollUp
		insert string
	}{{quarters, minutes, sumMinutes}, {hours, quarters, sumQuarters}} {
		fine := int64(sum.from.span / minutes.span)
		per := int64(sum.of.span / sum.from.span)
		lo, hi := first/fine/per*per, (last/fine/per+1)*per
		if err := do(sum.insert, run<<40|lo, run<<40|hi); err != nil {
			return err
		}
	}
	return nil
}

var (
	insertMinute = insertInto(minutes.table, rollUpNames())
	sumMinutes   = quarters.sumInto(minutes)
	sumQuarters  = hours.sumInto(quarters)
	insertChunk  = insertInto("chunks", []string{"id", "n", "good", "min", "max", "sum", "body"})
	insertTail   = insertInto("tail", []string{"id", "body"})
	insertClock  = insertInto("clock", []string{"boot", "from_ms", "seen_ms", "trusted", "wall_ms", "rate", "sure"})
)
