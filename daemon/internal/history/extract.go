package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fluewright/daemon/internal/history/timeline"
)

// Detail is how much of a window goes into a bundle.
type Detail uint8

// The details.
const (
	FullRate   Detail = iota // every row
	ByMinute                 // sums by the minute, and the rows around alarms
	EventsOnly               // what happened, without readings
)

// ErrBusy says that a bundle is being made already.
var ErrBusy = errors.New("a bundle is being made for somebody else")

// pageRows is how many rows are read at once while a bundle is made of a history that is
// being written: the writer waits for them, for some milliseconds.
const pageRows = 1000

// Span returns when the history begins and ends, as far as its rows can be read by now.
func (s *Store) Span() (from, to time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	line := s.line()
	if len(line) == 0 {
		return from, to
	}
	return time.UnixMilli(line[0].Wall).UTC(), time.UnixMilli(line[len(line)-1].End()).UTC()
}

// Bundle writes a window of the history while it is being kept; see [Archive.Bundle]. The
// window is copied beside the history a little at a time, so that the writer never waits
// long, and the copy is taken away in the end. There is one at a time: ErrBusy.
func (s *Store) Bundle(ctx context.Context, w io.Writer, from, to time.Time, detail Detail, most int64) (b Bundled, err error) {
	if !s.bundling.TryLock() {
		return b, ErrBusy
	}
	defer s.bundling.Unlock()
	a, err := s.extract(ctx, from, to, detail)
	if err != nil {
		return b, fmt.Errorf("make bundle: %w", err)
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	return a.Bundle(ctx, w, from, to, detail, most)
}

// extractPrefix begins the name of the directory of a bundle that is being made.
const extractPrefix = "bundling-"

// sweep takes away what a run that was killed while it made a bundle has left.
func (s *Store) sweep() {
	left, err := filepath.Glob(filepath.Join(s.o.Dir, extractPrefix+"*"))
	if err != nil {
		return // the directory's name is no pattern
	}
	for _, dir := range left {
		_ = os.RemoveAll(dir) // what cannot be removed will be tried at the next start
	}
}

// extract makes an archive of what a window needs.
func (s *Store) extract(ctx context.Context, from, to time.Time, detail Detail) (a *Archive, err error) {
	if err := s.Commit(ctx); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp(s.o.Dir, extractPrefix)
	if err != nil {
		return nil, err
	}
	a = &Archive{dir: dir}
	defer func() {
		if err != nil {
			err, a = errors.Join(err, a.Close()), nil
		}
	}()
	path := filepath.Join(dir, FileName)
	err = plain(ctx, path, func(db *sql.DB) error {
		if err := migrate(ctx, db, migrations); err != nil {
			return err
		}
		// It is thrown away if the power fails.
		if _, err := db.ExecContext(ctx, "PRAGMA synchronous = OFF"); err != nil {
			return err
		}
		x := extraction{s: s, into: db, from: from.UnixMilli(), to: to.UnixMilli(), detail: detail}
		return x.run(ctx)
	})
	if err != nil {
		return a, err
	}
	return a, a.attach(ctx)
}

// extraction copies a window into another file.
type extraction struct {
	s        *Store
	into     *sql.DB
	from, to int64
	detail   Detail
	columns  map[string]string
}

// part is some rows of a table, by their numbers; hi is excluded.
type part struct {
	table  string
	lo, hi int64
	where  string // narrows it, with one "?" for each of args
	args   []any
}

// parts lists what a window needs, for the runs as they lie on a line.
func (x *extraction) parts(l layout) (all []part) {
	run := func(s *stretch) int64 { return s.place.Run << 40 }
	for i := range l.window {
		st := &l.window[i]
		// What is in blocks goes with its block, and what sums up with its hour.
		const grid = 6 * blockMS
		lo := st.begin(0) / grid * grid
		hi := (st.hi + grid - 1) / grid * grid
		chunks := part{table: "chunks", lo: run(st) | lo/1000<<8, hi: run(st) | hi/1000<<8}
		if x.detail == ByMinute {
			chunks.where = "AND NOT (true " + notAroundAlarm + ")"
		}
		if x.detail != EventsOnly {
			all = append(all, chunks)
			for _, r := range rollUps {
				span := r.span.Milliseconds()
				all = append(all, part{table: r.table, lo: run(st) | lo/span, hi: run(st) | hi/span})
			}
		}
		for _, t := range eventTables {
			if t.name != "burns" && !slices.Contains(always, t.name) {
				all = append(all, part{t.name, run(st), run(st) + 1<<40, "AND ms >= ? AND ms < ?", []any{st.begin(0), st.hi}})
			}
		}
	}
	for i := range l.ever {
		for _, table := range always {
			all = append(all, part{table: table, lo: run(&l.ever[i]), hi: run(&l.ever[i]) + 1<<40})
		}
	}
	for i := range l.before {
		st := &l.before[i]
		all = append(all, part{"burns", run(st), run(st) + 1<<40, "AND start_ms < ?", []any{st.hi}})
	}
	return all
}

// layout is where the runs lie: those that the window needs, those before its end, and all.
type layout struct{ window, before, ever []stretch }

func (x *extraction) layout(line []timeline.Placed) layout {
	return layout{stretches(line, x.from, x.to), stretches(line, math.MinInt64, x.to), stretches(line, math.MinInt64, math.MaxInt64)}
}

// holds reports whether every run is where it was; the last may have gone on.
func (l *layout) holds(now layout) bool {
	return slices.EqualFunc(l.window, now.window, samePlace) && slices.EqualFunc(l.ever, now.ever, samePlace)
}

func (x *extraction) run(ctx context.Context) error {
	x.columns = map[string]string{}
	tables := []string{"channels", "software", "configurations", "boots", "clock", "chunks", "tail"}
	for _, r := range rollUps {
		tables = append(tables, r.table)
	}
	for _, t := range eventTables {
		tables = append(tables, t.name)
	}
	for _, table := range tables {
		names, err := list(ctx, x.into, func(r *sql.Rows, name *string) error { return r.Scan(name) }, "SELECT name FROM pragma_table_info(?)", table)
		if err != nil {
			return err
		}
		x.columns[table] = `"` + strings.Join(names, `", "`) + `"`
	}
	const tries = 3 // the clock may be put right while we are at it
	for range tries {
		done, err := x.pass(ctx)
		if done || err != nil {
			return err
		}
	}
	return errMoving
}

// pass copies everything. Most of it is copied in pages, between which the writer has its
// turn; what came meanwhile is copied in one view at the end, so that the copy is of one
// moment. It reports false if the runs were put elsewhere in time meanwhile.
func (x *extraction) pass(ctx context.Context) (done bool, err error) {
	var l layout
	var current int64
	err = x.s.view(ctx, func(v snapshot) error {
		if v.conn == nil {
			return errNoFile
		}
		l, current = x.layout(v.line), v.run
		return nil
	})
	if err != nil {
		return false, err
	}
	if len(l.window) == 0 {
		begin, end := x.s.Span()
		return false, fmt.Errorf("nothing is kept from %s to %s: the history goes from %s to %s", stampMS(x.from), stampMS(x.to),
			begin.Format(time.RFC3339), end.Format(time.RFC3339))
	}
	all := x.parts(l)
	for i := range all {
		if err := x.pages(ctx, &all[i]); err != nil {
			return false, err
		}
	}
	var rest []fetched
	var end int64 // of the run that goes on
	err = x.s.view(ctx, func(v snapshot) error {
		if v.conn == nil {
			return errNoFile
		}
		now := x.layout(v.line)
		if v.run != current || !l.holds(now) {
			return nil
		}
		done, end = true, v.line[len(v.line)-1].To
		rest, err = x.rest(ctx, v, x.parts(now), all)
		return err
	})
	if err != nil || !done {
		return false, err
	}
	return true, x.finish(ctx, rest, l.window[len(l.window)-1], current, end)
}

func stampMS(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339) }

// samePlace reports whether a run is where it was; it may have gone on.
func samePlace(a, b stretch) bool {
	return a.place.Run == b.place.Run && a.place.From == b.place.From && a.place.Wall == b.place.Wall && a.place.Rate == b.place.Rate
}

// fetched is what was read of a table.
type fetched struct {
	table string
	rows  [][]any
}

// pages copies a part and moves its beginning to the last row copied.
func (x *extraction) pages(ctx context.Context, p *part) error {
	for {
		var f fetched
		err := x.s.view(ctx, func(v snapshot) (err error) {
			if v.conn == nil {
				return errNoFile
			}
			f, err = x.read(ctx, v.conn, *p, pageRows)
			return err
		})
		if err != nil {
			return err
		}
		if err := x.write(ctx, f); err != nil {
			return err
		}
		if n := len(f.rows); n > 0 {
			p.lo = f.rows[n-1][0].(int64) // the row's number; it comes again, for it may be replaced
		}
		if len(f.rows) < pageRows {
			return nil
		}
	}
}

// rest reads what came since the pages were copied, and what is small.
func (x *extraction) rest(ctx context.Context, v snapshot, now, before []part) (all []fetched, err error) {
	for i := range now {
		p := now[i]
		if i < len(before) {
			p.lo = before[i].lo
		}
		f, err := x.read(ctx, v.conn, p, math.MaxInt64)
		if err != nil {
			return nil, err
		}
		all = append(all, f)
	}
	for _, table := range []string{"channels", "software", "configurations", "boots", "clock", "tail"} {
		rows, err := list(ctx, v.conn, scanAll, "SELECT "+x.columns[table]+" FROM "+table)
		if err != nil {
			return nil, err
		}
		all = append(all, fetched{table, rows})
	}
	return all, nil
}

// finish writes the rest, and makes blocks of the rows that the history has not packed yet.
// last is the last stretch that is wanted, and end that of the run that goes on.
func (x *extraction) finish(ctx context.Context, rest []fetched, last stretch, current, end int64) error {
	tail := slices.IndexFunc(rest, func(f fetched) bool { return f.table == "tail" })
	rows := rest[tail].rows
	unwanted := x.detail == EventsOnly || len(rows) > 0 && rows[0][0].(int64) >= last.place.Run<<40|last.hi
	if unwanted {
		rest[tail].rows = nil
	}
	if err := x.write(ctx, rest...); err != nil {
		return err
	}
	conn, err := x.into.Conn(ctx)
	if err != nil {
		return err
	}
	ends := attaching{s: x.s, run: math.MaxInt64}
	err = x.s.transact(ctx, conn, func(tx *sql.Tx) error {
		if err := ends.recover(ctx, tx); err != nil || !unwanted {
			return err
		}
		_, err := tx.ExecContext(ctx, "UPDATE boots SET ended_ms = max(ended_ms, ?) WHERE id = ?", end, current)
		return err
	})
	return errors.Join(err, conn.Close())
}

func (x *extraction) read(ctx context.Context, q *sql.Conn, p part, most int64) (fetched, error) {
	args := append([]any{p.lo, p.hi}, p.args...)
	rows, err := list(ctx, q, scanAll, "SELECT "+x.columns[p.table]+" FROM "+p.table+" WHERE id >= ? AND id < ? "+p.where+" ORDER BY id LIMIT ?", append(args, most)...)
	return fetched{p.table, rows}, err
}

// scanAll reads a row as the driver gives it.
func scanAll(r *sql.Rows, row *[]any) error {
	columns, err := r.Columns()
	if err != nil {
		return err
	}
	*row = make([]any, len(columns))
	into := make([]any, len(columns))
	for i := range into {
		into[i] = &(*row)[i]
	}
	return r.Scan(into...)
}

func (x *extraction) write(ctx context.Context, all ...fetched) (err error) {
	tx, err := x.into.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	for _, f := range all {
		if err = x.insert(ctx, tx, f); err != nil {
			return errors.Join(err, tx.Rollback())
		}
	}
	return tx.Commit()
}

func (x *extraction) insert(ctx context.Context, tx *sql.Tx, f fetched) (err error) {
	if len(f.rows) == 0 {
		return nil
	}
	q, err := tx.PrepareContext(ctx, "INSERT OR REPLACE INTO "+f.table+"("+x.columns[f.table]+") VALUES (?"+strings.Repeat(", ?", len(f.rows[0])-1)+")")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, q.Close()) }()
	for _, row := range f.rows {
		if _, err := q.ExecContext(ctx, row...); err != nil {
			return err
		}
	}
	return nil
}
