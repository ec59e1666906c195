package history

import (
	"context"
	"database/sql"
	"fmt"
	"regexp"
	"time"

	"fluewright/daemon/internal/history/timeline"
)

// Keep says how long what is kept, and how much of it.
type Keep struct {
	// FullRate is how long every row is kept, Minutes how long their sums by the minute are,
	// and Quarters those by the quarter and the hour; zero takes the default. The half hour
	// before and after an alarm was raised stays as long as the minutes do. Events stay for
	// ever.
	FullRate, Minutes, Quarters time.Duration
	// Ceiling is how large the file may get, bytes: beyond it the oldest rows go, then the
	// oldest minutes, then quarters, then hours. It must be above Memory.
	Ceiling int64
	// Memory bounds what waits for a file that cannot be written, bytes.
	Memory int
}

const (
	day  = 24 * time.Hour
	year = 365 * day
)

// DefaultKeep is a season at full rate and ten years by the minute.
var DefaultKeep = Keep{FullRate: 200 * day, Minutes: 10 * year, Quarters: 50 * year, Ceiling: 1 << 30, Memory: 8 << 20}

func (k Keep) orDefault() Keep {
	d := DefaultKeep
	if k.FullRate > 0 {
		d.FullRate = k.FullRate
	}
	if k.Minutes > 0 {
		d.Minutes = k.Minutes
	}
	if k.Quarters > 0 {
		d.Quarters = k.Quarters
	}
	if k.Ceiling > 0 {
		d.Ceiling = k.Ceiling
	}
	if k.Memory > 0 {
		d.Memory = k.Memory
	}
	return d
}

const (
	// tidyEvery is after how many blocks what is too old goes: two hours.
	tidyEvery = 12
	// mostDeleted bounds what goes at once, rows: a wall clock in another century must not
	// wipe a history before somebody notices. It is three days of all channels.
	mostDeleted = 4000
	// aroundAlarm is how long before and after the raising of an alarm rows stay.
	aroundAlarm = 30 * time.Minute
)

// tidy takes away what is too old or too much.
func (s *Store) tidy() error {
	ctx := context.Background()
	conn, err := s.file().Conn(ctx)
	if err != nil {
		return fmt.Errorf("tidy history: %w", err)
	}
	defer conn.Close()
	s.mu.Lock()
	line, now, trusted := s.line(), int64(0), s.now.trusted
	if n := len(line); n > 0 {
		now = line[n-1].End()
	}
	s.mu.Unlock()
	err = s.transact(ctx, conn, func(tx *sql.Tx) error {
		// By age only where the time is known.
		if !trusted {
			return nil
		}
		for _, o := range []struct {
			table string
			keep  time.Duration
			id    func(run, ms int64) int64
			but   string
		}{
			{"chunks", s.o.Keep.FullRate, func(run, ms int64) int64 { return run<<40 | ms/blockMS*blockMS/1000<<8 }, notAroundAlarm},
			{"chunks", s.o.Keep.Minutes, func(run, ms int64) int64 { return run<<40 | ms/blockMS*blockMS/1000<<8 }, ""},
			{"minutes", s.o.Keep.Minutes, func(run, ms int64) int64 { return run<<40 | ms/minutes.span.Milliseconds() }, ""},
			{"quarters", s.o.Keep.Quarters, func(run, ms int64) int64 { return run<<40 | ms/quarters.span.Milliseconds() }, ""},
			{"hours", s.o.Keep.Quarters, func(run, ms int64) int64 { return run<<40 | ms/hours.span.Milliseconds() }, ""},
		} {
			run, ms, ok := momentOf(line, now-o.keep.Milliseconds())
			if !ok {
				continue
			}
			q := fmt.Sprintf("DELETE FROM %[1]s WHERE id IN (SELECT id FROM %[1]s WHERE id < ? %[2]s ORDER BY id LIMIT %[3]d)", o.table, o.but, mostDeleted)
			if _, err := tx.ExecContext(ctx, q, o.id(run, ms)); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil {
		err = s.keepCeiling(ctx, conn)
	}
	if err != nil {
		return fmt.Errorf("tidy history: %w", err)
	}
	return nil
}

// notAroundAlarm leaves the blocks near the raising of an alarm.
var notAroundAlarm = fmt.Sprintf(`AND NOT EXISTS (SELECT 1 FROM alarms a WHERE a.change = 'raised' AND a.id >= chunks.id >> 40 << 40 AND a.id < ((chunks.id >> 40) + 1) << 40
	AND a.ms BETWEEN (chunks.id >> 8 & 0xffffffff) * 1000 - %d AND (chunks.id >> 8 & 0xffffffff) * 1000 + %d)`,
	aroundAlarm.Milliseconds(), blockMS+aroundAlarm.Milliseconds())

// momentOf returns the run and the moment at a wall time, or the next one recorded after it;
// ok is false if everything is after it.
func momentOf(line []timeline.Placed, wall int64) (run, ms int64, ok bool) {
	for i := range line {
		if p := &line[i]; p.End() > wall {
			if p.Wall >= wall {
				return p.Run, p.From, i > 0
			}
			return p.Run, p.Moment(wall), true
		}
	}
	return 0, 0, false
}

// keepCeiling takes the oldest away until the file holds no more than it may.
func (s *Store) keepCeiling(ctx context.Context, conn *sql.Conn) error {
	trimmed := int64(0)
	for {
		var pages, free, size int64
		err := conn.QueryRowContext(ctx, `SELECT (SELECT page_count FROM pragma_page_count), (SELECT freelist_count FROM pragma_freelist_count),
			(SELECT page_size FROM pragma_page_size)`).Scan(&pages, &free, &size)
		if err != nil {
			return err
		}
		s.mu.Lock()
		s.health.Bytes, s.health.UsedBytes = pages*size, (pages-free)*size
		s.health.Trimmed += uint64(trimmed)
		s.mu.Unlock()
		if (pages-free)*size <= s.o.Keep.Ceiling {
			break
		}
		n, err := s.trim(ctx, conn)
		if err != nil {
			return err
		}
		if n == 0 {
			break // only events are left, and they stay
		}
		trimmed += n
	}
	if trimmed > 0 {
		s.o.Log.Warn("history is at its ceiling: the oldest rows went", "file", s.health.Path, "rows", trimmed, "ceiling", s.o.Keep.Ceiling)
		s.say("history-trimmed", fmt.Sprintf("The history is at its ceiling of %d MB: its oldest %d rows went before their time", s.o.Keep.Ceiling/1e6, trimmed), 0)
	}
	return nil
}

// trim takes away the oldest of what is dearest, and returns how much.
func (s *Store) trim(ctx context.Context, conn *sql.Conn) (n int64, err error) {
	err = s.transact(ctx, conn, func(tx *sql.Tx) error {
		for _, table := range []string{"chunks", "minutes", "quarters", "hours"} {
			r, err := tx.ExecContext(ctx, fmt.Sprintf("DELETE FROM %[1]s WHERE id IN (SELECT id FROM %[1]s ORDER BY id LIMIT %[2]d)", table, mostDeleted))
			if err != nil {
				return err
			}
			if n, err = r.RowsAffected(); err != nil || n > 0 {
				return err
			}
		}
		return nil
	})
	return n, err
}

// secret is a line of a configuration that holds one, or an address with one in it.
var (
	secret     = regexp.MustCompile(`(?im)^(\s*[\w."-]*(?:password|passwd|secret|token|api-?key|credential)[\w."-]*\s*=\s*).+$`)
	secretFile = regexp.MustCompile(`(?i)-file"?\s*=\s*$`)
	userInfo   = regexp.MustCompile(`(://[^/\s:@"']*:)[^/\s@"']+@`)
)

// scrub takes secrets out of a configuration. Its parser refuses most: this is for the rest.
func scrub(text string) string {
	text = secret.ReplaceAllStringFunc(text, func(line string) string {
		key := secret.FindStringSubmatch(line)[1]
		if secretFile.MatchString(key) {
			return line
		}
		return key + `"(removed)"`
	})
	return userInfo.ReplaceAllString(text, "${1}(removed)@")
}
