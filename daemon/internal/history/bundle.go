package history

import (
	"archive/zip"
	"compress/flate"
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

// Bundled says what a bundle holds.
type Bundled struct {
	From, To time.Time
	Bytes    int64
	// FullFrom is from when on every row is there; before it there are sums by the minute
	// and the rows around alarms. From, if the bundle did not have to be made smaller.
	FullFrom time.Time
	Detail   Detail
}

// Bundle writes a window as one zip for mail: history.db, a SQLite file of the same form
// with the window alone, the last configuration, and what it is in words. Beyond most bytes
// the oldest rows at full rate are left out; zero is no bound.
func (a *Archive) Bundle(ctx context.Context, w io.Writer, from, to time.Time, detail Detail, most int64) (Bundled, error) {
	b := Bundled{From: from, To: to, FullFrom: from, Detail: detail}
	begin, end := a.Span()
	if b.From.Before(begin) {
		b.From, b.FullFrom = begin, begin
	}
	if b.To.After(end) {
		b.To = end
	}
	if !from.Before(to) || !from.Before(end) || !begin.Before(to) {
		return b, fmt.Errorf("make bundle: nothing is kept from %v to %v", from, to)
	}
	if detail != FullRate {
		b.FullFrom = b.To
	}
	path := filepath.Join(a.dir, "bundle.zip")
	const tries = 5
	for range tries {
		if err := a.pack(ctx, path, &b); err != nil {
			return b, fmt.Errorf("make bundle: %w", err)
		}
		if most <= 0 || b.Bytes <= most || !b.FullFrom.Before(b.To) {
			break
		}
		full, err := a.dropFrom(ctx, b, b.Bytes-most)
		if err != nil {
			return b, fmt.Errorf("make bundle smaller: %w", err)
		}
		b.FullFrom = full
	}
	if most > 0 && b.Bytes > most {
		return b, fmt.Errorf("make bundle: %d bytes, and at most %d are wanted: choose a shorter window", b.Bytes, most)
	}
	file, err := os.Open(path)
	if err != nil {
		return b, fmt.Errorf("make bundle: %w", err)
	}
	defer file.Close()
	if _, err := io.Copy(w, file); err != nil {
		return b, fmt.Errorf("write bundle: %w", err)
	}
	return b, nil
}

// dropFrom returns from when on every row can stay if so many bytes must go.
func (a *Archive) dropFrom(ctx context.Context, b Bundled, over int64) (full time.Time, err error) {
	over += over/16 + 4096 // the zip's and the tables' own share
	full = b.To
	err = a.s.view(ctx, func(v snapshot) error {
		for _, st := range stretches(v.line, b.FullFrom.UnixMilli(), b.To.UnixMilli()) {
			run := st.place.Run << 40
			blocks, err := list(ctx, v.conn, func(r *sql.Rows, x *[2]int64) error { return r.Scan(&x[0], &x[1]) },
				"SELECT id >> 8 & 0xffffffff, sum(length(body)) FROM chunks WHERE id >= ? AND id < ? "+notAroundAlarm+" GROUP BY id >> 8 ORDER BY id >> 8",
				run|st.begin(0)/1000<<8, run|st.hi/1000<<8)
			if err != nil {
				return err
			}
			for _, x := range blocks {
				if over <= 0 {
					full = time.UnixMilli(st.place.At(x[0] * 1000)).UTC()
					return nil
				}
				over -= x[1]
			}
		}
		return nil
	})
	return full, err
}

// pack makes the bundle in a file.
func (a *Archive) pack(ctx context.Context, path string, b *Bundled) error {
	part := filepath.Join(a.dir, "bundle.db")
	if err := os.Remove(part); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := a.cut(ctx, part, b); err != nil {
		return err
	}
	boots, err := a.Boots(ctx, b.From, b.To)
	if err != nil {
		return err
	}
	configuration := ""
	if len(boots) > 0 {
		configuration = boots[len(boots)-1].Configuration
	}
	db, err := os.Open(part)
	if err != nil {
		return err
	}
	defer db.Close()
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	z := zip.NewWriter(file)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestCompression) })
	for _, part := range []struct {
		name string
		from io.Reader
	}{{"README.txt", strings.NewReader(b.about())}, {"configuration.toml", strings.NewReader(configuration)}, {FileName, db}} {
		var w io.Writer
		if w, err = z.CreateHeader(&zip.FileHeader{Name: part.name, Method: zip.Deflate, Modified: b.To}); err == nil {
			_, err = io.Copy(w, part.from)
		}
		if err != nil {
			break
		}
	}
	err = errors.Join(err, z.Close())
	if info, stat := file.Stat(); stat == nil {
		b.Bytes = info.Size()
	}
	return errors.Join(err, file.Close())
}

const about = `A part of the history of a furnace, %s to %s.

history.db is a SQLite file. "fluewright trend", "fluewright burns" and "fluewright replay"
read this bundle as it is; any SQLite program opens history.db. Times are UTC, units SI:

    SELECT * FROM burn_log;
    SELECT time, alarm, channel, state, message FROM alarm_log;
    SELECT time, flue_mean, draft_min FROM trend_1min;

%sconfiguration.toml is the configuration at the end, without secrets.

It tells what the sensors said and what was made of it, and nothing more: that no alarm is
listed does not mean that there was no danger.
`

func (b *Bundled) about() string {
	rows := "Every row is there, in the table chunks, packed.\n\n"
	switch {
	case b.Detail == EventsOnly:
		rows = "It was asked for without readings: it holds what happened alone.\n\n"
	case b.Detail == ByMinute:
		rows = "It was asked for with sums by the minute: it holds every row only around alarms.\n\n"
	case b.FullFrom.After(b.From):
		rows = fmt.Sprintf("To be small enough, it holds every row only from %s on and around\nalarms; before, there are sums by the minute.\n\n", b.FullFrom.Format(time.RFC3339))
	}
	return fmt.Sprintf(about, b.From.UTC().Format(time.RFC3339), b.To.UTC().Format(time.RFC3339), rows)
}

// cut makes a SQLite file of the window alone.
func (a *Archive) cut(ctx context.Context, path string, b *Bundled) error {
	if err := plain(ctx, path, func(db *sql.DB) error { return migrate(ctx, db, migrations) }); err != nil {
		return err
	}
	err := a.s.view(ctx, func(v snapshot) (err error) {
		if _, err := v.conn.ExecContext(ctx, "ATTACH DATABASE ? AS part", path); err != nil {
			return err
		}
		defer func() {
			_, detached := v.conn.ExecContext(ctx, "DETACH DATABASE part")
			err = errors.Join(err, detached)
		}()
		return a.s.transact(ctx, v.conn, func(tx *sql.Tx) error { return copyWindow(ctx, tx, v.line, b) })
	})
	if err != nil {
		return err
	}
	return plain(ctx, path, func(db *sql.DB) error {
		_, err := db.ExecContext(ctx, "PRAGMA optimize")
		return err
	})
}

// plain works on a file that stands alone: no log beside it.
func plain(ctx context.Context, path string, do func(*sql.DB) error) error {
	db, err := sql.Open("sqlite", path)
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	if err = do(db); err == nil {
		_, err = db.ExecContext(ctx, "PRAGMA journal_mode = DELETE")
	}
	return errors.Join(err, db.Close())
}

// always lists what goes along whole: what stands in the window may have begun long before it
// and end after it. Of burns those go that began before its end: they keep their numbers, and
// the last is one that the window has something of.
var always = []string{"alarms", "phases", "notices"}

// copyWindow copies the rows of the window. The runs and what is known of their clocks all
// go along: they say where in time the rows belong.
func copyWindow(ctx context.Context, tx *sql.Tx, line []timeline.Placed, b *Bundled) error {
	from, full, to := b.From.UnixMilli(), b.FullFrom.UnixMilli(), b.To.UnixMilli()
	do := func(table, where string, args ...any) error {
		columns, err := list(ctx, tx, func(r *sql.Rows, name *string) error { return r.Scan(name) },
			"SELECT name FROM pragma_table_info(?, 'part')", table)
		if err != nil {
			return err
		}
		names := `"` + strings.Join(columns, `", "`) + `"`
		_, err = tx.ExecContext(ctx, "INSERT OR REPLACE INTO part."+table+" ("+names+") SELECT "+names+" FROM main."+table+" WHERE "+where, args...)
		return err
	}
	for _, table := range []string{"channels", "software", "boots", "clock"} {
		if err := do(table, "true"); err != nil {
			return err
		}
	}
	for _, st := range stretches(line, from, to) {
		run := st.place.Run << 40
		if err := do("configurations", "id IN (SELECT configuration FROM boots WHERE id = ?)", st.place.Run); err != nil {
			return err
		}
		lo := st.begin(0)
		for _, t := range eventTables {
			if t.name == "burns" || slices.Contains(always, t.name) {
				continue
			}
			if err := do(t.name, "id >= ? AND id < ? AND ms >= ? AND ms < ?", run, run+(1<<40), lo, st.hi); err != nil {
				return err
			}
		}
		if b.Detail == EventsOnly {
			continue
		}
		if err := do("chunks", "id >= ? AND id < ? AND (? OR NOT (true "+notAroundAlarm+"))",
			run|lo/blockMS*blockMS/1000<<8, run|(st.hi+999)/1000<<8, full <= from); err != nil {
			return err
		}
		for _, r := range rollUps {
			span := r.span.Milliseconds()
			if err := do(r.table, "id >= ? AND id < ?", run|lo/span, run|(st.hi+span-1)/span); err != nil {
				return err
			}
		}
	}
	for _, st := range stretches(line, math.MinInt64, math.MaxInt64) {
		run := st.place.Run << 40
		for _, table := range always {
			if err := do(table, "id >= ? AND id < ?", run, run+(1<<40)); err != nil {
				return err
			}
		}
	}
	for _, st := range stretches(line, math.MinInt64, to) {
		run := st.place.Run << 40
		if err := do("burns", "id >= ? AND id < ? AND start_ms < ?", run, run+(1<<40), st.hi); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, "CREATE TABLE part.bundle (from_ms INTEGER NOT NULL, to_ms INTEGER NOT NULL)"); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO part.bundle VALUES (?, ?)", from, to); err != nil {
		return err
	}
	if full <= from {
		return nil
	}
	for _, st := range stretches(line, full, to) {
		run := st.place.Run << 40
		if err := do("chunks", "id >= ? AND id < ?", run|st.begin(0)/blockMS*blockMS/1000<<8, run|(st.hi+999)/1000<<8); err != nil {
			return err
		}
	}
	return nil
}
