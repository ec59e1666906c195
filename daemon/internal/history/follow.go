package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"fluewright/daemon/internal/history/timeline"
)

// Position is how far somebody has come who follows the history: a row, by its run and its
// moment on that run's clock, which never change, whatever the wall clock turns out to have
// been. Its zero value is before the first row of the run that is going on.
type Position struct {
	// Run is the run's number in the file, and Identity its name: in another file the number
	// is another run's.
	Run      int64  `json:"run"`
	Identity string `json:"identity"`
	// MS is the row's moment, -1 before the first.
	MS int64 `json:"ms"`
}

// Followed is a row with its place in the order of rows.
type Followed struct {
	Row
	Position Position
	// Unsettled says that the time is not sure and may become so: the computer's clock is not
	// synchronised yet. A row that is neither sure nor unsettled will never be.
	Unsettled bool
}

// Follow returns the rows that come next behind a position, in the order in which they were
// made, those of one block at most: none if there is none yet. It reports an upper bound of
// how many rows there are behind the position in all. A position in a file that is no longer
// there is taken for the beginning of this one.
func (s *Store) Follow(ctx context.Context, after Position) (next []Followed, behind int64, err error) {
	err = s.view(ctx, func(v snapshot) error {
		if v.conn == nil {
			return errNoFile
		}
		after, err := v.find(ctx, after, s.o.Identity)
		if err != nil {
			return err
		}
		behind = v.behind(after, s.o.Period.Milliseconds())
		next, err = v.following(ctx, after)
		return err
	})
	if err != nil {
		return nil, 0, fmt.Errorf("follow history: %w", err)
	}
	return next, behind, nil
}

// FollowNow is Follow for whoever must not wait for a storage that fails or stalls: there is
// then what is in memory, if that goes on where the position is.
func (s *Store) FollowNow(ctx context.Context, after Position) (next []Followed, behind int64, err error) {
	err = s.glance(ctx, func(v snapshot) error {
		if v.conn == nil {
			if after.Identity != "" && after.Identity != s.o.Identity || !v.remembers(after) {
				return errNoFile
			}
		}
		after, err := v.find(ctx, after, s.o.Identity)
		if err != nil {
			return err
		}
		behind = v.behind(after, s.o.Period.Milliseconds())
		next, err = v.following(ctx, after)
		for i := range next {
			if next[i].Position.Identity == "" {
				next[i].Position.Identity = s.o.Identity // the run is in no file yet
			}
		}
		return err
	})
	if err != nil {
		return nil, 0, fmt.Errorf("follow history: %w", err)
	}
	return next, behind, nil
}

// remembers reports whether all rows of this run behind a position are in memory.
func (v *snapshot) remembers(p Position) bool {
	if len(v.sealed) > 0 {
		return v.sealed[0].start <= p.MS+1
	}
	return len(v.rows) > 0 && v.rows[0].block() <= p.MS+1
}

// find makes a position one of this file: the run may have another number in it.
func (v *snapshot) find(ctx context.Context, p Position, current string) (Position, error) {
	if p.Identity == "" {
		return Position{Run: v.run, Identity: current, MS: -1}, nil
	}
	if p.Identity == current {
		p.Run = v.run
		return p, nil
	}
	err := v.conn.QueryRowContext(ctx, "SELECT id FROM boots WHERE identity = ?", p.Identity).Scan(&p.Run)
	if errors.Is(err, sql.ErrNoRows) {
		return Position{MS: -1}, nil // before the first run
	}
	return p, err
}

func (v *snapshot) identity(ctx context.Context, run int64) (name string, err error) {
	if v.conn == nil {
		return "", nil
	}
	err = v.conn.QueryRowContext(ctx, "SELECT identity FROM boots WHERE id = ?", run).Scan(&name)
	return name, err
}

// behind counts the slots for rows after a position.
func (v *snapshot) behind(p Position, period int64) (rows int64) {
	for _, l := range v.line {
		from := l.From
		if l.Run == p.Run {
			from = max(from, p.MS+period)
		}
		if l.Run >= p.Run && l.To > from {
			rows += (l.To - from) / period
		}
	}
	return rows
}

// following reads the first block that has a row behind p.
func (v *snapshot) following(ctx context.Context, p Position) ([]Followed, error) {
	run, from := p.Run, p.MS+1
	for {
		var start int64
		var some bool
		var err error
		if run, start, some, err = v.blockFrom(ctx, run, from/blockMS*blockMS); err != nil || !some {
			return nil, err
		}
		rows, err := v.between(ctx, run, start, start+blockMS)
		if err != nil {
			return nil, err
		}
		name, err := v.identity(ctx, run)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return nil, err
		}
		var next []Followed
		for i := range rows {
			if at := rows[i].ms; run > p.Run || at > p.MS {
				next = append(next, v.followed(Position{run, name, at}, &rows[i]))
			}
		}
		if len(next) > 0 {
			return next, nil
		}
		from = start + blockMS
	}
}

// blockFrom finds the first block of a run from the moment start on, or of a later one.
func (v *snapshot) blockFrom(ctx context.Context, run, start int64) (of, at int64, some bool, err error) {
	var id sql.NullInt64
	if v.conn != nil {
		if err := v.conn.QueryRowContext(ctx, "SELECT min(id) FROM chunks WHERE id >= ?", run<<40|start/1000<<8).Scan(&id); err != nil {
			return 0, 0, false, err
		}
	}
	if of, at, some = id.Int64>>40, startOf(id.Int64), id.Valid; some && of < v.run {
		return of, at, true, nil
	}
	memory := func(block int64) {
		if (run < v.run || block >= start) && (!some || block < at) {
			of, at, some = v.run, block, true
		}
	}
	for _, b := range v.sealed {
		memory(b.start)
	}
	for i := range v.rows {
		memory(v.rows[i].block())
	}
	return of, at, some, nil
}

func (v *snapshot) followed(p Position, r *row) Followed {
	place, ok := v.placeOf(p.Run, p.MS)
	if !ok {
		return Followed{Row: (&stretch{}).row(r), Position: p}
	}
	now := &v.line[len(v.line)-1]
	return Followed{
		Row:      (&stretch{place: place}).row(r),
		Position: p,
		Unsettled: !place.Sure &&
			(place.Run == v.run || place.Kernel != "" && place.Kernel == now.Kernel),
	}
}

// placeOf finds the segment that a moment of a run lies in.
func (v *snapshot) placeOf(run, ms int64) (place timeline.Placed, ok bool) {
	for _, p := range v.line {
		if p.Run == run && (!ok || p.From <= ms) {
			place, ok = p, true
		}
	}
	return place, ok
}
