package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history/timeline"
)

// Archive is a history that is only read: a file, a copy of one, or a bundle. It works on a
// copy of its own, so that nothing that it does can harm what was opened.
type Archive struct {
	s          *Store
	dir        string   // of the copy
	lock       *os.File // says that the directory is in use; nil within a store's own
	from, to   time.Time
	unreadable uint64
}

// ErrEmpty says that a history holds no run of the program.
var ErrEmpty = errors.New("the history is empty")

// Open opens the history at path: a file (with its -wal beside it, if there is one), the
// directory of one, or a bundle. The file of a daemon that runs can be opened too: it is
// copied between two commits.
func Open(ctx context.Context, path string) (*Archive, error) {
	dir, lock, err := ownDir()
	if err != nil {
		return nil, fmt.Errorf("open history: %w", err)
	}
	a := &Archive{dir: dir, lock: lock}
	if err := a.open(ctx, path); err != nil {
		if troubleOf(err) == Damaged {
			err = fmt.Errorf("it is damaged, or was cut short while it was copied: %w", err)
		}
		return nil, errors.Join(fmt.Errorf("open history %s: %w", path, err), a.Close())
	}
	return a, nil
}

func (a *Archive) open(ctx context.Context, path string) error {
	if err := fetch(path, filepath.Join(a.dir, FileName)); err != nil {
		return err
	}
	return a.attach(ctx)
}

// attach opens the file that lies in the directory.
func (a *Archive) attach(ctx context.Context) error {
	db, err := openFile(filepath.Join(a.dir, FileName))
	if err != nil {
		return err
	}
	a.s = New(Options{Dir: a.dir, Identity: "reader", Log: slog.New(slog.DiscardHandler)})
	a.s.db = db
	if err := migrate(ctx, db, migrations); err != nil {
		return err
	}
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	all := attaching{s: a.s, run: math.MaxInt64, written: map[placeKey]timeline.Placed{}}
	err = a.s.transact(ctx, conn, func(tx *sql.Tx) error {
		if err := all.recover(ctx, tx); err != nil {
			return fmt.Errorf("end what was cut off: %w", err)
		}
		if err := all.sumHours(ctx, tx); err != nil {
			return fmt.Errorf("sum up hours: %w", err)
		}
		return all.loadPast(ctx, tx)
	})
	if err = errors.Join(err, conn.Close()); err != nil {
		return err
	}
	a.unreadable = all.unreadable
	if err := a.place(all.past); err != nil {
		return err
	}
	return a.clip(ctx)
}

// clip narrows the span to that of the bundle, if it is one: its clock goes back farther.
func (a *Archive) clip(ctx context.Context) error {
	return a.s.view(ctx, func(v snapshot) error {
		windows, err := list(ctx, v.conn, func(r *sql.Rows, name *string) error { return r.Scan(name) },
			"SELECT name FROM sqlite_schema WHERE type = 'table' AND name = 'bundle'")
		if err != nil || len(windows) == 0 {
			return err
		}
		var from, to int64
		if err := v.conn.QueryRowContext(ctx, "SELECT from_ms, to_ms FROM bundle").Scan(&from, &to); err != nil {
			return err
		}
		if from >= to {
			return fmt.Errorf("the bundle's window: %w", errDamaged)
		}
		a.from, a.to = time.UnixMilli(from).UTC(), time.UnixMilli(to).UTC()
		return nil
	})
}

// Unreadable counts damaged pieces that were left out.
func (a *Archive) Unreadable() uint64 { return a.unreadable }

// place gives the store what it would know if the last run were its own.
func (a *Archive) place(past []timeline.Segment) error {
	n := len(past) - 1
	if n < 0 {
		return ErrEmpty
	}
	for _, p := range past {
		// The numbers of rows have 40 bits for the moment.
		if p.From < 0 || p.From > p.To || p.To >= 1<<40 || p.Seen < 0 || p.Seen >= 1<<48 || p.Uptime < 0 || p.Uptime >= 1<<48 {
			return fmt.Errorf("the clock of run %d: %w", p.Run, errDamaged)
		}
	}
	last := past[n]
	a.s.past, a.s.segments, a.s.run = past[:n], past[n:], last.Run
	a.s.now = moment{ms: last.To - a.s.o.Period.Milliseconds(), some: true}
	line := a.s.line()
	a.from, a.to = time.UnixMilli(line[0].Wall).UTC(), time.UnixMilli(line[len(line)-1].End()).UTC()
	return nil
}

// Close removes the copy.
func (a *Archive) Close() error {
	var err error
	if a.s != nil {
		err = a.s.detach()
	}
	err = errors.Join(err, os.RemoveAll(a.dir))
	if a.lock != nil {
		err = errors.Join(err, a.lock.Close())
	}
	return err
}

// Span returns when the history begins and ends. A bundle also knows of alarms, phases and
// burns from before.
func (a *Archive) Span() (from, to time.Time) { return a.from, a.to }

// Rows goes through all rows of a window at full rate; see [Store.Rows].
func (a *Archive) Rows(ctx context.Context, from, to time.Time) iter.Seq2[Row, error] {
	return a.s.Rows(ctx, from, to)
}

// Trend reduces a window; see [Store.Trend].
func (a *Archive) Trend(ctx context.Context, w Window) (Trend, error) { return a.s.Trend(ctx, w) }

// Events returns what happened in a window; see [Store.Events].
func (a *Archive) Events(ctx context.Context, kind string, from, to time.Time) ([]Event, error) {
	return a.s.Events(ctx, kind, from, to)
}

// Channels says which channels a window has rows of; see [Store.Channels].
func (a *Archive) Channels(ctx context.Context, from, to time.Time) ([frame.Count]bool, error) {
	return a.s.Channels(ctx, from, to)
}

// ByMinuteOnly says how much of a window is kept by the minute alone; see [Store.ByMinuteOnly].
func (a *Archive) ByMinuteOnly(ctx context.Context, from, to time.Time) (time.Duration, error) {
	return a.s.ByMinuteOnly(ctx, from, to)
}

// Boots returns the runs that reach into a window; see [Store.Boots].
func (a *Archive) Boots(ctx context.Context, from, to time.Time) ([]Boot, error) {
	return a.s.Boots(ctx, from, to)
}
