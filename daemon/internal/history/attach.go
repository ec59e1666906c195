package history

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"fluewright/daemon/internal/history/chunk"
	"fluewright/daemon/internal/history/timeline"
)

// mostSetAside bounds how many damaged files may lie about.
const mostSetAside = 5

// attach opens the file, or makes it, and puts this run into it. A damaged one is set aside.
func (s *Store) attach() error {
	s.sweep()
	path := filepath.Join(s.o.Dir, FileName)
	err := s.tryAttach(path)
	if err == nil || troubleOf(err) != Damaged {
		return err
	}
	name, aside := setAside(path)
	if aside != nil {
		return errors.Join(err, aside)
	}
	s.o.Log.Error("history is damaged and set aside; a new one is begun", "file", name, "error", err)
	s.mu.Lock()
	s.health.SetAside, s.health.lossAt = name, time.Now()
	s.mu.Unlock()
	s.say("history-damaged", "The history was damaged and is set aside as "+filepath.Base(name)+"; a new one is begun", 0)
	return s.tryAttach(path)
}

// setAside renames a file, and what belongs to it, to a name that nothing has.
func setAside(path string) (string, error) {
	for i := 1; i <= mostSetAside; i++ {
		name := path + ".damaged-" + strconv.Itoa(i)
		if _, err := os.Lstat(name); !errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err := os.Rename(path, name); err != nil {
			return "", fmt.Errorf("set damaged history aside: %w", err)
		}
		if err := os.Rename(path+"-wal", name+"-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", fmt.Errorf("set damaged history aside: %w", err)
		}
		return name, nil
	}
	return "", fmt.Errorf("set damaged history aside: there are %d already", mostSetAside)
}

func (s *Store) tryAttach(path string) (err error) {
	ctx := context.Background()
	db, err := openFile(path)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, db.Close())
		}
	}()
	if err := migrate(ctx, db, migrations); err != nil {
		return err
	}
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	a := attaching{s: s, written: map[placeKey]timeline.Placed{}}
	err = errors.Join(s.transact(ctx, conn, func(tx *sql.Tx) error { return a.begin(ctx, tx) }), conn.Close())
	if err != nil {
		return fmt.Errorf("take history over: %w", err)
	}
	s.w.written = a.written
	s.mu.Lock()
	defer s.mu.Unlock()
	s.db, s.run, s.past, s.placed = db, a.run, a.past, nil
	if a.fresh {
		s.mem.tailed = s.mem.gone // whatever there was, it is not in this file
	}
	s.health.Unreadable += a.unreadable
	return nil
}

// detach closes the file. Readers that have begun end first.
func (s *Store) detach() error {
	s.mu.Lock()
	db := s.db
	s.db = nil
	s.mu.Unlock()
	if db == nil {
		return nil
	}
	return db.Close()
}

// attaching is the work of the first transaction.
type attaching struct {
	s          *Store
	run        int64
	fresh      bool // this run was not in the file before
	past       []timeline.Segment
	written    map[placeKey]timeline.Placed
	unreadable uint64
}

func (a *attaching) begin(ctx context.Context, tx *sql.Tx) error {
	if err := a.enter(ctx, tx); err != nil {
		return fmt.Errorf("enter the run: %w", err)
	}
	if err := a.recover(ctx, tx); err != nil {
		return fmt.Errorf("take over the last run: %w", err)
	}
	if err := a.sumHours(ctx, tx); err != nil {
		return fmt.Errorf("sum up hours: %w", err)
	}
	if err := a.loadPast(ctx, tx); err != nil {
		return fmt.Errorf("read the clock: %w", err)
	}
	return nil
}

// enter finds this run in the file or puts it there.
func (a *attaching) enter(ctx context.Context, tx *sql.Tx) error {
	s := a.s
	err := tx.QueryRowContext(ctx, "SELECT id FROM boots WHERE identity = ?", s.o.Identity).Scan(&a.run)
	if !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	a.fresh = true
	s.mu.Lock()
	first := s.segments[0]
	s.mu.Unlock()
	for _, q := range []struct {
		query string
		args  []any
	}{
		{"INSERT OR IGNORE INTO software(version) VALUES (?)", []any{s.o.Software}},
		{"INSERT OR IGNORE INTO configurations(body) VALUES (?)", []any{s.o.Configuration}},
		{`INSERT INTO boots(identity, kernel, uptime_ms, seen_ms, trusted, software, configuration) VALUES (?, ?, ?, ?, ?,
			(SELECT id FROM software WHERE version = ?), (SELECT id FROM configurations WHERE body = ?))`, []any{
			s.o.Identity, s.o.Kernel, first.Uptime, first.Seen - first.From, first.Trusted, s.o.Software, s.o.Configuration,
		}},
	} {
		r, err := tx.ExecContext(ctx, q.query, q.args...)
		if err != nil {
			return err
		}
		if a.run, err = r.LastInsertId(); err != nil {
			return err
		}
	}
	return nil
}

// recover makes blocks of what earlier runs left in the tail, and ends them.
func (a *attaching) recover(ctx context.Context, tx *sql.Tx) error {
	open, err := list(ctx, tx, func(r *sql.Rows, v *int64) error { return r.Scan(v) },
		"SELECT id FROM boots WHERE ended_ms IS NULL AND id < ?", a.run)
	if err != nil {
		return err
	}
	for _, run := range open {
		if err := a.endRun(ctx, tx, run); err != nil {
			return err
		}
	}
	return nil
}

// sumHours makes the hours of runs that lack them: a former release knows none, and leaves
// them out of what it writes, which is whole runs or the end of one.
func (a *attaching) sumHours(ctx context.Context, tx *sql.Tx) error {
	lacking, err := list(ctx, tx, func(r *sql.Rows, v *int64) error { return r.Scan(v) }, fmt.Sprintf(
		`WITH ends AS (SELECT b.id AS boot, (SELECT max(id) FROM quarters WHERE id >= b.id << 40 AND id < (b.id + 1) << 40) & 0xffffffffff AS last FROM boots b)
		SELECT boot FROM ends WHERE last IS NOT NULL AND
			(SELECT sum(n) FROM quarters WHERE id >= boot << 40 | last / %[1]d * %[1]d AND id <= boot << 40 | last) >
			ifnull((SELECT n FROM hours WHERE id = boot << 40 | last / %[1]d), 0)`, int64(hours.span/quarters.span)))
	if err != nil {
		return err
	}
	for _, run := range lacking {
		if _, err := tx.ExecContext(ctx, sumQuarters, run<<40, (run+1)<<40); err != nil {
			return err
		}
	}
	return nil
}

type stored struct {
	id   int64
	body []byte
}

func scanStored(r *sql.Rows, v *stored) error { return r.Scan(&v.id, &v.body) }

func (a *attaching) endRun(ctx context.Context, tx *sql.Tx, run int64) error {
	do := func(query string, args ...any) error {
		_, err := tx.ExecContext(ctx, query, args...)
		return err
	}
	tail, err := list(ctx, tx, scanStored, "SELECT id, body FROM tail WHERE id >= ? AND id < ? ORDER BY id", run<<40, (run+1)<<40)
	if err != nil {
		return err
	}
	var rows []row
	for _, t := range tail {
		more, damaged := unpackTail(t.body, t.id&(1<<40-1))
		rows = append(rows, more...)
		a.unreadable += damaged
	}
	slices.SortFunc(rows, func(x, y row) int { return cmp.Compare(x.ms, y.ms) })
	rows = slices.CompactFunc(rows, func(x, y row) bool { return x.ms == y.ms })
	end := int64(0)
	for len(rows) > 0 {
		n := min(sameBlock(rows), chunk.MaxSamples)
		b := pack(rows[:n])
		if err := putBlock(run, b, do); err != nil {
			return err
		}
		end = b.end + 1
		rows = rows[n:]
	}
	if err := do("DELETE FROM tail WHERE id >= ? AND id < ?", run<<40, (run+1)<<40); err != nil {
		return err
	}
	if end == 0 {
		if end, err = lastOf(ctx, tx, run); err != nil {
			return err
		}
	}
	for _, t := range eventTables {
		var last sql.NullInt64
		q := "SELECT max(ms) FROM " + t.name + " WHERE id >= ? AND id < ?"
		if err := tx.QueryRowContext(ctx, q, run<<40, (run+1)<<40).Scan(&last); err != nil {
			return err
		}
		end = max(end, last.Int64+1)
	}
	return do("UPDATE boots SET ended_ms = ? WHERE id = ?", end, run)
}

// lastOf returns when the last chunk of a run ends.
func lastOf(ctx context.Context, tx *sql.Tx, run int64) (int64, error) {
	end := int64(0)
	chunks, err := list(ctx, tx, scanStored, `SELECT id, body FROM chunks WHERE id >= ?1 << 40
		AND id >= (SELECT max(id) FROM chunks WHERE id < (?1 + 1) << 40) >> 8 << 8 AND id < (?1 + 1) << 40`, run)
	if err != nil {
		return 0, err
	}
	for _, c := range chunks {
		start := c.id >> 8 & (1<<32 - 1) * 1000
		samples, err := chunk.Decode(nil, c.body)
		if err != nil {
			end = max(end, start+blockMS)
			continue
		}
		if n := len(samples); n > 0 {
			end = max(end, start+samples[n-1].At+1)
		}
	}
	return end, nil
}

// loadPast reads what earlier runs saw of the clock.
func (a *attaching) loadPast(ctx context.Context, tx *sql.Tx) error {
	all, err := list(ctx, tx, func(r *sql.Rows, p *timeline.Placed) error {
		return r.Scan(&p.Run, &p.Kernel, &p.Uptime, &p.From, &p.To, &p.Seen, &p.Trusted, &p.Wall, &p.Rate, &p.Sure)
	}, `SELECT c.boot, b.kernel, b.uptime_ms, c.from_ms, b.ended_ms, c.seen_ms, c.trusted, c.wall_ms, c.rate, c.sure
		FROM clock c JOIN boots b ON b.id = c.boot WHERE c.boot < ? ORDER BY c.boot, c.from_ms`, a.run)
	if err != nil {
		return err
	}
	for i, p := range all {
		if i+1 < len(all) && all[i+1].Run == p.Run {
			p.To = all[i+1].From
		}
		p.To = max(p.To, p.From)
		a.past = append(a.past, p.Segment)
		a.written[placeKey{p.Run, p.From}] = p
	}
	return nil
}

// list reads all rows of a query.
func list[T any](ctx context.Context, q interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}, scan func(*sql.Rows, *T) error, query string, args ...any,
) (all []T, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var v T
		if err := scan(rows, &v); err != nil {
			return nil, err
		}
		all = append(all, v)
	}
	return all, rows.Err()
}
