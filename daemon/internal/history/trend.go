package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"fluewright/analysis/frame"
	"fluewright/daemon/internal/history/chunk"
)

// MostColumns bounds what one trend may ask for.
const MostColumns = 10_000

// Window is what is asked for: so many columns from From to before To.
type Window struct {
	From, To time.Time
	Columns  int
	Channels []frame.Channel
}

// Column sums up a channel over one column. Min, Mean and Max are in °C or Pa, and NaN where
// there was no reading: a gap.
type Column struct {
	N, Good        int // readings, and those of good quality
	Min, Mean, Max float64
}

// Trend is a window reduced to columns.
type Trend struct {
	Window
	// Series holds the columns of each channel.
	Series [][]Column
	// Resolution is how far apart in time the readings are that it was made from: a column
	// that is narrower can be empty without being a gap.
	Resolution time.Duration
	// Partial says that the file could not be read: there is only what is in memory.
	Partial bool
}

// Trend reduces a window. Columns of a minute or wider are made of sums over a minute, those
// of a quarter of an hour or an hour or wider of quarters or hours; each counts where its middle is. Memory is
// bounded by the columns, not by the window.
func (s *Store) Trend(ctx context.Context, w Window) (Trend, error) {
	if w.Columns < 1 || w.Columns > MostColumns || !w.From.Before(w.To) {
		return Trend{}, fmt.Errorf("trend of %d columns from %v to %v: there is none", w.Columns, w.From, w.To)
	}
	r := newReduction(w)
	t := Trend{Window: w, Resolution: s.o.Period}
	width := w.To.Sub(w.From) / time.Duration(w.Columns)
	var level *rollUp
	for _, l := range rollUps {
		if width >= l.span {
			level, t.Resolution = &l, l.span
		}
	}
	err := s.view(ctx, func(v snapshot) error {
		t.Partial = v.conn == nil
		for _, st := range stretches(v.line, w.From.UnixMilli(), w.To.UnixMilli()) {
			if err := r.take(ctx, v, st, level); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return Trend{}, fmt.Errorf("read trend: %w", err)
	}
	t.Series = r.columns()
	return t, nil
}

// reduction gathers sums by channel and column.
type reduction struct {
	w        Window
	from, to int64 // ms
	sums     [][]chunk.Stats
}

func newReduction(w Window) *reduction {
	r := &reduction{w: w, from: w.From.UnixMilli(), to: w.To.UnixMilli()}
	for range w.Channels {
		r.sums = append(r.sums, make([]chunk.Stats, w.Columns))
	}
	return r
}

// column is where a wall time goes, at the edge if it is beyond.
func (r *reduction) column(wall int64) int {
	n := int64(r.w.Columns)
	return int(min(max((wall-r.from)*n/(r.to-r.from), 0), n-1))
}

// at is where a sum over span ms from ms on goes: by its middle, as far as the stretch goes.
func (r *reduction) at(st *stretch, ms, span int64) int {
	return r.column(st.place.At(min(ms+span/2, max(st.place.To-1, ms))))
}

func (r *reduction) take(ctx context.Context, v snapshot, st stretch, level *rollUp) error {
	if v.conn != nil {
		var err error
		if level != nil {
			err = r.rolled(ctx, v.conn, &st, level)
		} else {
			err = r.chunks(ctx, v, &st)
		}
		if err != nil {
			return err
		}
	}
	if st.place.Run != v.run {
		return nil
	}
	lo := st.begin(0)
	for _, b := range v.sealed {
		if b.end < lo || b.start >= st.hi {
			continue
		}
		if level != nil {
			r.minutes(b, &st)
			continue
		}
		r.rows(b.unpack(), &st)
	}
	r.rows(v.rows, &st)
	return nil
}

func (r *reduction) rows(rows []row, st *stretch) {
	lo := st.begin(0)
	for i := range rows {
		if ms := rows[i].ms; ms >= lo && ms < st.hi {
			col := r.at(st, ms, 0)
			for k, c := range r.w.Channels {
				r.sums[k][col].Add(int64(rows[i].counts[c]), rows[i].quality[c])
			}
		}
	}
}

func (r *reduction) minutes(b *block, st *stretch) {
	span := minutes.span.Milliseconds()
	lo := st.begin(span)
	for i := range b.minutes {
		if ms := b.minutes[i].no * span; ms >= lo && ms < st.hi {
			col := r.at(st, ms, span)
			for k, c := range r.w.Channels {
				r.sums[k][col].Merge(b.minutes[i].stats[c])
			}
		}
	}
}

// rolled reads a table of sums.
func (r *reduction) rolled(ctx context.Context, conn *sql.Conn, st *stretch, level *rollUp) (err error) {
	columns := "id, n, odd"
	for _, c := range r.w.Channels {
		columns += fmt.Sprintf(", %[1]v_min, %[1]v_range, %[1]v_mean", c)
	}
	span := level.span.Milliseconds()
	lo := (st.begin(span) + span - 1) / span
	hi := (st.hi + span - 1) / span
	run := st.place.Run << 40
	rows, err := conn.QueryContext(ctx, "SELECT "+columns+" FROM "+level.table+" WHERE id >= ? AND id < ?", run|lo, run|hi)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	values := make([]any, 3+3*len(r.w.Channels))
	into := make([]any, len(values))
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		col := r.at(st, integer(values[0])&(1<<40-1)*span, span)
		odd := oddities(values[2])
		for k, c := range r.w.Channels {
			r.sums[k][col].Merge(statsOf(c, integer(values[1]), values[3+3*k:], odd))
		}
	}
	return rows.Err()
}

// chunks reads rows at full rate.
func (r *reduction) chunks(ctx context.Context, v snapshot, st *stretch) (err error) {
	which := make([]int, frame.Count)
	var list []string
	for i := range which {
		which[i] = -1
	}
	for k, c := range r.w.Channels {
		which[c] = k
		list = append(list, fmt.Sprint(int(c)))
	}
	lo := st.begin(0)
	run := st.place.Run << 40
	rows, err := v.conn.QueryContext(ctx, "SELECT id, body FROM chunks WHERE id >= ? AND id < ? AND id & 255 IN ("+strings.Join(list, ",")+")",
		run|lo/blockMS*blockMS/1000<<8, run|(st.hi+999)/1000<<8)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	var samples []chunk.Sample
	var body sql.RawBytes
	var id int64
	for rows.Next() {
		if err := rows.Scan(&id, &body); err != nil {
			return err
		}
		if samples, err = chunk.Decode(samples[:0], body); err != nil {
			v.damaged(1)
			continue
		}
		start, k := startOf(id), which[id&255]
		for _, s := range samples {
			if ms := start + s.At; ms >= lo && ms < st.hi {
				r.sums[k][r.at(st, ms, 0)].Add(s.Count, s.Quality)
			}
		}
	}
	return rows.Err()
}

// startOf is the first moment that a chunk can hold, by its number.
func startOf(id int64) int64 { return id >> 8 & (1<<32 - 1) * 1000 }

func (r *reduction) columns() [][]Column {
	all := make([][]Column, len(r.sums))
	for k, sums := range r.sums {
		c := r.w.Channels[k]
		all[k] = make([]Column, len(sums))
		for i, v := range sums {
			col := Column{N: v.N, Good: v.Good, Min: math.NaN(), Mean: math.NaN(), Max: math.NaN()}
			if v.N > 0 {
				col.Min, col.Max = value(c, float64(v.Min)), value(c, float64(v.Max))
				col.Mean = value(c, float64(v.Sum)/float64(v.N))
			}
			all[k][i] = col
		}
	}
	return all
}
