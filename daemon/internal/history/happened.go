package history

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// EventPosition is how far somebody has come who follows what happens. As a [Position] it is
// by run and number, which never change. Its zero value is before the first event of the run
// that is going on.
type EventPosition struct {
	Run      int64  `json:"run"`
	Identity string `json:"identity"`
	// No is the event's number in its run, -1 before the first.
	No int64 `json:"no"`
}

// Happened is an event with its place in the order of events.
type Happened struct {
	Event
	// Table is the kind of event, as [Store.Events] has it, and MS its moment on the run's
	// clock.
	Table    string
	MS       int64
	Position EventPosition
}

// Happenings is what comes next behind a position.
type Happenings struct {
	Next []Happened
	// Upto is the position behind which there is more, or nothing yet.
	Upto EventPosition
	// Behind counts all that are behind the position asked for.
	Behind int64
	// Missed says that there may be some in between, in a file that cannot be read now: these
	// are those in memory.
	Missed bool
}

// followed are the tables that FollowEvents reads.
var followed = []string{"alarms", "notices", "burns", "phases", "loads"}

// FollowEvents returns the alarms, notices, burns, phases and loads that come next behind a
// position, at most so many, in the order in which they happened. It never waits long for the
// storage: where that fails or stalls, there is what is in memory. A position in a file that is
// no longer there is taken for the beginning of this one.
func (s *Store) FollowEvents(ctx context.Context, after EventPosition, most int) (h Happenings, err error) {
	err = s.glance(ctx, func(v snapshot) error {
		if after, err = v.findEvent(ctx, after, s.o.Identity); err != nil {
			return err
		}
		h.Upto = after
		if v.conn == nil {
			if h.Missed = after.Identity != s.o.Identity || after.No+1 < v.told; h.Missed {
				after = EventPosition{Run: v.run, Identity: s.o.Identity, No: v.told - 1}
				h.Upto = after
			}
		} else if err := v.happenedInFile(ctx, &h, after, most); err != nil {
			return err
		}
		v.happenedInMemory(&h, after, s.o.Identity, most)
		return nil
	})
	if err != nil {
		return Happenings{}, fmt.Errorf("follow events: %w", err)
	}
	return h, nil
}

func (v *snapshot) findEvent(ctx context.Context, p EventPosition, current string) (EventPosition, error) {
	switch {
	case p.Identity == "":
		return EventPosition{Run: v.run, Identity: current, No: -1}, nil
	case p.Identity == current:
		p.Run = v.run
		return p, nil
	case v.conn == nil:
		return p, nil
	}
	err := v.conn.QueryRowContext(ctx, "SELECT id FROM boots WHERE identity = ?", p.Identity).Scan(&p.Run)
	if errors.Is(err, sql.ErrNoRows) {
		return EventPosition{No: -1}, nil // before the first run
	}
	return p, err
}

func (v *snapshot) happenedInFile(ctx context.Context, h *Happenings, after EventPosition, most int) error {
	from := after.Run<<40 + after.No // -1 is the end of the run before
	for _, table := range followed {
		some, err := v.listEvents(ctx, table, "WHERE id > ? ORDER BY id LIMIT ?", from, most)
		if err != nil {
			return err
		}
		for _, e := range some {
			h.Next = append(h.Next, Happened{Event: e, Table: table, MS: e.ms, Position: EventPosition{Run: e.Run, No: e.No}})
		}
		var n int64
		if err := v.conn.QueryRowContext(ctx, "SELECT count(*) FROM "+table+" WHERE id > ?", from).Scan(&n); err != nil {
			return err
		}
		h.Behind += n
	}
	slices.SortFunc(h.Next, func(a, b Happened) int {
		return cmp.Or(cmp.Compare(a.Run, b.Run), cmp.Compare(a.No, b.No))
	})
	h.Next = h.Next[:min(len(h.Next), most)]
	for i := range h.Next {
		name, err := v.identity(ctx, h.Next[i].Run)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		h.Next[i].Position.Identity = name
		h.Upto = h.Next[i].Position
	}
	return nil
}

func (v *snapshot) happenedInMemory(h *Happenings, after EventPosition, current string, most int) {
	full := len(h.Next) >= most
	last := int64(-1) // of this run that has been passed
	if h.Upto.Identity == current {
		last = h.Upto.No
	}
	for i, e := range v.events {
		no := v.told + int64(i)
		if !slices.Contains(followed, e.table) || no <= last {
			continue
		}
		h.Behind++
		if full = full || len(h.Next) >= most; full {
			continue
		}
		h.Next = append(h.Next, v.happened(e, EventPosition{Run: v.run, Identity: current, No: no}))
		h.Upto = h.Next[len(h.Next)-1].Position
	}
	if end := v.told + int64(len(v.events)) - 1; !full && (h.Upto.Identity != current || h.Upto.No < end) {
		h.Upto = EventPosition{Run: v.run, Identity: current, No: end} // what is not followed is passed
	}
}

// happened makes of an event in memory what it will be in the file.
func (v *snapshot) happened(e event, p EventPosition) Happened {
	out := Happened{Table: e.table, MS: e.ms, Position: p}
	out.Run, out.No = p.Run, p.No
	out.Seen, out.Trusted, out.Fields = time.UnixMilli(e.seen).UTC(), e.trusted, map[string]any{}
	out.moment = func(ms int64) time.Time { at, _ := wallAt(*v, p.Run, ms); return at }
	out.At, out.Sure = wallAt(*v, p.Run, e.ms)
	for _, t := range eventTables {
		if t.name != e.table {
			continue
		}
		for i, column := range strings.Split(t.columns, ",") {
			out.Fields[strings.Trim(strings.Fields(column)[0], `"`)] = inFile(e.values[i])
		}
	}
	return out
}

// inFile is a value as SQLite gives it back.
func inFile(v any) any {
	switch v := v.(type) {
	case bool:
		if v {
			return int64(1)
		}
		return int64(0)
	case uint32:
		return int64(v)
	case int:
		return int64(v)
	}
	return v
}
