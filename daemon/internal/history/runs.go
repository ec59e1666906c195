package history

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"fluewright/analysis/frame"
)

// Channels says which channels the window has rows of, usable or not.
func (s *Store) Channels(ctx context.Context, from, to time.Time) (there [frame.Count]bool, err error) {
	err = s.view(ctx, func(v snapshot) error {
		for _, st := range stretches(v.line, from.UnixMilli(), to.UnixMilli()) {
			if v.conn == nil {
				return nil // what is in memory is found below
			}
			run := st.place.Run << 40
			ids, err := list(ctx, v.conn, func(r *sql.Rows, c *int64) error { return r.Scan(c) },
				"SELECT DISTINCT id & 255 FROM chunks WHERE id >= ? AND id < ?",
				run|st.begin(0)/blockMS*blockMS/1000<<8, run|(st.hi+999)/1000<<8)
			if err != nil {
				return err
			}
			for _, c := range ids {
				if c < int64(frame.Count) {
					there[c] = true
				}
			}
		}
		return nil
	})
	if err != nil {
		return there, fmt.Errorf("read history: %w", err)
	}
	// Of what is kept by the minute alone there are no chunks.
	w := Window{From: from, To: to, Columns: 1, Channels: frame.All()}
	t, err := s.Trend(ctx, w)
	if err != nil {
		return there, err
	}
	for i, c := range w.Channels {
		there[c] = there[c] || t.Series[i][0].N > 0
	}
	return there, nil
}

// ByMinuteOnly returns how much of a window is kept as sums over minutes alone: its rows
// were too old, or were left out of a bundle.
func (s *Store) ByMinuteOnly(ctx context.Context, from, to time.Time) (only time.Duration, err error) {
	span := minutes.span.Milliseconds()
	err = s.view(ctx, func(v snapshot) error {
		for _, st := range stretches(v.line, from.UnixMilli(), to.UnixMilli()) {
			if v.conn == nil {
				return nil // memory holds rows
			}
			run := st.place.Run << 40
			var n int64
			err := v.conn.QueryRowContext(ctx, `WITH m AS (SELECT (id >> 40 << 40) | ((id & 0xffffffffff) / ?1 * ?2 << 8) AS block FROM minutes WHERE id >= ?3 AND id < ?4)
				SELECT count(*) FROM m WHERE NOT EXISTS (SELECT 1 FROM chunks WHERE id >= m.block AND id < m.block + 256)`,
				blockMS/span, blockMS/1000, run|st.begin(0)/span, run|(st.hi+span-1)/span).Scan(&n)
			if err != nil {
				return err
			}
			only += time.Duration(n) * minutes.span
		}
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("read history: %w", err)
	}
	return only, nil
}

// Boot is one run of the program.
type Boot struct {
	Run      int64
	From, To time.Time
	Sure     bool // the times are tied to a synchronised clock
	Software string
	// Configuration is its text, without secrets.
	Configuration string
}

// Boots returns the runs that reach into a window, in the order of time.
func (s *Store) Boots(ctx context.Context, from, to time.Time) (all []Boot, err error) {
	err = s.view(ctx, func(v snapshot) error {
		for _, st := range stretches(v.line, from.UnixMilli(), to.UnixMilli()) {
			p := st.place
			if n := len(all); n > 0 && all[n-1].Run == p.Run {
				all[n-1].To = time.UnixMilli(p.End()).UTC()
				continue
			}
			b := Boot{Run: p.Run, From: time.UnixMilli(p.Wall).UTC(), To: time.UnixMilli(p.End()).UTC(), Sure: p.Sure}
			if p.Run == v.run {
				b.Software, b.Configuration = s.o.Software, s.o.Configuration
			}
			if v.conn != nil {
				err := v.conn.QueryRowContext(ctx, `SELECT ifnull(s.version, ''), ifnull(c.body, '') FROM boots b
					LEFT JOIN software s ON s.id = b.software LEFT JOIN configurations c ON c.id = b.configuration WHERE b.id = ?`, p.Run).
					Scan(&b.Software, &b.Configuration)
				if err != nil {
					return err
				}
			}
			all = append(all, b)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read history: %w", err)
	}
	return all, nil
}
