package history

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"math"
	"strings"
	"time"

	"fluewright/analysis/frame"
)

// Row is all channels at one moment.
type Row struct {
	At   time.Time
	Sure bool  // At is tied to a synchronised clock
	Run  int64 // of the program
	// Values are in °C and Pa, NaN where Quality is not usable.
	Values  frame.Values
	Quality [frame.Count]frame.Quality
}

// pageSpan is how much is read at once: little enough that the writer never waits long.
const pageSpan = 6 * blockMS

// Rows goes through all rows from from to before to at full rate, in the order of time, an
// hour of a run in memory at once. It ends with the first error.
func (s *Store) Rows(ctx context.Context, from, to time.Time) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		s.mu.Lock()
		all := stretches(s.line(), from.UnixMilli(), to.UnixMilli())
		s.mu.Unlock()
		for _, st := range all {
			lo := st.begin(0)
			for page := lo / pageSpan * pageSpan; page < st.hi; page += pageSpan {
				rows, err := s.page(ctx, st.place.Run, page)
				if err != nil {
					yield(Row{}, fmt.Errorf("read history: %w", err))
					return
				}
				for i := range rows {
					if ms := rows[i].ms; ms >= lo && ms < st.hi && !yield(st.row(&rows[i]), nil) {
						return
					}
				}
			}
		}
	}
}

func (s *stretch) row(r *row) Row {
	out := Row{At: time.UnixMilli(s.place.At(r.ms)).UTC(), Sure: s.place.Sure, Run: s.place.Run, Quality: r.quality}
	for c := range out.Values {
		out.Values[c] = math.NaN()
		if r.quality[c] >= frame.Suspect {
			out.Values[c] = value(frame.Channel(c), float64(r.counts[c]))
		}
	}
	return out
}

// page reads the rows of one run from the moment ms on.
func (s *Store) page(ctx context.Context, run, ms int64) (rows []row, err error) {
	err = s.view(ctx, func(v snapshot) (err error) {
		rows, err = v.between(ctx, run, ms, ms+pageSpan)
		return err
	})
	return rows, err
}

// between reads the rows of one run from lo to before hi, both beginnings of blocks.
func (v *snapshot) between(ctx context.Context, run, lo, hi int64) (rows []row, err error) {
	if v.conn != nil {
		stored, err := list(ctx, v.conn, scanStored, "SELECT id, body FROM chunks WHERE id >= ? AND id < ? ORDER BY id",
			run<<40|lo/1000<<8, run<<40|hi/1000<<8)
		if err != nil {
			return nil, err
		}
		rows = joinBlocks(stored, v.damaged)
	}
	if run != v.run {
		return rows, nil
	}
	for _, b := range v.sealed {
		if b.start >= lo && b.start < hi {
			rows = append(rows, b.unpack()...)
		}
	}
	for i := range v.rows {
		if at := v.rows[i].ms; at >= lo && at < hi {
			rows = append(rows, v.rows[i])
		}
	}
	return rows, nil
}

// joinBlocks makes rows of chunks in the order of their numbers.
func joinBlocks(stored []stored, damaged func(uint64)) []row {
	var rows []row
	for len(stored) > 0 {
		var bodies [frame.Count][]byte
		start, n := startOf(stored[0].id), 0
		for n < len(stored) && startOf(stored[n].id) == start {
			if c := stored[n].id & 255; c < int64(frame.Count) {
				bodies[c] = stored[n].body
			}
			n++
		}
		more, bad := rowsOf(bodies, start)
		if bad > 0 {
			damaged(bad)
		}
		rows = append(rows, more...)
		stored = stored[n:]
	}
	return rows
}

// Event is a row of one of the event tables.
type Event struct {
	At   time.Time
	Sure bool // At is tied to a synchronised clock
	Run  int64
	No   int64 // within the run
	// Seen is what the wall clock said then, Trusted whether it was synchronised.
	Seen    time.Time
	Trusted bool
	// Fields are the table's own columns, by name. Moments (…_ms) are those of the run's
	// clock; Moment makes times of them.
	Fields map[string]any
	moment func(int64) time.Time
	ms     int64 // when it was, on the run's clock
}

// Moment makes the wall time of a moment of the event's run.
func (e *Event) Moment(ms int64) time.Time { return e.moment(ms) }

// Events returns what happened from from to before to, of one kind: "alarms", "notices",
// "burns", "phases", "loads", "doors", "notes", "fuel", "calibrations", "commissionings".
// What is in memory alone is among them: whoever looks does not make the storage work, and
// where the file cannot be read there is at least what happened since.
func (s *Store) Events(ctx context.Context, kind string, from, to time.Time) ([]Event, error) {
	if _, ok := insertEvent[kind]; !ok {
		return nil, fmt.Errorf("read history: there are no %q", kind)
	}
	var all []Event
	err := s.view(ctx, func(v snapshot) error {
		for _, st := range stretches(v.line, from.UnixMilli(), to.UnixMilli()) {
			lo := st.lo
			if st.first && st.lo == st.place.From {
				lo = 0
			}
			if v.conn != nil {
				some, err := v.eventsOf(ctx, kind, st.place.Run, lo, st.hi)
				if err != nil {
					return err
				}
				all = append(all, some...)
			}
			if st.place.Run == v.run {
				all = append(all, v.pendingOf(kind, lo, st.hi)...)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read history: %w", err)
	}
	return all, nil
}

func (v *snapshot) eventsOf(ctx context.Context, kind string, run, lo, hi int64) ([]Event, error) {
	return v.listEvents(ctx, kind, "WHERE id >= ? AND id < ? AND ms >= ? AND ms < ? ORDER BY id", run<<40, (run+1)<<40, lo, hi)
}

func (v *snapshot) listEvents(ctx context.Context, kind, which string, args ...any) ([]Event, error) {
	var names []string
	return list(ctx, v.conn, func(r *sql.Rows, e *Event) error {
		if names == nil {
			var err error
			if names, err = r.Columns(); err != nil {
				return err
			}
		}
		values := make([]any, len(names))
		into := make([]any, len(names))
		for i := range values {
			into[i] = &values[i]
		}
		if err := r.Scan(into...); err != nil {
			return err
		}
		id := integer(values[0])
		*e = v.event(id>>40, id&(1<<40-1), integer(values[1]), integer(values[2]), integer(values[3]) != 0)
		for i, name := range names[4:] {
			e.Fields[name] = values[4+i]
		}
		return nil
	}, "SELECT * FROM "+kind+" "+which, args...)
}

func (v *snapshot) event(run, no, ms, seen int64, trusted bool) Event {
	e := Event{Run: run, No: no, Seen: time.UnixMilli(seen).UTC(), Trusted: trusted, Fields: map[string]any{}, ms: ms}
	e.At, e.Sure = wallAt(*v, run, ms)
	e.moment = func(ms int64) time.Time { at, _ := wallAt(*v, run, ms); return at }
	return e
}

// pendingOf returns the events that are not in the file yet.
func (v *snapshot) pendingOf(kind string, lo, hi int64) (all []Event) {
	for i := range v.events {
		p := &v.events[i]
		if p.table != kind || p.ms < lo || p.ms >= hi {
			continue
		}
		e := v.event(v.run, p.no, p.ms, p.seen, p.trusted)
		for i, name := range eventColumns[kind] {
			e.Fields[strings.Trim(name, `"`)] = asStored(p.values[i])
		}
		all = append(all, e)
	}
	return all
}

// asStored is a value as it comes back from the file.
func asStored(v any) any {
	switch v := v.(type) {
	case bool:
		if v {
			return int64(1)
		}
		return int64(0)
	case int:
		return int64(v)
	case uint32:
		return int64(v)
	default:
		return v
	}
}

func integer(v any) int64 {
	n, _ := v.(int64)
	return n
}

// wallAt is the time of a moment of a run.
func wallAt(v snapshot, run, ms int64) (at time.Time, sure bool) {
	for i := range v.line {
		if p := &v.line[i]; p.Run == run && (ms < p.To || i+1 == len(v.line) || v.line[i+1].Run != run) {
			return time.UnixMilli(p.At(ms)).UTC(), p.Sure
		}
	}
	return time.Time{}, false
}
