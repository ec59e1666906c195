package history

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// MostEvents bounds what one look into an event table may ask for.
const MostEvents = 1000

// ID is the event's number among all events of the history, whatever their kind: a later
// one has a greater number.
func (e *Event) ID() int64 { return e.Run<<40 | e.No }

// Newest returns the newest events of a kind, the newest first, at most so many; before is
// the ID below which they lie, zero for no bound. See [Store.Events] for the kinds. However
// long the history is, it reads no more than it returns.
func (s *Store) Newest(ctx context.Context, kind string, before int64, most int) (all []Event, err error) {
	if before <= 0 {
		before = math.MaxInt64
	}
	err = s.look(ctx, kind, most, func(v *snapshot, pending []Event) error {
		for i := len(pending) - 1; i >= 0 && len(all) < most; i-- {
			if pending[i].ID() < before {
				all = append(all, pending[i])
			}
		}
		if n := len(all); n > 0 {
			before = all[n-1].ID()
		}
		if v.conn == nil || len(all) == most {
			return nil
		}
		stored, err := v.listEvents(ctx, kind, "WHERE id < ? ORDER BY id DESC LIMIT ?", before, most-len(all))
		all = append(all, stored...)
		return err
	})
	return all, err
}

// Following returns the events of a kind behind the one with the ID after, the oldest first,
// at most so many.
func (s *Store) Following(ctx context.Context, kind string, after int64, most int) (all []Event, err error) {
	err = s.look(ctx, kind, most, func(v *snapshot, pending []Event) error {
		if v.conn != nil {
			if all, err = v.listEvents(ctx, kind, "WHERE id > ? ORDER BY id LIMIT ?", after, most); err != nil {
				return err
			}
		}
		if n := len(all); n > 0 {
			after = all[n-1].ID()
		}
		for i := range pending {
			if pending[i].ID() > after && len(all) < most {
				all = append(all, pending[i])
			}
		}
		return nil
	})
	return all, err
}

// Nth returns the event of a kind that has n-1 before it, from 1 on; ok is false where there
// are fewer.
func (s *Store) Nth(ctx context.Context, kind string, n int) (e Event, ok bool, err error) {
	err = s.look(ctx, kind, 1, func(v *snapshot, pending []Event) error {
		stored, err := v.count(ctx, kind, math.MaxInt64)
		switch {
		case err != nil || n < 1 || n > stored+len(pending):
			return err
		case n > stored:
			e, ok = pending[n-1-stored], true
			return nil
		}
		all, err := v.listEvents(ctx, kind, "ORDER BY id LIMIT 1 OFFSET ?", n-1)
		if len(all) == 1 {
			e, ok = all[0], true
		}
		return err
	})
	return e, ok, err
}

// Count counts the events of a kind up to the one with the ID upTo; zero: all.
func (s *Store) Count(ctx context.Context, kind string, upTo int64) (n int, err error) {
	if upTo <= 0 {
		upTo = math.MaxInt64
	}
	err = s.look(ctx, kind, 1, func(v *snapshot, pending []Event) error {
		n, err = v.count(ctx, kind, upTo)
		for i := range pending {
			if pending[i].ID() <= upTo {
				n++
			}
		}
		return err
	})
	return n, err
}

func (v *snapshot) count(ctx context.Context, kind string, upTo int64) (n int, err error) {
	if v.conn == nil {
		return 0, nil
	}
	err = v.conn.QueryRowContext(ctx, "SELECT count(*) FROM "+kind+" WHERE id <= ?", upTo).Scan(&n)
	return n, err
}

// look hands out a view of an event table, with those of its events that are in memory
// alone, the oldest first. It makes the storage write nothing.
func (s *Store) look(ctx context.Context, kind string, most int, do func(v *snapshot, pending []Event) error) error {
	if _, ok := insertEvent[kind]; !ok {
		return fmt.Errorf("read history: there are no %q", kind)
	}
	if most < 1 || most > MostEvents {
		return fmt.Errorf("read history: %d events: want 1 to %d", most, MostEvents)
	}
	err := s.view(ctx, func(v snapshot) error {
		pending, err := v.unwritten(ctx, kind)
		if err != nil {
			return err
		}
		return do(&v, pending)
	})
	if err != nil {
		return fmt.Errorf("read history: %w", err)
	}
	return nil
}

// unwritten are the events in memory that the file lacks. One whose commit succeeded without
// being reported is in both.
func (v *snapshot) unwritten(ctx context.Context, kind string) ([]Event, error) {
	pending := v.pendingOf(kind, math.MinInt64, math.MaxInt64)
	if len(pending) == 0 || v.conn == nil {
		return pending, nil
	}
	var last int64
	if err := v.conn.QueryRowContext(ctx, "SELECT ifnull(max(id), 0) FROM "+kind).Scan(&last); err != nil {
		return nil, err
	}
	return slices.DeleteFunc(pending, func(e Event) bool { return e.ID() <= last }), nil
}
